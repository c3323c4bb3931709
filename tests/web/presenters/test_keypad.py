"""The keypad: a plain form without script; with it, two taps keep a reading."""

import re
from types import SimpleNamespace as Facts

import pytest
from playwright.sync_api import Page, expect

from tests.web.pieces import NASTY, piece
from tests.web.tablet import said, show_with_script


def pad(**changed: object) -> Facts:
    """An open keypad for a meter with steps of a quarter."""
    facts: dict[str, object] = {
        "heading": "Bore 6",
        "unit": "kg/h",
        "follows": "Then 7, 8, and 1 again",
        "keys": "quarter",
        "open": True,
        "action": "/visits/1/readings",
        "hidden": {"key": "k-1", "bore": "6"},
        "typed": "",
        "message": "",
        "other": None,
        "reasons": (("out-of-reach", "No access"), ("later", "Later")),
        "facts": {"low": "0", "high": "99", "range": "The meter reads from 0 to 99.", "times": "1.6", "others": "2"},
    }
    return Facts(**(facts | changed))


@pytest.mark.parametrize(
    ("keys", "ends"),
    [("quarter", [".00", ".25", ".50", ".75"]), ("half", [".0", ".5"]), ("tenth", ["Save"]), ("whole", ["Save"])],
)
def test_the_last_column_follows_the_step_of_the_meter(keys: str, ends: list[str]) -> None:
    html = piece("keypad", "keypad(pad)", pad=pad(keys=keys))
    assert re.findall(r'data-keep="[^"]*">([^<]+)<', html) == ends
    assert sorted(re.findall(r'data-key="(\d)"', html)) == list("0123456789")


def test_without_script_there_is_a_plain_form() -> None:
    html = piece("keypad", "keypad(pad)", pad=pad(typed=NASTY, message=NASTY, hidden={"key": NASTY}))
    assert "<script" not in html
    assert re.search(r'<div class="keys" hidden', html)
    assert '<button class="answer is-advised is-short">Save</button>' in html
    assert 'aria-invalid="true"' in html


def test_a_closed_round_takes_no_value() -> None:
    html = piece("keypad", "keypad(pad)", pad=pad(open=False, heading="Round 4 complete"))
    assert 'name="value"' not in html
    assert html.count("<button") == html.count(" disabled>")


KEPT = """
window.kept = [];
document.addEventListener("submit", (event) => {
  event.preventDefault();
  window.kept.push(Object.fromEntries(new FormData(event.target, event.submitter)));
});
"""


def show(page: Page, **changed: object) -> None:
    """A keypad with its script and the tile of the bore; what is submitted is kept in the page."""
    html = piece("keypad", "keypad(pad)", pad=pad(**changed)) + "<p data-typing></p>"
    show_with_script(page, html, "keypad.js")
    page.add_script_tag(content=KEPT)
    expect(page.get_by_role("button", name="Skip")).to_be_visible()


def kept(page: Page) -> list[str]:
    """The values that were submitted."""
    values: list[str] = page.evaluate("window.kept.map((form) => form.value)")
    return values


def test_two_taps_keep_a_reading(page: Page) -> None:
    show(page)
    page.get_by_role("button", name="6", exact=True).click()
    assert page.locator("[data-typing]").inner_text() == "6…"
    page.get_by_role("button", name=".25").click()
    assert page.evaluate("window.kept") == [{"key": "k-1", "bore": "6", "value": "6.25"}]


def test_a_second_tap_on_the_last_key_keeps_nothing_more(page: Page) -> None:
    show(page)
    page.get_by_role("button", name="6", exact=True).click()
    page.get_by_role("button", name=".25").dblclick()
    assert kept(page) == ["6.25"]


def test_a_stray_quarter_keeps_nothing(page: Page) -> None:
    show(page)
    page.get_by_role("button", name=".75").click()
    assert kept(page) == []
    assert page.get_by_text(said("whole-number-first")).is_visible()


def test_back_takes_the_last_digit(page: Page) -> None:
    show(page)
    for name in ("1", "2", "Back", "0"):
        page.get_by_role("button", name=name, exact=True).click()
    page.get_by_role("button", name=".50").click()
    assert kept(page) == ["10.50"]


def test_skip_asks_why_in_place_of_the_keys(page: Page) -> None:
    show(page)
    page.get_by_role("button", name="Skip").click()
    expect(page.get_by_role("button", name="6", exact=True)).to_be_hidden()
    page.get_by_role("button", name="Back to the keys").click()
    expect(page.get_by_role("button", name="6", exact=True)).to_be_visible()
    page.get_by_role("button", name="Skip").click()
    page.get_by_role("button", name="No access").click()
    assert page.evaluate("window.kept.map((form) => form.why_code)") == ["out-of-reach"]


def test_what_the_meter_cannot_show_is_said_at_once(page: Page) -> None:
    show(page)
    page.keyboard.type("100")
    page.get_by_role("button", name=".00").click()
    assert kept(page) == []
    expect(page.get_by_text("The meter reads from 0 to 99.")).to_be_visible()
    assert page.locator("[data-typed]").inner_text() == "100"


MOMENT = 700
"""Milliseconds for which a next question takes no tap."""

OTHERS = "".join(
    f'<a class="tile" data-bore="{bore}" data-value="{value}"></a>' for bore, value in ((1, 6.5), (2, 6.25))
)


def beside_others(page: Page, last: str = "") -> None:
    """A keypad for quarters beside two bores that were read, its clock under the hand of the test."""
    page.clock.install()
    facts = {"low": "0", "high": "99", "range": "0 to 99", "times": "1.6", "others": "2", "last": last}
    show(page, hidden={"key": "k-1", "bore": "6", "sure": ""}, facts=facts)
    page.evaluate("(tiles) => document.body.insertAdjacentHTML('beforeend', tiles)", OTHERS)


def keeps(page: Page) -> list[str]:
    """What the keys say that save."""
    return page.locator("[data-keep]").all_inner_texts()


def test_a_key_that_says_a_likely_value_in_full_saves_it_with_one_tap(page: Page) -> None:
    """The others read 6.5 and 6.25; the moment is that of every next question."""
    beside_others(page)
    page.clock.fast_forward(MOMENT)
    assert keeps(page) == ["6.00", "6.25", "6.50", "6.75"]
    page.get_by_role("button", name="6.50").dblclick()
    assert kept(page) == ["6.50"]


def test_a_second_tap_does_not_save_the_next_bore_too(page: Page) -> None:
    beside_others(page)
    assert keeps(page) == [".00", ".25", ".50", ".75"]
    page.get_by_role("button", name=".50").click()
    assert kept(page) == []


def test_a_digit_takes_the_place_of_the_likely_values(page: Page) -> None:
    beside_others(page)
    page.clock.fast_forward(MOMENT)
    page.get_by_role("button", name="7", exact=True).click()
    assert keeps(page) == [".00", ".25", ".50", ".75"]
    page.get_by_role("button", name=".25").click()
    assert kept(page) == ["7.25"]


@pytest.mark.parametrize(("last", "first"), [("6:13.25", "13.00"), ("6:6.9", "7.00"), ("6:0.25", "0.00")])
def test_likely_is_what_the_bore_read_last(page: Page, last: str, first: str) -> None:
    beside_others(page, last)
    page.clock.fast_forward(MOMENT)
    assert keeps(page)[0] == first


def far(page: Page, value: str, last: str = "") -> None:
    """Type a value on a keypad beside two bores that were read; ``last`` is what bores read before."""
    facts = {"low": "0", "high": "99", "range": "0 to 99", "times": "1.6", "others": "2", "last": last}
    show(page, keys="tenth", hidden={"key": "k-1", "bore": "6", "sure": ""}, facts=facts)
    page.evaluate("(tiles) => document.body.insertAdjacentHTML('beforeend', tiles)", OTHERS)
    page.keyboard.type(value)
    page.keyboard.press("Enter")


@pytest.mark.parametrize(
    ("value", "asked"),
    [("3.98", True), ("4", False), ("6.25", False), ("10.19", False), ("10.25", True), ("62.5", True)],
)
def test_a_value_is_asked_about_from_1_6_times_the_middle_of_the_others(page: Page, value: str, asked: bool) -> None:
    """The others read 6.5 and 6.25, so that their middle is 6.375."""
    far(page, value)
    assert page.get_by_role("group", name="Is this value right?").is_visible() == asked
    assert kept(page) == ([] if asked else [value])


@pytest.mark.parametrize(("value", "asked"), [("20", False), ("12.5", True), ("32", True), ("6.25", True)])
def test_a_value_that_was_kept_is_what_the_next_one_of_the_bore_is_measured_by(
    page: Page, value: str, asked: bool
) -> None:
    far(page, value, last="5:6 6:20")
    assert page.get_by_role("group", name="Is this value right?").is_visible() == asked


@pytest.mark.parametrize(("value", "asked"), [("62.5", True), ("6.5", False)])
def test_the_first_value_is_asked_about_by_what_is_known_roughly(page: Page, value: str, asked: bool) -> None:
    facts = {"low": "0", "high": "99", "range": "0 to 99", "times": "1.6", "others": "2"}
    facts |= {"roughly": "5:1 6:6.6", "roughly-times": "4"}
    show(page, keys="tenth", hidden={"key": "k-1", "bore": "6", "sure": ""}, facts=facts)
    page.keyboard.type(value)
    page.keyboard.press("Enter")
    assert kept(page) == ([] if asked else [value])


def test_a_value_far_from_the_others_is_asked_about_once(page: Page) -> None:
    far(page, "62.5")
    page.get_by_role("button", name="Correct it").click()
    assert page.locator("[data-typed]").inner_text() == "62.5"
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Save it, the meter shows it").click()
    assert page.evaluate("window.kept.map((form) => [form.value, form.sure])") == [["62.5", "1"]]


def test_an_answer_that_goes_out_of_sight_keeps_no_focus(page: Page) -> None:
    """In one frame: a browser takes the focus from what is hidden only with the next, and Enter would go to it."""
    far(page, "62.5")
    page.evaluate("""() => {
      const correct = [...document.querySelectorAll("button")].find((one) => one.textContent.trim() === "Correct it");
      correct.focus();
      correct.click();
      document.activeElement.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true }));
    }""")
    assert page.get_by_role("group", name="Is this value right?").is_visible()


def test_keys_of_a_real_keyboard_work(page: Page) -> None:
    show(page, keys="tenth")
    for key in ("1", "2", "Backspace", ",", "5", "Enter"):
        page.keyboard.press(key)
    assert kept(page) == ["1.5"]


def test_a_whole_number_meter_has_no_point(page: Page) -> None:
    show(page, keys="whole")
    page.keyboard.type("4.2")
    page.keyboard.press("Enter")
    assert kept(page) == ["42"]


def test_no_field_takes_the_focus_so_the_tablets_own_keyboard_stays_away(page: Page) -> None:
    show(page)
    assert page.locator("input[name=value]").is_hidden()
    page.get_by_role("button", name="6", exact=True).click()
    assert page.evaluate("document.activeElement.tagName") == "BUTTON"


def test_what_was_typed_before_is_kept_in_sight(page: Page) -> None:
    show(page, typed="61", message="Far from the other bores. Read it again.")
    assert page.locator("[data-typed]").inner_text() == "61"
    assert page.get_by_text("Read it again.").is_visible()
