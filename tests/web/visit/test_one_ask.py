"""A page of a visit asks for one thing, says whether the engine runs for it, and sends under the tablet's initials."""

import re

from playwright.sync_api import Locator, Page, expect
from starlette.testclient import TestClient

from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.store.database import Database
from tests.shop.yard import V8, check_all, engine, heat_soaked, key, read, visit, visit_record

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
