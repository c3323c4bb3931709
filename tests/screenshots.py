"""A picture of every page: ``python -m tests.screenshots FOLDER``.

Opens a demonstration shop in a folder of its own and takes each page as a whole, bright and dark, landscape and
portrait. Then an engine goes through the five phases in every place, and the pages are taken as they stand on the way.
"""

import argparse
import random
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from itertools import product
from pathlib import Path

from playwright.sync_api import Page, ViewportSize, expect, sync_playwright

from app.shop.commands import checks, engines, meters, opening_speeds, readings
from app.shop.commands.engines import EngineFacts
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.commands.readings import NewReading
from app.shop.demo import demo_shop
from app.shop.demo.engine_model import DemoEngineModel
from app.shop.demo.technician import DemoTechnician
from app.shop.procedure.items import PLACES, Phase, Place
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED, PHASES
from app.shop.procedure.read_order import next_reading
from app.shop.record import loader
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from app.shop.training import training
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import LITER, REV_PER_MIN
from tests.browser import launch
from tests.serving import serving
from tests.web.axe import paths

LOOKS = ("bright", "dark")
ORIENTATIONS: dict[str, ViewportSize] = {
    "landscape": {"width": 1280, "height": 800},
    "portrait": {"width": 800, "height": 1280},
}
LAYOUT = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)), sensor=8, springless=frozenset({3}))
SOME = 5
"""Bores read before the picture of a round under way."""


def pages() -> list[str]:
    """An address of every page; of the studies one done, a comparison, and one under way."""
    return [*paths(), "/studies/1", "/studies/3", "/studies/4"]


def name_of(path: str) -> str:
    """What the picture of an address is called."""
    return path.strip("/").replace("/", "-") or "board"


@contextmanager
def cameras(address: str) -> Iterator[dict[str, Page]]:
    """A page of its own for every look and orientation, named by both."""
    with sync_playwright() as playwright, launch(playwright) as browser, ExitStack() as open_ones:
        found: dict[str, Page] = {}
        for look, (orientation, size) in product(LOOKS, ORIENTATIONS.items()):
            context = open_ones.enter_context(browser.new_context(viewport=size, has_touch=True))
            context.add_cookies([{"name": "look", "value": look, "url": address}])
            found[f"{look}-{orientation}"] = context.new_page()
        yield found


def take(around: dict[str, Page], address: str, path: str, name: str, folder: Path) -> None:
    """The page at ``path`` as every camera sees it, once it is there and not busy. Raises RuntimeError on an error."""
    for seen, page in around.items():
        answer = page.goto(address + path, wait_until="load")
        if answer is None or answer.status not in (200, 404):  # 404: what is only there after the sign-off
            raise RuntimeError(f"{path} answered {answer and answer.status}")
        expect(page.locator("main")).to_be_visible()
        expect(page.locator("main[aria-busy=true]")).to_have_count(0)
        page.screenshot(path=folder / f"{name}-{seen}.png", full_page=True)


def practiced(shop: Database, hands: DemoTechnician) -> int:
    """The visit of the engine there is to practice on, with a round read on it."""
    with shop.reading() as session:
        engine_id = next(iter(training.ids(session)))
        visit_id = loader.of_engine(session, engine_id)[0].visit.ident
    while (now := next_reading(hands.record(visit_id), HEAT_SOAKED)).bore is not None:
        new = NewReading(HEAT_SOAKED.slug, now.round_number, now.bore, now.kind, None, hands.by)
        training.read(shop, visit_id, hands.key(), new, hands.at())
    return visit_id


def read(hands: DemoTechnician, visit_id: int, phase: Phase, bench: DemoEngineModel, most: int = 99) -> None:
    """Read the bores that are due, ``most`` of them."""
    for _ in range(most):
        now = next_reading(hands.record(visit_id), phase)
        if now.bore is None:
            break
        if now.opening and now.current is None:
            speed = NewSpeed(phase.slug, now.round_number, bench.speed(now.opening), hands.by)
            opening_speeds.record(hands.shop, visit_id, hands.key(), speed, hands.at())
        value = bench.read(now.bore, now.opening)
        new = NewReading(phase.slug, now.round_number, now.bore, now.kind, value, hands.by)
        readings.add(hands.shop, visit_id, hands.key(), new, hands.at())


def through_the_phases(shop: Database, place: Place) -> Iterator[tuple[str, str]]:
    """An engine goes through all phases in a place. Stops wherever there is a page to take: its address and name."""
    rng = random.Random(place)
    hands, bench = DemoTechnician(shop, rng, datetime.now(UTC)), DemoEngineModel(LAYOUT, rng)
    facts = EngineFacts(f"40-{place}", "Eight", 3.9 * LITER, "L", "C-200", "Gray tourer", 850 * REV_PER_MIN)
    hardware = likely_hardware(facts.displacement, len(LAYOUT.bores))
    engine_id = engines.register(shop, hands.key(), facts, LAYOUT, hardware, hands.at())
    visit_id = hands.open(engine_id, place, "1300", "First sync")
    for phase in PHASES:
        there, name = f"/visits/{visit_id}/{phase.slug}", f"{place.replace(' ', '-')}-{phase.slug}"
        if phase is HEAT_SOAKED:
            hands.warm(visit_id)
        yield there, f"{name}-steps"
        hands.check(visit_id, phase)
        if phase.rounds == "none":
            continue
        read(hands, visit_id, phase, bench, SOME)
        yield f"{there}/readings", f"{name}-readings"
        read(hands, visit_id, phase, bench)
        yield f"{there}/readings", f"{name}-round-read"
        if phase is HEAT_SOAKED:
            hands.even_out(visit_id, bench)
        elif phase is BANK_BALANCE:
            hands.read_round(visit_id, phase, bench)
            if hands.missing(visit_id, phase):
                checks.waive(shop, visit_id, hands.key(), phase.slug, "Within the link nut", hands.by, hands.at())


def main() -> None:
    """Take every picture."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    folder: Path = parser.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as records, ExitStack() as opened:
        shop = open_shop(Path(records) / "shop")
        opened.callback(shop.close)
        demo_shop.fill(shop)
        hands = DemoTechnician(shop, random.Random(0), datetime.now(UTC))
        meters.begin_study(shop, 1, hands.key(), None, "31-0217, bore 3", hands.by, hands.at())
        address = opened.enter_context(serving(shop))
        around = opened.enter_context(cameras(address))
        of_practice = f"/practice/{practiced(shop, hands)}"
        for path in pages():
            take(around, address, path.replace("/practice/1", of_practice), name_of(path), folder)
        for place in PLACES:
            for path, name in through_the_phases(shop, place):
                take(around, address, path, name, folder)
    print(f"The pictures are in {folder}")


if __name__ == "__main__":
    main()
