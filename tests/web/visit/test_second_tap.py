"""An action counts once, what is asked next arms after a moment, and a stray tap is undone with one tap."""

import re
from datetime import UTC, datetime, timedelta

from playwright.sync_api import Locator, Page, Route, expect
from starlette.testclient import TestClient

from app.shop.commands import readings
from app.shop.commands.readings import NewReading
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import COLD_PRESET, HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.yard import AT, V8, engine, heat_soaked, key, read, visit, visit_record
from tests.web.axe import faults

HOT = f"/visits/1/{HEAT_SOAKED.slug}"
HOME = "http://127.0.0.1"
MOMENT, REST, SHOWN = 700, 1_500, 10_000
"""Milliseconds for which the next question takes no tap, for which it takes none after an adjustment, and for which
what was saved is shown."""


def uneven(shop: Database) -> Phase:
    """A hot V8 whose bore 4 reads high: its coupler is to be reset."""
    visit_id = heat_soaked(shop)
    for value in (6.5, 6.5, 6.5, 9.0, *[6.5] * 5):
        read(shop, visit_id, HEAT_SOAKED, value)
    return HEAT_SOAKED


def twice_read(shop: Database) -> Phase:
    """A hot V8 whose first two bores were read by two tablets: one after the other, it is asked which value counts."""
    visit_id = heat_soaked(shop)
    for bore in (1, 2):
        for value in (6.5, 7.0):
            number = next_reading(visit_record(shop, visit_id), HEAT_SOAKED).round_number
            new = NewReading(HEAT_SOAKED.slug, number, bore, "turn", value, "KM")
            readings.add(shop, visit_id, key(), new, AT)
    return HEAT_SOAKED


def opened(page: Page, server: str, phase: Phase) -> Locator:
    """The reading page of a phase, its clock under the hand of the test; the button that says the move was made."""
    page.clock.install()
    page.goto(f"{server}/visits/1/{phase.slug}/readings")
    page.clock.pause_at(datetime.now(UTC) + timedelta(minutes=1))
    expect(page.locator("[data-arming]")).to_have_count(0)
    return page.get_by_role("button", name="Done as shown")


def tap(page: Page, at: tuple[float, float]) -> None:
    """Tap there, and let the finger go."""
    page.mouse.click(*at)
    page.clock.run_for(1)


def middle(of: Locator) -> tuple[float, float]:
    """Where a finger taps it."""
    box = of.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def strip(page: Page) -> Locator:
    """What says what was just saved."""
    return page.locator(".just-saved")


def told(shop: Database) -> list[bool]:
    """For each row of a move, whether it takes one back."""
    return [bool(move.taken_back) for move in visit_record(shop, 1).all_moves]


def settled(shop: Database) -> int:
    """How many of the two questions were answered."""
    return 2 - len(visit_record(shop, 1).rounds[-1].in_question)


def test_two_taps_350_ms_apart_are_one_move(page: Page, server: str, shop: Database) -> None:
    phase = uneven(shop)
    made = opened(page, server, phase)
    said, where = page.locator("#move-title").inner_text(), middle(made)
    tap(page, where)
    expect(page.locator("#move-title")).not_to_have_text(said)
    page.clock.run_for(350)
    tap(page, where)
    page.clock.run_for(REST)
    expect(page.locator("[data-arming]")).to_have_count(0)
    assert told(shop) == [False]


def test_after_an_adjustment_a_box_lies_over_the_keys_until_it_is_filled(
    page: Page, server: str, shop: Database
) -> None:
    made = opened(page, server, uneven(shop))
    tap(page, middle(made))
    box, key_of = page.locator(".rest"), page.locator("[data-key='6']")
    expect(box).to_contain_text("Next: Read bore 4")
    where = middle(key_of)
    tap(page, where)
    page.clock.run_for(REST - 200)
    tap(page, where)
    expect(box).to_be_visible()
    expect(page.locator("[data-typed]")).to_be_empty()
    page.clock.run_for(200)
    expect(box).to_be_hidden()
    tap(page, where)
    expect(page.locator("[data-typed]")).to_have_text("6")


def test_the_box_is_plain_to_everybody(page: Page, server: str, shop: Database) -> None:
    uneven(shop)
    page.goto(f"{server}{HOT}/readings")
    page.get_by_role("button", name="Done as shown").click()
    expect(strip(page)).to_contain_text("Saved: Coupler 3–4 reset")
    expect(page.locator("[data-arming]")).to_have_count(0)
    page.locator(".rest").evaluate("box => { box.hidden = false; }")
    assert faults(page) == []


def test_the_box_stands_still_for_whoever_asked_for_less_motion(page: Page, server: str, shop: Database) -> None:
    page.emulate_media(reduced_motion="reduce")
    tap(page, middle(opened(page, server, uneven(shop))))
    expect(page.locator(".rest")).to_be_visible()
    expect(page.locator(".rest-bar")).to_have_css("animation-name", "none")


def test_a_second_tap_does_not_answer_the_next_question(page: Page, server: str, shop: Database) -> None:
    opened(page, server, twice_read(shop))
    asks, answer = page.locator("#move-title"), page.get_by_role("button", name="Use 6.50")
    expect(asks).to_have_text("Which value of bore 1 counts?")
    where = middle(answer)
    tap(page, where)
    expect(asks).to_have_text("Which value of bore 2 counts?")
    page.clock.run_for(350)
    tap(page, where)
    page.clock.run_for(MOMENT)
    expect(answer).not_to_have_attribute("aria-disabled", "true")
    assert settled(shop) == 1
    tap(page, where)
    expect(asks).to_have_text("Read bore 3")
    assert settled(shop) == 2


def test_the_next_question_takes_a_key_once_its_moment_is_over(page: Page, server: str, shop: Database) -> None:
    opened(page, server, twice_read(shop))
    asks, answer = page.locator("#move-title"), page.get_by_role("button", name="Use 6.50")
    tap(page, middle(answer))
    expect(asks).to_have_text("Which value of bore 2 counts?")
    expect(answer).to_have_attribute("aria-disabled", "true")
    answer.focus()
    page.keyboard.press("Enter")
    page.clock.run_for(MOMENT)
    expect(answer).to_be_focused()
    expect(answer).not_to_have_attribute("aria-disabled", "true")
    assert settled(shop) == 1
    page.keyboard.press("Enter")
    expect(asks).to_have_text("Read bore 3")
    assert settled(shop) == 2


def test_a_stray_tap_is_undone_with_one_tap(page: Page, server: str, shop: Database) -> None:
    made = opened(page, server, uneven(shop))
    said = page.locator("#move-title").inner_text()
    tap(page, middle(made))
    expect(strip(page)).to_contain_text("Saved: Coupler 3–4 reset")
    page.reload()
    expect(strip(page)).to_contain_text("Saved: Coupler 3–4 reset")
    tap(page, middle(strip(page).get_by_role("button", name="Undo")))
    expect(page.locator("#move-title")).to_have_text(said)
    expect(strip(page)).to_be_empty()
    assert told(shop) == [False, True]
    assert visit_record(shop, 1).moves == ()


def test_the_strip_comes_where_the_page_after_an_adjustment_fails_at_first(
    page: Page, server: str, shop: Database
) -> None:
    uneven(shop)
    failed: list[str] = []

    def once(route: Route) -> None:
        if failed:
            route.continue_()
        else:
            failed.append(route.request.url)
            route.fulfill(status=503)

    page.route("**/readings?saved=move-*", once)
    page.goto(f"{server}{HOT}/readings")
    page.get_by_role("button", name="Done as shown").click()
    expect(strip(page)).to_contain_text("Saved: Coupler 3–4 reset")
    assert failed


def test_the_strip_comes_where_the_news_of_the_adjustment_is_faster(page: Page, server: str, shop: Database) -> None:
    uneven(shop)
    news: list[Route] = []

    def after_the_news(route: Route) -> None:
        while news:
            with page.expect_response("**/news?*"):
                news.pop().continue_()
        page.unroute("**/news?*")
        route.continue_()

    page.route("**/news?*", lambda route: news.append(route))
    page.route("**/readings?saved=move-*", after_the_news)
    page.goto(f"{server}{HOT}/readings")
    page.get_by_role("button", name="Done as shown").click()
    expect(strip(page)).to_contain_text("Saved: Coupler 3–4 reset")
    expect(page).to_have_url(re.compile("saved=move-1$"))


def test_the_strip_goes_after_ten_seconds_and_not_from_under_the_focus(page: Page, server: str, shop: Database) -> None:
    tap(page, middle(opened(page, server, uneven(shop))))
    expect(strip(page)).to_contain_text("Saved: Coupler 3–4 reset")
    undo = strip(page).get_by_role("button", name="Undo")
    undo.focus()
    page.clock.run_for(SHOWN)
    expect(undo).to_be_focused()
    page.locator(".tile").first.focus()
    page.clock.run_for(1000)
    expect(strip(page)).to_be_empty()
    assert told(shop) == [False]


def test_news_of_another_tablet_leaves_the_focus_in_the_strip(page: Page, server: str, shop: Database) -> None:
    page.goto(f"{server}/visits/1/{uneven(shop).slug}/readings")
    page.get_by_role("button", name="Done as shown").click()
    expect(strip(page)).to_contain_text("Saved: Coupler 3–4 reset")
    undo = strip(page).get_by_role("button", name="Undo")
    undo.focus()
    read(shop, 1, HEAT_SOAKED, 6.75)
    expect(page.locator(".tile").filter(has_text="6.75")).to_have_count(1)
    expect(undo).to_be_focused()


def test_an_adjustment_that_waits_on_the_tablet_is_undone_there(page: Page, server: str, shop: Database) -> None:
    made = opened(page, server, uneven(shop))
    where = middle(made)
    page.context.set_offline(True)
    tap(page, where)
    expect(strip(page)).to_contain_text("Not sent yet: Reset coupler 3–4")
    tap(page, middle(strip(page).get_by_role("button", name="Undo")))
    expect(strip(page)).to_be_empty()
    assert told(shop) == []
    page.context.set_offline(False)
    page.clock.resume()
    expect(page.locator("#link-state")).to_contain_text("All saved")
    expect(page.get_by_role("button", name="Done as shown")).to_be_visible()
    assert told(shop) == [False, True]


def test_a_reading_just_saved_leads_to_its_correction(page: Page, server: str, shop: Database) -> None:
    heat_soaked(shop)
    page.goto(server + HOT + "/readings")
    for name in ("6", ".50"):
        page.get_by_role("button", name=name, exact=True).click()
    expect(strip(page)).to_contain_text("Saved: bore 1, 6.50.")
    assert faults(page) == []
    strip(page).get_by_role("link", name="Correct").click()
    expect(page.locator("#entry-heading")).to_have_text("Bore 1 corrected")


def test_a_second_tap_over_the_telephone_answers_one_question(page: Page, server: str, shop: Database) -> None:
    visit(shop, engine(shop, V8), place="telephone")
    page.clock.install()
    page.goto(f"{server}/visits/1/{COLD_PRESET.slug}")
    page.clock.pause_at(datetime.now(UTC) + timedelta(minutes=1))
    words, yes = page.locator(".telephone-words"), page.get_by_role("button", name="Save “yes”")
    asked = words.inner_text()
    tap(page, middle(yes))
    expect(words).not_to_have_text(asked)
    yes.click(force=True)
    assert page.locator("form:is([data-holding], [inert])").count() == 0
    page.clock.run_for(MOMENT)
    expect(yes).not_to_have_attribute("aria-disabled", "true")
    asked = words.inner_text()
    tap(page, middle(yes))
    expect(words).not_to_have_text(asked)
    assert len(visit_record(shop, 1).all_checks) == 2


def test_without_a_script_a_form_sent_twice_is_one_move_and_the_strip_says_so(shop: Database) -> None:
    uneven(shop)
    now = [datetime.now(UTC)]
    with TestClient(
        create_app(shop, clock=lambda: now[0]), base_url=HOME, headers={"Origin": HOME}, follow_redirects=False
    ) as client:
        sent = {"key": key(), "kind": "blade", "place": "3-4", "leaf": "4.5", "advised": "1", "by": "KM", "seen": "0"}
        first, second = (client.post(f"{HOT}/moves", data=sent) for _ in range(2))
        assert first.status_code == second.status_code == 303
        assert first.headers["location"] == second.headers["location"] == f"{HOT}/readings?saved=move-1"
        assert told(shop) == [False]
        assert "Undo</button>" in client.get(first.headers["location"]).text
        now[0] += timedelta(milliseconds=SHOWN)
        assert "Undo</button>" not in client.get(first.headers["location"]).text
        back = client.post(f"{HOT}/moves/taken-back", data={"key": key(), "move": sent["key"], "by": "KM"})
        assert back.headers["location"] == f"{HOT}/readings"
        assert told(shop) == [False, True]
