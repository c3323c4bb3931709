"""Nothing written is lost or doubled, whatever the link does; the page says what waits and goes on meanwhile."""

import re
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Playwright, expect

from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.procedure.codes import SkipReason
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.reasons import because
from app.shop.record.stored_reasons import stored
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from app.sync.engine.units import THOU
from tests.browser import NewContext
from tests.proxy import Proxy, proxied
from tests.shop.bank_balance import at_the_banks
from tests.shop.rejections import on_page
from tests.shop.yard import AT, FOUR, heat_soaked, just_now, key, visit_record
from tests.started import started
from tests.web.balance import balance
from tests.web.tablet import Tablet, entered, kill_browser, said, started_tablet

LOG_IN = b"<main>Log in</main>"
HANG_UP = b"Connection: close\r\nContent-Length: %d\r\n\r\n"
STRANGER = b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\n" + HANG_UP % len(LOG_IN) + LOG_IN
FAULTS: dict[str, tuple[str | bytes, str]] = {
    "refused": ("refuse", said("no-connection")),
    "request cut": ("cut", said("no-connection")),
    "answer lost": ("drop", said("no-connection")),
    "never answered": ("hang", said("not-saved-yet")),
    "status 500": (b"HTTP/1.1 500 x\r\n" + HANG_UP % 0, said("because-server")),
    "status 503": (b"HTTP/1.1 503 x\r\n" + HANG_UP % 0, said("because-server")),
    "status 401": (b"HTTP/1.1 401 x\r\n" + HANG_UP % 0, said("because-pairing")),
    "somebody else's page": (STRANGER, said("because-stranger")),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_reading_outlives_every_fault_and_is_there_once(name: str, hand: Tablet, link: Proxy, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    fault, shown = FAULTS[name]
    hand.open(link.address, visit_id)
    link.fault, link.only = fault, b"POST"
    hand.read("6.25", then="Bore 2")
    expect(hand.tile(1)).to_have_attribute("aria-label", f"Bore 1, 6.25, {said('tile-waiting')}")
    expect(hand.bar).to_contain_text(shown)
    expect(hand.bar).to_contain_text(said("waiting", what="1 reading"))
    assert len(entered(shop, visit_id)) == (1 if fault == "drop" else 0)
    link.fault = "pass"
    hand.is_saved()
    expect(hand.tile(1)).to_have_attribute("aria-label", re.compile("saved$"))
    assert entered(shop, visit_id) == [(1, "turn", 6.25)]


def test_the_rest_of_the_round_is_read_without_a_link(hand: Tablet, server: str, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.open(server, visit_id)
    hand.read("6.25", then="Bore 2")
    hand.is_saved()
    hand.context.set_offline(True)
    for value, then in (("6.50", "Bore 3"), ("6.75", "Bore 4"), ("7.00", "Bore 1 again"), ("6.50", "Round 2 read")):
        hand.read(value, then=then)
    expect(hand.bar).to_contain_text(said("no-connection"))
    expect(hand.bar).to_contain_text(said("waiting", what="4 readings"))
    expect(hand.page.get_by_role("heading", name=said("verdict-waits"))).to_be_visible()
    expect(hand.page.get_by_text(said("count-waiting", read="1 of 5 read", count=4))).to_be_visible()
    expect(hand.page.get_by_role("button", name="Done as shown")).to_have_count(0)
    assert len(entered(shop, visit_id)) == 1
    hand.context.set_offline(False)
    hand.is_saved()
    expect(hand.page.get_by_text("complete, 5 of 5")).to_be_visible()
    expect(hand.page.get_by_role("heading", name=said("verdict-waits"))).to_have_count(0)
    assert entered(shop, visit_id) == [
        *((bore, "turn", 6.0 + 0.25 * bore) for bore in (1, 2, 3, 4)),
        (1, "closing", 6.5),
    ]


def test_an_answer_that_goes_elsewhere_than_its_card_is_held_and_gets_there(
    hand: Tablet, server: str, shop: Database
) -> None:
    visit_id = balance(shop, (1.0, 1.0)).record.visit.ident
    hand.page.goto(f"{server}/visits/{visit_id}/{BANK_BALANCE.slug}/readings")
    hand.context.set_offline(True)
    hand.page.get_by_role("button", name="Read 0.020\u00a0in first").click()
    expect(hand.bar).to_contain_text(said("no-connection"))
    hand.context.set_offline(False)
    hand.is_saved()
    expect(hand.page.get_by_text("Put the 0.020\u00a0in feeler under the central lever")).to_be_visible()
    now = visit_record(shop, visit_id)
    assert now.rounds[-1].row.opening == pytest.approx(20 * THOU)
    assert not now.moves


def test_how_an_opening_is_reached_is_kept_without_a_link(hand: Tablet, server: str, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    hand.page.goto(f"{server}/visits/{visit_id}/{BANK_BALANCE.slug}/readings?bore=1")  # without an engine speed
    hand.context.set_offline(True)
    way = hand.page.get_by_text("From open", exact=True)
    box = way.locator("..").bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) >= 56
    way.click()
    expect(hand.page.get_by_text("Do not push up to it.")).to_be_visible()
    hand.read("8.00", then="Bore 2")
    expect(hand.page.get_by_role("radio", name="Straight up")).to_be_disabled()
    hand.read("8.25", then="Bore 3")
    hand.context.set_offline(False)
    hand.is_saved()
    expect(hand.page.get_by_text("0.010\u00a0in, from open")).to_be_visible()
    one = visit_record(shop, visit_id).rounds[-1]
    assert (one.row.from_above, [r.value for r in one.readings]) == (1, [8.0, 8.25])


def test_an_engine_speed_that_waits_lets_the_round_be_read(hand: Tablet, server: str, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    hand.page.goto(f"{server}/visits/{visit_id}/{BANK_BALANCE.slug}/readings")
    expect(hand.page.locator("#entry-heading")).to_have_text("Engine speed")
    hand.context.set_offline(True)
    for digit in "1010":
        hand.page.get_by_role("button", name=digit, exact=True).click()
    hand.page.locator("form[data-keypad]").get_by_role("button", name="Save", exact=True).click()
    expect(hand.page.locator("#entry-heading")).to_have_text("Bore 1")
    hand.read("8.00", then="Bore 2")
    hand.read("8.25", then="Bore 3")
    assert visit_record(shop, visit_id).rounds[-1].row.opening == 0
    hand.context.set_offline(False)
    hand.is_saved()
    one = visit_record(shop, visit_id).rounds[-1]
    assert [round(60 * speed.speed) for speed in one.speeds] == [1010]
    assert [r.value for r in one.readings] == [8.0, 8.25]


def test_what_was_saved_counts_before_the_page_is_served_anew(hand: Tablet, link: Proxy, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.open(link.address, visit_id)
    link.fault, link.only = "refuse", b"GET"
    hand.read("6.25", then="Bore 2")
    expect(hand.page.get_by_text("1 of 5 read")).to_be_visible()
    assert entered(shop, visit_id) == [(1, "turn", 6.25)]
    link.only = b""
    hand.read("6.50", then="Bore 3")
    expect(hand.page.get_by_text(said("count-waiting", read="1 of 5 read", count=1))).to_be_visible()
    link.fault = "pass"
    hand.is_saved()
    expect(hand.page.get_by_text("2 of 5 read")).to_be_visible()


def test_without_a_link_a_bore_is_chosen_and_a_value_corrected(hand: Tablet, server: str, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.open(server, visit_id)
    hand.read("6.25", then="Bore 2")
    hand.is_saved()
    expect(hand.tile(1)).to_have_attribute("aria-label", re.compile("saved$"))
    hand.context.set_offline(True)
    hand.read("6.50", then="Bore 3")
    expect(hand.bar).to_contain_text(said("no-connection"))
    hand.tile(4).click()
    expect(hand.page.locator("#entry-heading")).to_have_text("Bore 4")
    hand.read("7.00", then="Bore 3")
    for bore, value in ((2, "6.75"), (1, "6.00")):
        hand.tile(bore).click()
        expect(hand.page.locator("#entry-heading")).to_have_text(f"Bore {bore} corrected")
        hand.read(value, then="Bore 3")
        expect(hand.tile(bore)).to_contain_text(value)
    hand.context.set_offline(False)
    hand.is_saved()
    expect(hand.page.get_by_text("3 of 5 read")).to_be_visible()
    latest = visit_record(shop, visit_id).rounds[-1].latest
    assert {bore: row.value for bore, row in latest.items()} == {1: 6.0, 2: 6.75, 4: 7.0}
    assert len(entered(shop, visit_id)) == 5


def test_a_reload_keeps_what_waits_and_reads_on(hand: Tablet, link: Proxy, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.open(link.address, visit_id)
    link.fault, link.only = FAULTS["status 503"][0], b"POST"
    hand.read("6.25", then="Bore 2")
    hand.page.get_by_role("button", name="Skip").click()
    hand.page.get_by_role("button", name="Cannot be reached").click()
    expect(hand.page.locator("#entry-heading")).to_have_text("Bore 3")
    hand.page.reload()
    expect(hand.page.locator("#entry-heading")).to_have_text("Bore 3")
    expect(hand.tile(1)).to_contain_text(said("tile-waiting"))
    expect(hand.tile(2)).to_contain_text(said("tile-skipped"))
    hand.read("6.75", then="Bore 4")
    expect(hand.bar).to_contain_text(said("waiting", what="3 readings"))
    link.fault = "pass"
    hand.is_saved()
    assert entered(shop, visit_id) == [(1, "turn", 6.25), (2, "skip", None), (3, "turn", 6.75)]


def test_two_tabs_send_one_queue_once(hand: Tablet, link: Proxy, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.open(link.address, visit_id)
    link.fault, link.only = "refuse", b"POST"
    hand.read("6.25", then="Bore 2")
    hand.read("6.50", then="Bore 3")
    other = Tablet(hand.context.new_page(), hand.context)
    other.open(link.address, visit_id)
    expect(other.bar).to_contain_text(said("waiting", what="2 readings"))
    expect(other.page.locator("#entry-heading")).to_have_text("Bore 3")
    link.fault = "pass"
    hand.is_saved()
    other.is_saved()
    assert entered(shop, visit_id) == [(1, "turn", 6.25), (2, "turn", 6.5)]


def test_a_server_killed_in_the_middle_of_a_round_costs_nothing(hand: Tablet, tmp_path: Path) -> None:
    shop = open_shop(tmp_path / "killed")
    with just_now():
        visit_id = heat_soaked(shop, FOUR)
    shop.close()
    arguments = ("serve", "--port", "0", "--data", str(tmp_path / "killed"))
    with started(*arguments) as program, proxied(program.address) as link:
        hand.open(link.address, visit_id)
        hand.read("6.25", then="Bore 2")
        hand.is_saved()
        link.fault, link.only = "drop", b"POST"
        hand.read("6.50", then="Bore 3")
        expect(hand.bar).to_contain_text(said("no-connection"))
        program.process.kill()
        program.process.wait()
        link.fault = "pass"
        hand.read("6.75", then="Bore 4")
        expect(hand.bar).to_contain_text(said("waiting", what="2 readings"))
        with started(*arguments) as again:
            host, port = again.address.removeprefix("http://").strip("/").split(":")
            link.target = (host, int(port))
            hand.is_saved()
            assert again.stop() == 0
    shop = open_shop(tmp_path / "killed")
    assert entered(shop, visit_id) == [(1, "turn", 6.25), (2, "turn", 6.5), (3, "turn", 6.75)]
    shop.close()
    shutil.rmtree(tmp_path / "killed")


def test_what_is_refused_comes_back_with_its_reason_and_what_was_typed(
    hand: Tablet, link: Proxy, shop: Database
) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.open(link.address, visit_id)
    hand.read("6.25", then="Bore 2")
    hand.is_saved()
    link.fault = "refuse"
    hand.read("6.50", then="Bore 3")
    hand.page.get_by_role("button", name="7", exact=True).click()
    moves.make(shop, visit_id, key(), NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM"), AT)
    link.fault = "pass"
    back = hand.page.get_by_role("list", name="Not saved").get_by_role("listitem")
    hand.in_time(back, said("rejected-write", write="Bore 2, 6.50"))
    expect(back).to_contain_text(on_page(Rejection.ADJUSTED_SINCE, round=2))
    expect(hand.page.locator("[data-typed]")).to_have_text("7")
    assert entered(shop, visit_id) == [(1, "turn", 6.25)]
    hand.page.reload()
    expect(back).to_contain_text("Bore 2, 6.50")
    back.get_by_role("button", name=said("discard")).click()
    back.get_by_role("button", name=said("discard-for-good")).click()
    expect(back).to_have_count(0)
    hand.is_saved()
    assert entered(shop, visit_id) == [(1, "turn", 6.25)]


OLD_BUTTON = """() => {
  const button = document.querySelector("[data-asked=skip] button[name=why_code]");
  [button.name, button.value] = ["why", "Cannot be reached"];
}"""
"""The first reason on the keypad, as a page from before codes has it."""


@pytest.mark.parametrize(
    ("page", "held"), [("", stored([because(SkipReason.OUT_OF_REACH)])), (OLD_BUTTON, "Cannot be reached")]
)
def test_a_skip_that_waits_is_said_in_words_and_gets_there(
    hand: Tablet, link: Proxy, shop: Database, page: str, held: str
) -> None:
    """One of a page that was served before reasons had codes keeps its phrase."""
    visit_id = heat_soaked(shop, FOUR)
    hand.open(link.address, visit_id)
    if page:
        hand.page.evaluate(page)
    link.fault, link.only = FAULTS["status 500"][0], b"POST"
    hand.page.get_by_role("button", name="Skip").click()
    hand.page.get_by_role("button", name="Cannot be reached").click()
    expect(hand.page.locator("#entry-heading")).to_have_text("Bore 2")
    expect(hand.tile(1)).to_contain_text(said("tile-skipped"))
    listed = hand.page.get_by_role("list", name="Not saved").get_by_role("listitem")
    hand.in_time(listed, said("stuck-write", write="Bore 1, Cannot be reached"))
    link.fault = "pass"
    hand.is_saved()
    (row,) = visit_record(shop, visit_id).rounds[-1].entered
    assert (row.kind, row.why) == ("skip", held)


def test_what_the_server_cannot_store_does_not_hold_the_rest_up_for_ever(
    hand: Tablet, link: Proxy, shop: Database
) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.open(link.address, visit_id)
    link.fault, link.only = FAULTS["status 500"][0], b"POST"
    hand.read("6.25", then="Bore 2")
    hand.read("6.50", then="Bore 3")
    listed = hand.page.get_by_role("list", name="Not saved").get_by_role("listitem")
    hand.in_time(listed, said("stuck-write", write="Bore 1, 6.25"))
    listed.get_by_role("button", name=said("set-aside")).click()
    expect(listed.get_by_role("button", name=said("send-again"))).to_be_visible()
    link.fault = "pass"
    hand.in_time(hand.bar, said("rejected-writes", what="1 reading"))
    assert entered(shop, visit_id) == [(2, "turn", 6.5)]
    listed.get_by_role("button", name=said("send-again")).click()
    hand.is_saved()
    assert entered(shop, visit_id) == [(2, "turn", 6.5), (1, "turn", 6.25)]


@pytest.mark.skipif(not Path("/proc").exists(), reason="finds the browser's processes in /proc")
def test_a_browser_killed_on_the_spot_has_kept_what_was_tapped(
    playwright: Playwright, tmp_path: Path, link: Proxy, shop: Database
) -> None:
    visit_id = heat_soaked(shop, FOUR)
    memory = tmp_path / "memory"
    link.fault, link.only = "refuse", b"POST"
    with started_tablet(playwright, memory) as hand:
        hand.open(link.address, visit_id)
        hand.read("6.25", then="Bore 2")
        hand.read("6.50", then="Bore 3")
        kill_browser(memory)
    link.fault = "pass"
    with started_tablet(playwright, memory) as hand:
        hand.open(link.address, visit_id)
        for bore in (1, 2):
            expect(hand.tile(bore)).to_have_attribute("aria-label", re.compile("saved$"))
    assert entered(shop, visit_id) == [(1, "turn", 6.25), (2, "turn", 6.5)]


def test_a_move_made_without_a_link_waits_its_turn(hand: Tablet, server: str, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.open(server, visit_id)
    for value, then in (("6.50", "Bore 2"), ("6.50", "Bore 3"), ("6.50", "Bore 4"), ("9.75", "Bore 1 again")):
        hand.read(value, then=then)
    hand.read("6.50", then="Round 2 complete")
    made = hand.page.get_by_role("button", name="Done as shown")
    expect(made).to_be_visible()
    hand.context.set_offline(True)
    made.click()
    expect(hand.bar).to_contain_text(said("waiting", what="1 adjustment"))
    expect(hand.page.get_by_role("heading", name=said("verdict-waits"))).to_be_visible()
    assert visit_record(shop, visit_id).moves == ()
    hand.context.set_offline(False)
    hand.is_saved()
    expect(hand.page.locator("#entry-heading")).to_have_text("Bore 1")
    assert len(visit_record(shop, visit_id).moves) == 1


def test_a_tablet_that_keeps_nothing_sends_straight_away(hand: Tablet, server: str, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.page.add_init_script("Object.defineProperty(window, 'indexedDB', { value: undefined })")
    hand.open(server, visit_id)
    hand.read("6.25", then="Bore 2")
    assert entered(shop, visit_id) == [(1, "turn", 6.25)]


def test_without_script_a_reading_is_a_plain_form(new_context: NewContext, server: str, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    page = new_context(java_script_enabled=False).new_page()
    page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
    page.get_by_role("textbox").fill("6.25")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#entry-heading")).to_have_text("Bore 2")
    assert entered(shop, visit_id) == [(1, "turn", 6.25)]
