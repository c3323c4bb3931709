"""A page of a visit asks for one thing, says whether the engine runs for it, and sends under the tablet's initials."""

import re

import pytest
from playwright.sync_api import Locator, Page, expect
from starlette.testclient import TestClient

from app.shop.assessment.progress import items_of
from app.shop.commands import checks
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES
from app.shop.store.database import Database
from tests.shop.yard import AT, V8, check_all, engine, heat_soaked, key, read, read_round, visit, visit_record
from tests.web.screens import SIZES

UNEVEN = (6.25, 6.25, 7.5, 7.25, 6.5, 6.5, 6.25, 6.5, 6.25)
"""Bores 3 and 4 of eight stand open, and the first is read again."""


def answers(page: Page) -> list[str]:
    """The filled answers in sight."""
    return [one.inner_text() for one in page.locator(".is-advised").all() if one.is_visible()]


def left_of(part: Locator) -> float:
    box = part.bounding_box()
    assert box is not None
    return box["x"]


def test_a_bore_is_asked_for_at_the_keys_and_an_adjustment_in_their_place(
    page: Page, server: str, shop: Database
) -> None:
    visit_id = heat_soaked(shop, V8)
    read(shop, visit_id, HEAT_SOAKED, UNEVEN[0])
    page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
    keys, card = page.locator(".keys"), page.locator("section.move")
    expect(keys).to_be_visible()
    at_the_right = left_of(page.locator(".keypad"))
    assert answers(page) == []
    assert [band.inner_text() for band in page.locator(".engine-band:visible").all()] == ["Engine running"]
    for value in UNEVEN[1:]:
        read(shop, visit_id, HEAT_SOAKED, value)
    page.reload()
    expect(card.get_by_role("button", name="Done as shown")).to_be_visible()
    expect(keys).to_be_hidden()
    assert left_of(card) == at_the_right
    assert answers(page) == ["Done as shown"]
    expect(page.locator(".engine-band:visible")).to_have_text("Engine off Stop it first.")


def test_a_tap_on_a_bore_brings_the_keys_back(page: Page, server: str, shop: Database) -> None:
    visit_id = heat_soaked(shop, V8)
    for value in (6.25, 6.5, 39.0, 39.0):
        read(shop, visit_id, HEAT_SOAKED, value)
    page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
    page.locator("section.move").evaluate("(card) => card.setAttribute('data-first', '')")
    expect(page.locator(".keys")).to_be_hidden()
    page.get_by_text("Cautions", exact=False).first.click()
    expect(page.locator(".mind-open")).to_be_visible()
    page.locator("h1").click()
    expect(page.locator(".mind-open")).to_be_hidden()  # they lie over the page, until a tap beside them
    page.locator("a.tile[data-bore='6']").click()
    expect(page.locator("#entry-heading")).to_have_text("Bore 6")
    expect(page.locator(".keys")).to_be_visible()


def test_what_is_recorded_is_folded_and_undone_from_there(page: Page, server: str, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8))
    check_all(shop, visit_id, COLD_PRESET)
    page.goto(f"{server}/visits/{visit_id}/{COLD_PRESET.slug}")
    undo = page.get_by_role("button", name=re.compile("^Undo: ")).first
    expect(undo).to_be_hidden()
    page.get_by_text(re.compile(r"^\d+ done$")).click()
    undo.click()
    expect(page.get_by_text("1 open")).to_be_visible()


def test_the_band_of_a_list_goes_by_what_was_recorded(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8))
    assert "is-off" in client.get(f"/visits/{visit_id}/{FIRST_FIRE.slug}").text
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    read(shop, visit_id, FIRST_FIRE)
    page = client.get(f"/visits/{visit_id}/{FIRST_FIRE.slug}").text
    assert "engine-band is-running" in page
    assert f'action="/visits/{visit_id}/stopped"' in page


def test_a_list_is_sent_under_the_initials_of_the_tablet(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8))
    there = f"/visits/{visit_id}/{COLD_PRESET.slug}"
    assert 'name="by" value="KM"' in client.get(there).text  # who opened the visit
    client.post("/look", data={"initials": "AL"})
    page = client.get(there).text
    assert "Your initials" not in page
    (by,) = set(re.findall(r'name="by" value="(\w+)"', page))
    client.post(f"{there}/checks", data={"key": key(), "by": by, "wide-open": "1"})
    assert [check.by for check in visit_record(shop, visit_id).checks.values()] == ["AL"]


@pytest.mark.parametrize("size", SIZES)
def test_a_list_asks_for_one_item_in_sight(page: Page, server: str, shop: Database, size: str) -> None:
    page.set_viewport_size(SIZES[size])
    visit_id = visit(shop, engine(shop, V8))
    for phase in PHASES:
        page.goto(f"{server}/visits/{visit_id}/{phase.slug}")
        ask = page.locator("section.ask")
        expect(ask.locator(".engine-band")).to_be_visible()
        answer = ask.locator(".is-advised")
        box = answer.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= SIZES[size]["height"], phase.slug
        assert answers(page) == [answer.inner_text()], phase.slug


def test_on_a_phone_hazards_are_seen_and_read_in_full_once_tapped(page: Page, server: str, shop: Database) -> None:
    page.set_viewport_size(SIZES["phone"])
    page.goto(f"{server}/visits/{visit(shop, engine(shop, V8))}/{FIRST_FIRE.slug}")
    hazard, rest = page.get_by_text("Backfire through open bores."), page.get_by_text("Burns to eyes, face and hair.")
    expect(hazard).to_be_visible()
    assert width(rest) <= 1
    hazard.click()
    assert width(rest) > 100
    page.set_viewport_size(SIZES["landscape"])
    page.reload()
    assert width(rest) > 100


def width(part: Locator) -> float:
    box = part.bounding_box()
    assert box is not None
    return box["width"]


def test_what_is_left_for_later_is_passed_and_a_second_tap_checks_nothing(
    page: Page, server: str, shop: Database
) -> None:
    visit_id = visit(shop, engine(shop, V8))
    page.goto(f"{server}/visits/{visit_id}/{COLD_PRESET.slug}")
    ask = page.locator("section.ask")
    title = ask.get_by_role("heading")
    expect(title).to_have_text("Ignition off and disconnected from the battery")
    ask.get_by_role("link", name="Later").click()
    expect(title).to_have_text("All plates fully open at full pedal, both banks together")
    ask.get_by_role("button", name="Checked").dblclick()
    expect(title).to_have_text("Every plate closes fully on its own")
    assert [item for _, item in visit_record(shop, visit_id).checks] == ["wide-open"]
    expect(page.get_by_role("form", name="Checklist")).to_be_hidden()
    page.get_by_text("The whole list").click()
    expect(page.get_by_role("form", name="Checklist").get_by_label("Ignition off and disconnected")).not_to_be_checked()
    page.goto(f"{server}/visits/{visit_id}/{FIRST_FIRE.slug}")
    expect(page.get_by_role("form", name="Checklist")).to_be_visible()  # as it was left on this tablet
    page.get_by_text("The whole list").click()
    page.reload()
    expect(page.get_by_role("form", name="Checklist")).to_be_hidden()


def test_a_figure_is_typed_with_the_keys_of_the_page_and_asked_again_where_it_cannot_be(
    page: Page, server: str, shop: Database
) -> None:
    visit_id = visit(shop, engine(shop, V8))
    page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}")
    ask = page.locator("section.ask")
    ask.get_by_role("button", name="9", exact=True).click()
    ask.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_contain_text("First finish cold preset")
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    read_round(shop, visit_id, FIRST_FIRE)
    page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}")
    entry, save = ask.get_by_role("textbox", name="Coolant temperature"), ask.get_by_role("button", name="Save")
    expect(entry).to_have_attribute("inputmode", "none")
    for name in ("9", "0", "0", "0"):
        ask.get_by_role("button", name=name, exact=True).click()
    save.click()
    expect(ask.get_by_role("alert")).to_contain_text("Enter")
    expect(entry).to_have_value("9000")
    for _ in range(2):
        ask.get_by_role("button", name="Back").click()
    save.click()
    expect(ask.get_by_role("heading")).to_have_text("Oil temperature")
    assert visit_record(shop, visit_id).checks[HEAT_SOAKED.slug, "coolant"].number == 90


def test_a_tablet_asks_once_for_initials(client: TestClient, shop: Database) -> None:
    there = f"/engines/{engine(shop, V8)}/visits"
    assert "Your initials" in client.get(f"{there}/new").text
    sent = {"key": key(), "place": "vehicle", "by": "AL", "meter": "1", "intake": "as-it-runs", "runs": "runs"}
    opened = client.post(there, data=sent).headers["location"]
    for path in (f"{there}/new", f"{opened}/hours", f"{opened}/sheet", "/settings", "/meters/1", "/practice"):
        page = client.get(path).text
        shown = page.count('aria-label="Initials: AL, change"')
        assert shown == page.count("Your initials") > 0, path


def test_what_takes_hands_at_the_linkage_is_asked_for_with_the_engine_off(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, V8)
    there = f"/visits/{visit_id}/{LOCK_DOWN.slug}"
    running = client.get(there).text
    assert "Every coupler tight" in running
    assert re.findall(r"engine-band is-(\w+)", running) == ["off"]
    assert "Stop it first." in running
    client.post(f"/visits/{visit_id}/stopped", data={"key": key(), "by": "KM"})
    stopped = client.get(there).text
    assert 'id="ask-title">Every coupler tight' in stopped
    assert re.findall(r"engine-band is-(\w+)", stopped) == ["off"]
    assert "Stop it first." not in stopped
    hot = client.get(f"/visits/{visit_id}/{HEAT_SOAKED.slug}").text
    assert "ask-title" not in hot


def test_what_is_asked_stays_in_sight_beside_a_list_that_goes_on(page: Page, server: str, shop: Database) -> None:
    page.set_viewport_size({"width": 1280, "height": 690})
    visit_id = visit(shop, engine(shop, V8), "vehicle")
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    read_round(shop, visit_id, FIRST_FIRE)
    warm: dict[str, float | None] = {"coolant": 60.0, "oil": 50.0}
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, warm, "KM", AT)
    page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}")
    page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
    expect(page.get_by_text("Stop the engine before you loosen a coupler.")).to_be_in_viewport()
    expect(page.locator("section.ask .engine-band")).to_be_in_viewport(ratio=1)
    expect(page.locator("section.ask .is-advised")).to_be_in_viewport(ratio=1)


def test_what_only_a_running_engine_tells_asks_for_its_start(client: TestClient, shop: Database) -> None:
    """The oil pressure of the start is asked for once all that comes before it is checked, and not with the engine off;
    passed over to while something before it is open, it asks for no start."""
    visit_id = visit(shop, engine(shop, V8))
    check_all(shop, visit_id, COLD_PRESET)
    there = f"/visits/{visit_id}/{FIRST_FIRE.slug}"
    before = [
        item.slug for item in items_of(visit_record(shop, visit_id), FIRST_FIRE) if item.before_running and item.needed
    ]
    done: dict[str, float | None] = dict.fromkeys(before[:-1])
    checks.record(shop, visit_id, key(), FIRST_FIRE.slug, done, "KM", AT)
    passed = client.get(there, params={"after": before[-1]}).text
    assert "Oil pressure within seconds" in asked(passed)
    assert re.findall(r"engine-band is-(\w+)", passed) == ["off"]
    assert "Start it first." not in passed
    checks.record(shop, visit_id, key(), FIRST_FIRE.slug, {before[-1]: None}, "KM", AT)
    due = client.get(there).text
    assert "Oil pressure within seconds" in asked(due)
    assert re.findall(r"engine-band is-(\w+)", due) == ["running"]
    assert "Start it first." in due
    checks.record(shop, visit_id, key(), FIRST_FIRE.slug, {"oil-pressure": 300.0}, "KM", AT)
    assert "Start it first." not in client.get(there).text


def asked(page: str) -> str:
    """What the ask of a page says."""
    found = re.search(r'<section class="[^"]*\bask\b.*?</section>', page, re.DOTALL)
    assert found is not None
    return found[0]
