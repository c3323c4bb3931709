"""Two tablets in one visit: each sees what the other wrote, typing is not disturbed, and no value hides another."""

import re

import pytest
from playwright.sync_api import expect

from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.wording.reasons import in_words
from tests.browser import NewContext
from tests.shop.yard import FOUR, heat_soaked, visit_record
from tests.web.tablet import Tablet, entered, said, tablet


@pytest.fixture
def pair(new_context: NewContext, server: str, shop: Database) -> tuple[Tablet, Tablet]:
    visit_id = heat_soaked(shop, FOUR)
    one, other = tablet(new_context), tablet(new_context)
    one.open(server, visit_id)
    other.open(server, visit_id)
    return one, other


def test_each_tablet_sees_what_the_other_reads(pair: tuple[Tablet, Tablet], shop: Database) -> None:
    one, other = pair
    one.read("6.25", then="Bore 2")
    other.in_time(other.tile(1), "6.25")
    expect(other.page.locator("#entry-heading")).to_have_text("Bore 2")
    other.read("6.50", then="Bore 3")
    one.in_time(one.tile(2), "6.50")
    one.read("6.75", then="Bore 4")
    other.in_time(other.page.locator("#entry-heading"), "Bore 4")
    assert entered(shop, 1) == [(1, "turn", 6.25), (2, "turn", 6.5), (3, "turn", 6.75)]


def test_what_is_being_typed_stays_and_the_same_bore_on_both_is_asked_about(
    pair: tuple[Tablet, Tablet], shop: Database
) -> None:
    one, other = pair
    other.page.get_by_role("button", name="7", exact=True).click()
    one.read("6.25", then="Bore 2")
    expect(other.page.get_by_text(said("read-elsewhere", bore=1))).to_be_visible()
    expect(other.page.locator("[data-typed]")).to_have_text("7")
    expect(other.page.locator("#entry-heading")).to_have_text("Bore 1")
    expect(other.tile(1)).to_contain_text("7…")
    other.page.get_by_role("button", name=".00", exact=True).click()
    for hand in pair:
        expect(hand.page.get_by_role("heading", name="Which value of bore 1 counts?")).to_be_visible()
        expect(hand.tile(1)).to_contain_text("6.25 or 7.00")
        expect(hand.page.locator("#entry-heading")).to_have_text("Bore 2")
    one.page.get_by_role("button", name="Use 7.00").click()
    for hand in pair:
        expect(hand.page.get_by_role("heading", name="Which value of bore 1 counts?")).to_have_count(0)
        expect(hand.tile(1)).to_contain_text("7.00")
    assert entered(shop, 1) == [(1, "turn", 6.25), (1, "turn", 7.0), (1, "skip", None)]
    assert [r.value for r in visit_record(shop, 1).rounds[-1].readings] == [7.0]


def test_a_tablet_that_was_away_hides_nothing_of_what_it_read(pair: tuple[Tablet, Tablet], shop: Database) -> None:
    one, other = pair
    other.context.set_offline(True)
    other.read("6.00", then="Bore 2")
    one.read("6.25", then="Bore 2")
    one.is_saved()
    other.context.set_offline(False)
    other.is_saved()
    for hand in pair:
        expect(hand.page.get_by_role("heading", name="Which value of bore 1 counts?")).to_be_visible()
    assert entered(shop, 1) == [(1, "turn", 6.25), (1, "turn", 6.0)]


def test_a_move_told_by_both_is_asked_about(pair: tuple[Tablet, Tablet], shop: Database) -> None:
    one, other = pair
    for value, then in (("6.50", "Bore 2"), ("6.50", "Bore 3"), ("6.50", "Bore 4"), ("9.75", "Bore 1 again")):
        one.read(value, then=then)
    one.read("6.50", then="Round 2 complete")
    for hand in pair:
        expect(hand.page.get_by_role("button", name="Done as shown")).to_be_visible()
    other.context.set_offline(True)
    other.page.get_by_role("button", name="Done as shown").click()
    expect(other.bar).to_contain_text(said("waiting", what="1 adjustment"))
    one.page.get_by_role("button", name="Done as shown").click()
    expect(one.page.locator("#entry-heading")).to_have_text("Bore 1")
    other.context.set_offline(False)
    expect(other.page.get_by_text(in_words(because(Rejection.ADJUSTED_BY_ANOTHER_TABLET)))).to_be_visible()
    assert len(visit_record(shop, 1).moves) == 1
    other.page.get_by_role("button", name="Save adjustment").click()
    expect(other.page.locator("#entry-heading")).to_have_text(re.compile(r"^Bore \d$"))  # back at the readings
    assert len(visit_record(shop, 1).moves) == 2


def test_a_look_that_finds_nothing_new_fetches_nothing(pair: tuple[Tablet, Tablet]) -> None:
    one, _ = pair
    asked: list[str] = []
    one.page.on("request", lambda request: asked.append(request.url.split("/")[-1].split("?")[0]))
    for _ in range(2):
        with one.page.expect_response(lambda answer: "/news" in answer.url) as answer:
            pass
        assert answer.value.status == 204
    assert set(asked) == {"news"}
