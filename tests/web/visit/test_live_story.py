"""A whole visit of a V8 in which no reading is typed: one probe is carried round, a pedal takes, gauges fill in."""

import random
import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest
from playwright.sync_api import Page, expect

from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.record import loader
from app.shop.record.settings import DEFAULTS
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from tests.clock import Day
from tests.serving import serving
from tests.shop.yard import V8, engine, key
from tests.waiting import until
from tests.web.live.pushes import FEED, at_work, post
from tests.web.story import Technician, opened, signed_off

FASTER = 5
"""By how much the clock of the bench runs faster: it is the sender's own, and the rule of when a value has settled goes
by it."""

SETTLES = 2100
"""Milliseconds by which the clock of the page is put on for each bore: a probe just carried is given two seconds."""

READY = """(wanted) => {
  const card = document.querySelector("[data-live]");
  const shown = Number(card?.querySelector("[data-live-value]").textContent);
  return card?.dataset.state === "ready" && Math.abs(shown / wanted - 1) < 0.006;
}"""

GAUGES = {"tacho": 850.0, "water": 84.0, "oil": 86.0, "pressure": 310.0, "barometer": 101.3, "intake": 20.0}
FLOW = {"quantity": "flow", "unit": "kg/h", "high": 60.0, "lag": 0.0, "stale": 2.5}
GAUGE = {"high": 1500.0, "low": -40.0, "rate": 10.0, "stale": 2.5, "frozen": 600.0}
CHANNELS = {
    "probe": FLOW,
    "tacho": {**GAUGE, "quantity": "speed", "unit": "rpm", "high": 9000.0, "lag": 0.0},
    "water": {**GAUGE, "quantity": "temperature", "unit": "°C", "shows": "coolant"},
    "oil": {**GAUGE, "quantity": "temperature", "unit": "°C", "shows": "oil"},
    "pressure": {**GAUGE, "quantity": "pressure", "unit": "kPa", "shows": "oil-pressure"},
    "barometer": {**GAUGE, "quantity": "pressure", "unit": "kPa", "shows": "air-pressure"},
    "intake": {**GAUGE, "quantity": "temperature", "unit": "°C", "shows": "air-temperature"},
}


class Bench:
    """What one probe and the gauges show, pushed ten times a second while it is plugged in."""

    def __init__(self, server: str) -> None:
        self.server = server
        self.token = post(f"{server}/api/live/feeds", {"key": key(), "name": "Bench"})["token"]
        self.flow, self.gauges, self.rng = 6.5, dict(GAUGES), random.Random(5)
        self.plugged, self.over = threading.Event(), threading.Event()
        self.plugged.set()
        self.thread = threading.Thread(target=self.send)

    def send(self) -> None:
        """Push until it is over; each time that it is plugged in its clock begins anew."""
        while not self.over.is_set():
            if not self.plugged.wait(0.1):
                continue
            epoch, begun, told = key(), time.monotonic(), 0.0
            while self.plugged.is_set() and not self.over.wait(0.1):
                now = FASTER * (time.monotonic() - begun)
                with suppress(OSError):  # the server of the test is gone
                    post(f"{self.server}{FEED}", self.pushed(epoch, told, now), self.token)
                told = now

    def pushed(self, epoch: str, since: float, now: float) -> dict[str, object]:
        """What it shows from one time of its own clock to another."""
        fast, slow = ([since + (n + 1) * step for n in range(int((now - since) / step))] for step in (0.01, 0.1))
        rows = {name: [[at, value + self.rng.gauss(0, 0.01)] for at in slow] for name, value in self.gauges.items()}
        rows["probe"] = [[at, self.flow * (1 + self.rng.gauss(0, 0.004))] for at in fast]
        return {"epoch": epoch, "sent": now, "rows": rows, "channels": CHANNELS}


@contextmanager
def bench_at(server: str) -> Iterator[Bench]:
    """A bench at work meanwhile."""
    made = Bench(server)
    with at_work(made.thread, made.over):
        yield made


class Pedal(Technician):
    """Carries the probe and presses the pedal; types no reading and no engine speed."""

    stand: Bench
    pressed: int = 0

    def tap_reading(self, value: float) -> None:
        """Hold the probe to the bore that is asked for, and press once it has settled."""
        self.stand.flow = value
        self.take()

    def tap_speed(self, opening: float) -> None:
        """Let the lever onto its feeler, and press."""
        assert self.heading() == "Engine speed"
        self.stand.gauges["tacho"] = self.bench.speed(opening)
        self.take()

    def take(self) -> None:
        """Press once the value on the screen is the one at the engine, and settled."""
        before = self.page.locator("form[data-keypad] input[name=key]").get_attribute("value")
        wanted = self.stand.gauges["tacho"] if self.heading() == "Engine speed" else self.stand.flow
        self.page.clock.fast_forward(SETTLES)
        self.page.wait_for_function(READY, arg=wanted, timeout=15_000)
        self.page.keyboard.press("PageDown")
        self.pressed += 1
        self.after(before)

    def read_gauges(self, ago: str, coolant: str = "", oil: str = "") -> None:
        """Nothing to enter: the gauges fill in."""


def seen(shop: Database) -> VisitRecord:
    with shop.reading() as session:
        return loader.load(session, 1)


def warmed(shop: Database, day: Day, page: Page) -> None:
    """Twenty-five minutes at the engine, in which the gauges fill in a row each."""
    for _ in range(25):
        rows = len(seen(shop).series(HEAT_SOAKED.slug, "coolant"))
        day.wait(1.0)
        until(lambda rows=rows: len(seen(shop).series(HEAT_SOAKED.slug, "coolant")) > rows, 10)  # type: ignore[misc]
    page.reload()


@pytest.mark.slow
def test_a_whole_visit_without_a_typed_reading(page: Page, shop: Database) -> None:
    engine(shop, V8)
    day = Day()
    with serving(shop, clock=day) as server, bench_at(server) as stand:
        hand = Pedal(page)
        hand.stand = stand
        for bore, gap in hand.bench.gaps.items():  # nearly even as it came: the walk is the story, not the plates
            hand.bench.gaps[bore] = 4.5 + 0.25 * (gap - 4.5)
        page.clock.install()
        page.goto(f"{server}/engines/1")
        opened(page, hand)
        hand.press("They are at this engine")
        expect(page.get_by_role("button", name="They are no longer")).to_be_visible()
        hand.record_everything()
        expect(page.get_by_role("heading", name="First fire")).to_be_visible()
        hand.record_everything()
        hand.read_on()
        hand.press("Continue with heat-soaked recheck")
        warmed(shop, day, page)
        hand.record_everything()

        expect(page.locator("#entry-heading")).to_have_text("Bore 1")
        for _ in range(3):
            hand.tap_reading(hand.bench.read(int(re.findall(r"\d+", hand.heading())[0]), 0.0))
        stand.plugged.clear()
        expect(page.locator("[data-live-value]")).to_have_text("–")
        expect(page.locator("[data-live-says]")).to_contain_text("Nothing comes")
        page.keyboard.press("PageDown")
        expect(page.locator("#entry-heading")).to_have_text("Bore 4")
        stand.plugged.set()
        hand.follow()
        hand.press("Show what is missing")
        hand.blip()
        expect(page.get_by_role("heading", name="Part-throttle bank balance")).to_be_visible()
        hand.record_everything()
        for opening in DEFAULTS.openings:
            hand.tap_speed(opening)
            for _ in range(9):
                hand.tap_reading(hand.bench.read(int(hand.heading().split()[1]), opening))
        stand.gauges["tacho"] = GAUGES["tacho"]
        hand.press("Continue with lock-down")
        signed_off(page, hand, server)
        expect(page.get_by_role("heading", name="Handover sheet").first).to_be_visible()
    record = seen(shop)
    taken = [one for round_ in record.rounds for one in round_.entered]
    assert {one.row.phase for one in record.rounds} >= {FIRST_FIRE.slug, HEAT_SOAKED.slug, LOCK_DOWN.slug}
    assert record.sign_off is not None
    assert all(one.sd is not None and one.look_id is not None for one in taken)
    assert sum(one.speed is not None for one in taken) >= 0.8 * len(taken)  # one that the pulses deny is not kept
    speeds = [one for round_ in record.rounds for one in round_.speeds]
    assert len(taken) + len(speeds) == hand.pressed
    filled = {check.item for check in record.all_checks if check.by == "Bench"}
    assert filled >= {"coolant", "oil", "air-pressure", "air-temperature"}
