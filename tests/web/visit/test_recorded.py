"""The list of what was recorded in a phase: adjustments taken back and changed, readings of any round corrected."""

import pytest
from playwright.sync_api import Page, expect
from starlette.testclient import TestClient

from app.shop.assessment.assessment import assess
from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from app.web.presenters.paper.file_page import file_page
from tests.shop.past import Past
from tests.shop.rejections import on_page
from tests.shop.yard import AT, heat_soaked, key, read_round, visit_record

HOT = f"/visits/1/{HEAT_SOAKED.slug}"
LIST = f"{HOT}/recorded"


def reset(shop: Database, thou: float = 4.5) -> int:
    """A coupler reset after a round was read."""
    new = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (thou * THOU,), True, "KM")
    return moves.make(shop, 1, key(), new, AT)


@pytest.fixture
def moved(shop: Database) -> int:
    heat_soaked(shop)
    read_round(shop, 1, HEAT_SOAKED)
    return reset(shop)


def reading_of(shop: Database, bore: int) -> int:
    """The reading of a bore in the round before the move."""
    return visit_record(shop, 1).rounds[-1].latest[bore].ident


def test_a_move_made_differently_is_changed_from_the_list(page: Page, server: str, shop: Database, moved: int) -> None:
    page.goto(server + HOT)
    page.get_by_role("link", name="Correct an adjustment or a reading").click()
    page.get_by_role("link", name="Done differently").click()
    expect(page.get_by_label("Feeler", exact=True)).to_have_value("0.0045")
    page.get_by_label("Feeler", exact=True).fill("0.005")
    page.get_by_role("button", name="Save adjustment").click()
    expect(page.get_by_text("Coupler 3–4 reset on 0.005 in.")).to_be_visible()
    expect(page.get_by_text("First recorded: Coupler 3–4 reset on 0.0045 in.")).to_be_visible()
    (move,) = visit_record(shop, 1).moves
    assert move.supersedes_id == moved
    assert move.amount == pytest.approx(5 * THOU)
    page.get_by_role("button", name="Undo the change").click()
    expect(page.get_by_text("Coupler 3–4 reset on 0.0045 in.").first).to_be_visible()
    expect(page.get_by_text("Coupler 3–4 reset on 0.005 in.")).to_have_count(0)
    (move,) = visit_record(shop, 1).moves
    assert move.amount == pytest.approx(4.5 * THOU)


@pytest.mark.usefixtures("moved")
def test_no_coupler_is_taken_for_the_one_that_was_reset(client: TestClient, shop: Database) -> None:
    """Asked for without a card's advice, the place is chosen by a person, not by its order in the list."""
    assert '<option value="" selected>' in client.get(f"{HOT}/moves/new").text
    assert '<option value="3-4" selected>' in client.get(f"{HOT}/moves/new?kind=blade&place=3-4").text
    sent = {"key": key(), "kind": "blade", "place": "", "leaf": "0.004", "by": "KM"}
    assert on_page(Rejection.NO_SUCH_COUPLER) in client.post(f"{HOT}/moves", data=sent).text
    assert len(visit_record(shop, 1).moves) == 1


def test_an_adjustment_is_asked_for_in_the_units_of_its_adjuster(page: Page, server: str, moved: int) -> None:
    page.goto(f"{server}/visits/{moved}/{HEAT_SOAKED.slug}/moves/new")
    turns, feeler = page.get_by_label("Turns of the screw"), page.get_by_label("Feeler", exact=True)
    page.get_by_text("Coupler on a feeler").click()
    expect(turns).to_be_hidden()
    expect(feeler).to_be_visible()
    page.get_by_text("Stop screw", exact=True).click()
    expect(turns).to_be_visible()
    expect(feeler).to_be_hidden()


def test_a_move_that_was_not_made_is_taken_back_from_the_list(
    page: Page, server: str, shop: Database, moved: int
) -> None:
    page.goto(server + LIST)
    page.get_by_role("button", name="Not adjusted").click()
    expect(page.locator(".recorded s")).to_have_text("Coupler 3–4 reset on 0.0045 in.")
    expect(page.get_by_role("button", name="Not adjusted")).to_have_count(0)
    assert visit_record(shop, 1).moves == ()


def test_a_mistyped_reading_is_corrected_after_a_move(page: Page, server: str, shop: Database, moved: int) -> None:
    page.goto(server + LIST)
    page.get_by_role("link", name="Correct bore 3, 6.50").click()
    page.get_by_label("Correct value").fill("6.75")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("link", name="Correct bore 3, 6.75")).to_be_visible()
    record = visit_record(shop, 1)
    assert record.rounds[-1].latest[3].value == 6.75
    assert record.moved_since(record.rounds[-1])


def test_a_value_far_off_is_asked_about_once(client: TestClient, shop: Database, moved: int) -> None:
    wrong = reading_of(shop, 3)
    sent = {"key": key(), "reading": str(wrong), "value": "26.5", "by": "KM", "sure": ""}
    asked = client.post(f"{HOT}/readings/correct", data=sent)
    assert asked.status_code == 422
    assert on_page(Rejection.FAR_OFF, value=26.5) in asked.text
    assert 'name="sure" value="1"' in asked.text
    for _ in range(2):
        kept = client.post(f"{HOT}/readings/correct", data={**sent, "sure": "1"})
        assert (kept.status_code, kept.headers["location"]) == (303, LIST)
    assert visit_record(shop, 1).rounds[-1].latest[3].value == 26.5


def test_a_reading_that_another_tablet_corrected_is_compared_first(
    client: TestClient, shop: Database, moved: int
) -> None:
    sent = {"reading": str(reading_of(shop, 3)), "by": "KM", "sure": ""}
    assert client.post(f"{HOT}/readings/correct", data={**sent, "key": key(), "value": "6.75"}).status_code == 303
    late = client.post(f"{HOT}/readings/correct", data={**sent, "key": key(), "value": "7.00"})
    assert late.status_code == 409
    assert on_page(Rejection.CHANGED_BY_ANOTHER_TABLET) in late.text


@pytest.mark.parametrize(("reading", "status"), [("0", 409), ("4711", 409), ("9" * 30, 422)])
def test_a_reading_that_is_not_there_is_not_corrected(
    client: TestClient, moved: int, reading: str, status: int
) -> None:
    sent = {"key": key(), "reading": reading, "value": "6.5", "by": "KM"}
    assert client.post(f"{HOT}/readings/correct", data=sent).status_code == status


@pytest.mark.parametrize("move", ["4711", "not-a-key", "942edac6-912f-4d4f-bf43-fae65f7da40c", ""])
def test_a_move_that_is_not_there_is_not_taken_back(client: TestClient, shop: Database, moved: int, move: str) -> None:
    answer = client.post(f"{HOT}/moves/taken-back", data={"key": key(), "move": move, "by": "KM"})
    assert 400 <= answer.status_code < 500
    assert len(visit_record(shop, 1).all_moves) == 1
    assert client.get(f"{HOT}/moves/change?move=4711").status_code == 404


def test_a_change_that_cannot_be_comes_back_as_typed(client: TestClient, shop: Database, moved: int) -> None:
    sent = {"key": key(), "changes": str(moved), "kind": "blade", "place": "3-4", "leaf": "80", "by": "KM"}
    refused = client.post(f"{HOT}/moves", data=sent)
    assert refused.status_code == 422
    assert f'name="changes" value="{moved}"' in refused.text
    assert len(visit_record(shop, 1).all_moves) == 1


def test_the_list_of_a_signed_visit_changes_nothing(client: TestClient, shop: Database) -> None:
    visit_id = Past(shop).visit([6.5] * 8, [6.5] * 8)
    shown = client.get(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/recorded")
    assert shown.status_code == 200
    assert "<form" not in shown.text
    assert "/recorded" not in client.get(f"/visits/{visit_id}/{HEAT_SOAKED.slug}").text


def test_the_paper_says_what_was_corrected(shop: Database, moved: int) -> None:
    stray = reset(shop)
    moves.take_back(shop, 1, key(), HEAT_SOAKED.slug, stray, "EJ", AT)
    right = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (5 * THOU,), True, "KM")
    moves.change(shop, 1, key(), moved, right, AT)
    paper = file_page(assess(visit_record(shop, 1)))
    (line,) = [line.words for line in paper.lines if line.round is None]
    wrong, corrected = "Coupler 3–4 reset on 0.0045\u00a0in.", "Coupler 3–4 reset on 0.005\u00a0in."
    assert line == f"{corrected} Corrected."
    said = "\n".join(paper.remarks)
    assert f"Recorded, but not adjusted: {wrong} (EJ, " in said
    assert f"{corrected} First recorded: {wrong} (KM, " in said
