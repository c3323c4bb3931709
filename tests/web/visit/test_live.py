"""A reading that nobody types: one tap or a pedal takes the value on the screen, and an old value looks old."""

import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import select
from starlette.testclient import TestClient

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.shop.store.live import traces
from app.shop.store.live.tables import LookRow
from app.shop.store.tables import ReadingRow
from app.web.application import create_app
from app.web.live.hub import LookDiffersError
from tests.clock import Day
from tests.serving import serving
from tests.shop.yard import heat_soaked, key
from tests.waiting import until
from tests.web.axe import faults
from tests.web.live.pushes import FEED, Bench, at_work, post

READINGS = f"/visits/1/{HEAT_SOAKED.slug}/readings"
LEVELS = {1: 6.5, 2: 6.4, 3: 6.6, 4: 6.5, 5: 6.45, 6: 6.55, 7: 6.5, 8: 6.6}
PEDAL = ("Enter", "Space", "PageDown", "ArrowRight", "ArrowDown")


class Instrument:
    """Eight channels that push ten times a second until they are unplugged."""

    def __init__(self, server: str) -> None:
        self.server = server
        self.token = post(f"{server}/api/live/feeds", {"key": key(), "name": "Bench"})["token"]
        declared = {"quantity": "flow", "unit": "kg/h", "high": 60.0, "lag": 0.0}
        self.bench = Bench(
            {f"b{bore}": level for bore, level in LEVELS.items()},
            {f"b{bore}": {**declared, "bore": bore} for bore in LEVELS},
            clock=time.monotonic(),
        )
        self.unplugged = threading.Event()
        self.thread = threading.Thread(target=self.send)

    def send(self) -> None:
        while not self.unplugged.wait(0.1):
            self.push()

    def push(self) -> None:
        sent = self.bench.push(time.monotonic() - self.bench.clock)
        with suppress(OSError):  # the server of the test is gone
            post(f"{self.server}{FEED}", sent, self.token)


@contextmanager
def plugged(server: str) -> Iterator[Instrument]:
    """An instrument at work meanwhile."""
    made = Instrument(server)
    with at_work(made.thread, made.unplugged):
        yield made


@pytest.fixture
def instrument(shop: Database, server: str) -> Iterator[Instrument]:
    heat_soaked(shop)
    with plugged(server) as made:
        yield made


def opened(page: Page, server: str) -> None:
    """The reading page, its live value settled."""
    page.goto(server + READINGS)
    expect(page.locator("[data-live-says]")).to_contain_text("Settled")


def kept(shop: Database) -> list[tuple[int, float | None, float | None]]:
    with shop.reading() as session:
        asked = select(ReadingRow.bore, ReadingRow.value, ReadingRow.sd).order_by(ReadingRow.id)  # type: ignore[arg-type]
        return [(bore, value, sd) for bore, value, sd in session.exec(asked).all()][-20:]


def asked_for(page: Page, bore: int) -> None:
    expect(page.locator("#entry-heading")).to_contain_text(f"Bore {bore}")


def test_one_tap_and_a_pedal_take_the_value_on_the_screen(
    page: Page, server: str, shop: Database, instrument: Instrument
) -> None:
    before = len(kept(shop))
    opened(page, server)
    asked_for(page, 1)
    page.locator("[data-take]").click()
    asked_for(page, 2)
    expect(page.locator("[data-live-says]")).to_contain_text("Settled")
    page.keyboard.press("Enter")
    asked_for(page, 3)
    expect(page.locator("[data-total]")).to_contain_text("2")
    until(lambda: len(kept(shop)) == before + 2)  # the tablet goes on before it hears of it
    (one, first, one_sd), (two, second, two_sd) = kept(shop)[before:]
    assert (one, two) == (1, 2)
    assert first == pytest.approx(6.5, rel=0.02)
    assert second == pytest.approx(6.4, rel=0.02)
    assert one_sd is not None
    assert two_sd is not None
    with shop.reading() as session:
        looks = session.exec(select(LookRow)).all()
    assert [traces.kept(shop.folder, look.trace) is not None for look in looks] == [True, True]


def test_one_tap_takes_what_sensors_show_at_all_bores(
    page: Page, server: str, shop: Database, instrument: Instrument
) -> None:
    before = len(kept(shop))
    opened(page, server)
    button = page.locator("[data-take-all]")
    expect(button).to_have_text("Take all 8 bores")
    button.click()
    expect(page.locator("#entry-heading")).to_contain_text("extra reading")
    rows = kept(shop)[before:]
    assert [bore for bore, _, _ in rows] == [*LEVELS, 1]
    assert [value for _, value, _ in rows] == [pytest.approx(LEVELS[bore], rel=0.02) for bore in (*LEVELS, 1)]
    assert all(sd is not None for _, _, sd in rows)
    with shop.reading() as session:
        (look,) = session.exec(select(LookRow)).all()
    trace = traces.kept(shop.folder, look.trace)
    assert trace is not None
    assert set(trace) == {f"b{bore}" for bore in LEVELS}


def test_a_bore_that_shows_nothing_leaves_no_tap_for_all(
    page: Page, server: str, shop: Database, instrument: Instrument
) -> None:
    opened(page, server)
    expect(page.locator("[data-take-all]")).to_be_visible()
    del instrument.bench.levels["b5"]
    expect(page.locator("[data-take-all]")).to_be_hidden()
    expect(page.locator("[data-take]")).to_be_visible()


def test_a_look_at_all_bores_that_was_not_shown_is_refused_and_a_broken_one_too(shop: Database) -> None:
    """The value on the screen is the value kept: what differs from it is not."""
    visit_id = heat_soaked(shop)
    app = create_app(shop, clock=Day())
    app.state.live.seen = lambda look, shown: (_ for _ in ()).throw(LookDiffersError())
    before = len(kept(shop))
    origin = "http://127.0.0.1"
    with TestClient(app, base_url=origin, headers={"Origin": origin}, follow_redirects=False) as client:
        for values, said in (("1:b1:6.5:0.006", "did not show this value"), ("1:b1:6.5", "out of date"), ("", "date")):
            form = {"key": key(), "round": "2", "by": "KM", "look": "e:1", "values": values}
            answer = client.post(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/look", data=form)
            assert (answer.status_code, said in answer.text) == (422, True)
    assert len(kept(shop)) == before


def test_an_instrument_unplugged_in_the_middle_shows_dashes_and_the_keypad_goes_on(
    page: Page, server: str, shop: Database, instrument: Instrument
) -> None:
    opened(page, server)
    page.keyboard.press("PageDown")
    asked_for(page, 2)
    instrument.unplugged.set()
    expect(page.locator("[data-live-value]")).to_have_text("–")
    expect(page.locator("[data-live-says]")).to_contain_text("Nothing comes")
    expect(page.locator("[data-take]")).to_be_disabled()
    page.keyboard.press("PageDown")
    asked_for(page, 2)
    page.keyboard.type("6.25")
    page.keyboard.press("Enter")
    asked_for(page, 3)
    expect(page.locator("[data-total]")).to_contain_text("2")
    assert kept(shop)[-1] == (2, 6.25, None)


def test_without_the_server_every_value_is_a_dash_and_a_typed_one_is_held(page: Page, shop: Database) -> None:
    heat_soaked(shop)
    with serving(shop) as server, plugged(server):
        opened(page, server)
    expect(page.locator("[data-live-value]")).to_have_text("–", timeout=1500)
    expect(page.locator("[data-take]")).to_be_disabled()
    page.keyboard.type("6.5")
    page.keyboard.press("Enter")
    asked_for(page, 2)


def test_a_value_taken_with_the_link_just_lost_is_kept_once(
    page: Page, server: str, shop: Database, instrument: Instrument
) -> None:
    before = len(kept(shop))
    opened(page, server)
    page.route("**/readings", lambda route: route.abort() if route.request.method == "POST" else route.continue_())
    page.keyboard.press("Enter")
    asked_for(page, 2)
    page.unroute("**/readings")
    page.evaluate("() => window.dispatchEvent(new Event('online'))")
    expect(page.locator("[data-total]")).to_contain_text("1")
    page.wait_for_function("() => !document.querySelector('main').matches('[aria-busy=true]')")
    (bore, value, sd), *others = kept(shop)[before:]
    assert (bore, others) == (1, [])
    assert value == pytest.approx(6.5, rel=0.02)
    assert sd is not None


@pytest.mark.parametrize("pressed", PEDAL)
def test_the_keys_of_a_pedal(page: Page, server: str, instrument: Instrument, pressed: str) -> None:
    opened(page, server)
    page.keyboard.press("PageUp")
    page.keyboard.press("ArrowLeft")
    asked_for(page, 1)
    page.keyboard.press(pressed)
    asked_for(page, 2)


def test_a_key_held_down_or_bouncing_takes_one_value(
    page: Page, server: str, shop: Database, instrument: Instrument
) -> None:
    before = len(kept(shop))
    opened(page, server)
    page.evaluate("() => { const now = performance.now(); performance.now = () => now }")  # a busy machine takes longer
    for _ in range(6):
        page.keyboard.down("PageDown")  # the second and later ones repeat
    page.keyboard.up("PageDown")
    page.keyboard.press("PageDown")  # bounces
    asked_for(page, 2)
    expect(page.locator("[data-total]")).to_contain_text("1")
    assert len(kept(shop)) == before + 1


@pytest.mark.parametrize("where", ["summary", "a.button", "[data-take]"])
def test_a_pedal_is_not_heard_where_a_key_means_something_else(
    page: Page, server: str, shop: Database, instrument: Instrument, where: str
) -> None:
    before = len(kept(shop))
    opened(page, server)
    page.locator(where).first.focus()
    page.keyboard.press("PageDown")
    page.get_by_role("button", name="Skip", exact=True).click()
    page.keyboard.press("PageDown")
    asked_for(page, 1)
    assert len(kept(shop)) == before


def test_a_figure_beyond_its_limit_brings_the_stop_page_by_itself(page: Page, server: str, shop: Database) -> None:
    visit_id = heat_soaked(shop)
    gauges = {"tacho": 850.0, "water": 88.0}
    declared = {
        "tacho": {"quantity": "speed", "unit": "rpm", "high": 9000.0, "frozen": 600.0},
        "water": {"quantity": "temperature", "unit": "°C", "high": 200.0, "frozen": 600.0, "shows": "coolant"},
    }
    made = Instrument(server)
    made.bench = Bench(gauges, declared, clock=time.monotonic(), modulation=0.0)
    with at_work(made.thread, made.unplugged):
        page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}")
        page.get_by_role("button", name="They are at this engine").click()
        expect(page.locator("[data-live-visit]")).to_have_count(1)
        page.goto(server + READINGS)
        expect(page.locator("#entry-heading")).to_be_visible()
        made.bench.levels["water"] = 118.0
        expect(page).to_have_url(re.compile(rf"/visits/{visit_id}/stop$"))


def test_without_a_feed_the_page_has_nothing_of_it(page: Page, server: str, shop: Database) -> None:
    heat_soaked(shop)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(server + READINGS)
    expect(page.locator("#entry-heading")).to_be_visible()
    expect(page.locator("[data-live]")).to_have_count(0)
    assert [url for url in asked if "/live" in url] == []


def test_tabs_of_one_tablet_share_a_stream(page: Page, server: str, instrument: Instrument) -> None:
    asked: list[str] = []
    page.context.on("request", lambda request: asked.append(request.url))
    opened(page, server)
    other = page.context.new_page()
    opened(other, server)
    assert sum("/api/live/events" in url for url in asked) == 1


@pytest.mark.parametrize("size", [(1280, 800), (800, 1280), (390, 844)])
def test_it_fits_and_is_read_out(page: Page, server: str, instrument: Instrument, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    opened(page, server)
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    expect(page.locator("[data-take]")).to_be_in_viewport()
    assert faults(page) == []


def test_the_page_of_instruments_shows_them_and_is_read_out(page: Page, server: str, instrument: Instrument) -> None:
    page.goto(f"{server}/live")
    expect(page.locator("#live-now .live-strip")).to_have_count(8)
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    assert faults(page) == []


def test_another_key_is_chosen_by_pressing_it_and_stays_on_the_tablet(
    page: Page, server: str, instrument: Instrument
) -> None:
    page.goto(f"{server}/live")
    says, choose = page.locator("[data-pedal-says]"), page.get_by_role("button", name="Choose another key")
    expect(says).to_have_text("No other key is chosen on this tablet.")
    choose.click()
    for needed in ("7", ".", "Backspace"):
        page.keyboard.press(needed)
        expect(says).to_have_text(f"{needed} is needed for other things. Press another key.")
    page.keyboard.press("b")
    expect(says).to_have_text("On this tablet b takes a value too.")
    choose.click()
    page.keyboard.press("Escape")
    expect(says).to_have_text("On this tablet b takes a value too.")
    opened(page, server)
    page.keyboard.press("a")
    asked_for(page, 1)
    page.keyboard.press("B")
    asked_for(page, 2)
    page.goto(f"{server}/live")
    page.get_by_role("button", name="Forget it").click()
    expect(says).to_have_text("No other key is chosen on this tablet.")
    opened(page, server)
    page.keyboard.press("b")
    page.keyboard.press("Shift")
    asked_for(page, 2)


TOLD_BY = """
window.told = [];
navigator.vibrate = (ms) => window.told.push(`vibrates ${ms}`);
const wave = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (at) {
  window.told.push(`sounds ${this.frequency.value}`);
  return wave.call(this, at);
};
new MutationObserver((changes) => {
  if (changes.some((one) => one.target.matches?.(".is-kept"))) window.told.push("flashes");
}).observe(document, { subtree: true, attributes: true, attributeFilter: ["class"] });
"""
"""What a page is told by, written down as it happens."""


def test_a_high_tone_a_flash_and_a_shake_say_kept_and_two_low_tones_not(
    page: Page, server: str, instrument: Instrument
) -> None:
    page.add_init_script(TOLD_BY)
    opened(page, server)
    page.mouse.click(2, 2)  # before a first touch a page may not sound
    page.locator("[data-take]").click()
    asked_for(page, 2)
    page.wait_for_function("() => window.told.length >= 3")
    assert set(page.evaluate("window.told")) == {"sounds 1320", "vibrates 80", "flashes"}
    instrument.unplugged.set()
    expect(page.locator("[data-live-says]")).to_contain_text("Nothing comes")
    page.evaluate("window.told = []")
    page.keyboard.press("Enter")
    page.wait_for_function("() => window.told.length >= 2")
    assert page.evaluate("window.told") == ["sounds 220", "sounds 220"]
