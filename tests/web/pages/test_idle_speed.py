"""The idle speed on the reading page: asked for once after a move, typed on the keypad, never in a reading's way."""

import pytest
from playwright.sync_api import Page, expect
from starlette.testclient import TestClient

from app.shop.assessment.assessment import assess
from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED, LOCK_DOWN
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.events import IdleSpeed
from app.sync.engine.units import REV_PER_MIN, THOU
from app.web.presenters.reading.keypad import Wanted
from app.web.presenters.reading.reading_page import ReadingPage
from tests.shop.rejections import on_page
from tests.shop.yard import AT, FOUR, heat_soaked, key, read, read_round, visit_record
from tests.web.pieces import piece
from tests.web.tablet import show_with_script

SPEED = "Enter the idle speed"


def moved(shop: Database) -> int:
    """A visit with a round read and one coupler reset since."""
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    new = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (5 * THOU,), False, "KM")
    moves.make(shop, visit_id, key(), new, AT)
    return visit_id


def there(visit_id: int, slug: str = HEAT_SOAKED.slug) -> str:
    return f"/visits/{visit_id}/{slug}"


def sent(value: str) -> dict[str, str]:
    return {"key": key(), "by": "KM", "value": value}


def speeds(shop: Database, visit_id: int) -> list[int]:
    return [round(e.speed / REV_PER_MIN) for e in visit_record(shop, visit_id).events() if isinstance(e, IdleSpeed)]


def test_it_is_offered_after_a_move_until_it_is_kept(client: TestClient, shop: Database) -> None:
    visit_id = moved(shop)
    here = f"{there(visit_id)}/readings"
    assert f'href="{here}?entry=speed">{SPEED}<' in client.get(here).text
    known = speeds(shop, visit_id)
    answer = client.post(f"{there(visit_id)}/speed", data=sent("910"))
    assert (answer.status_code, answer.headers["location"]) == (303, here)
    assert speeds(shop, visit_id) == [*known, 910]
    assert SPEED not in client.get(here).text


def test_a_round_under_way_is_read_without_it(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read(shop, visit_id, HEAT_SOAKED)
    assert SPEED not in client.get(f"{there(visit_id)}/readings").text


def test_the_brain_hears_of_it_after_the_move(client: TestClient, shop: Database) -> None:
    visit_id = moved(shop)
    client.post(f"{there(visit_id)}/speed", data=sent("910"))
    last = visit_record(shop, visit_id).events()[-1]
    assert isinstance(last, IdleSpeed)
    assert last.speed == pytest.approx(910 / 60)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("91", on_page(Rejection.OUT_OF_RANGE, low=300, high=3000, unit="rpm")),
        ("fast", on_page(Rejection.NOT_A_NUMBER, typed="fast")),
        ("", on_page(Rejection.NUMBER_MISSING)),
    ],
)
def test_what_cannot_be_is_said_beside_it_and_kept_there(
    client: TestClient, shop: Database, typed: str, says: str
) -> None:
    visit_id = moved(shop)
    known = speeds(shop, visit_id)
    answer = client.post(f"{there(visit_id)}/speed", data=sent(typed))
    assert answer.status_code == 422
    assert says in answer.text.split('id="entry-message"')[1].split("</p>")[0]
    assert f'name="value" inputmode="decimal" value="{typed}"' in answer.text
    assert speeds(shop, visit_id) == known


def test_it_is_kept_as_left_in_lock_down_and_not_at_all_off_idle(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    assert client.post(f"{there(visit_id, LOCK_DOWN.slug)}/speed", data=sent("870")).status_code == 303
    assert visit_record(shop, visit_id).checks[LOCK_DOWN.slug, "idle"].number == 870
    assert 870 in speeds(shop, visit_id)
    assert client.post(f"{there(visit_id, BANK_BALANCE.slug)}/speed", data=sent("870")).status_code == 422


def test_on_the_keypad_it_takes_four_figures_and_save(page: Page, shop: Database) -> None:
    desk = ReadingPage(assess(visit_record(shop, moved(shop))), HEAT_SOAKED, Wanted(entry="speed"), {}, {})
    assert desk.keypad.unit == "rpm"
    assert desk.selected is None
    show_with_script(page, piece("keypad", "keypad(pad)", pad=desk.keypad), "keypad.js")
    page.evaluate("window.kept = []")
    page.evaluate(
        "document.addEventListener('submit', (e) => { e.preventDefault();"
        " window.kept.push(new FormData(e.target).get('value')); })"
    )
    expect(page.get_by_role("button", name="Save", exact=True)).to_be_visible()
    expect(page.get_by_role("button", name="Skip")).to_have_count(0)
    for digit in "91":
        page.get_by_role("button", name=digit, exact=True).click()
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_text(on_page(Rejection.OUT_OF_RANGE, low=300, high=3000, unit="rpm"))).to_be_visible()
    page.get_by_role("button", name="0", exact=True).click()
    page.get_by_role("button", name="Save", exact=True).click()
    assert page.evaluate("window.kept") == ["910"]
