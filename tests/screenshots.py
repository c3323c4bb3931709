"""A picture of every page: ``python -m tests.screenshots FOLDER``, and a page ``index.html`` that shows them all.

Opens a demonstration shop in a folder of its own and takes each page as a whole, bright and dark, on every screen that
it is held on. Then an engine goes through the five phases in every place, and the pages are taken as they stand on the
way. ``--readme`` takes the small ones of README.md alone, where they are kept.
"""

import argparse
import random
import re
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from html import escape
from itertools import product
from pathlib import Path

from playwright.sync_api import Page, expect, sync_playwright

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
from tests.web.more_pages import more_pages
from tests.web.screens import SIZES

LOOKS = ("bright", "dark")
PICTURES = Path(__file__).parent / "pictures"
SMALL = {"board": "board", "reading": "test-cell-heat-soaked-recheck-round-read", "sheet": "visits-4-sheet"}
"""The small pictures that README.md shows, each with the name of the page it is of."""

LAYOUT = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)), sensor=8, springless=frozenset({3}))
SOME = 5
"""Bores read before the picture of a round under way."""


class BenchClock:
    """A clock that shows the time of whoever is at work, so that no engine counts as stopped meanwhile."""

    hands: DemoTechnician | None = None

    def __call__(self) -> datetime:
        return self.hands.now if self.hands is not None else datetime.now(UTC)


def pages() -> list[str]:
    """An address of every page; of the studies one done, a comparison, and one under way; a sheet of twelve bores."""
    return [*paths(), "/studies/1", "/studies/3", "/studies/4", "/visits/4/sheet"]


def name_of(path: str) -> str:
    """What the picture of an address is called."""
    return re.sub(r"\W+", "-", path.replace("=", " ")).strip("-") or "board"


@contextmanager
def cameras(address: str) -> Iterator[dict[str, Page]]:
    """A page of its own for every look and screen, named by both."""
    with sync_playwright() as playwright, launch(playwright) as browser, ExitStack() as open_ones:
        found: dict[str, Page] = {}
        for look, (screen, size) in product(LOOKS, SIZES.items()):
            context = open_ones.enter_context(browser.new_context(viewport=size, has_touch=True))
            context.add_cookies([{"name": "look", "value": look, "url": address}])
            found[f"{look}-{screen}"] = context.new_page()
        yield found


@contextmanager
def small_camera() -> Iterator[Page]:
    """A tablet held sideways, drawn at half its size."""
    with sync_playwright() as playwright, launch(playwright) as browser:
        yield browser.new_context(viewport=SIZES["landscape"], device_scale_factor=0.5).new_page()


def show(page: Page, address: str) -> None:
    """Open the page at ``address``, and wait until it is there and not busy. Raises RuntimeError on an error."""
    answer = page.goto(address, wait_until="load")
    if answer is None or answer.status not in (200, 404):  # 404: what is only there after the sign-off
        raise RuntimeError(f"{address} answered {answer and answer.status}")
    expect(page.locator("main")).to_be_visible()
    expect(page.locator("main[aria-busy=true]")).to_have_count(0)
    expect(page.locator("[data-arming]")).to_have_count(0)
    page.wait_for_function("document.fonts.status === 'loaded'")


def take(around: dict[str, Page], address: str, name: str, folder: Path) -> None:
    """The page at ``address`` as every camera sees it."""
    for seen, page in around.items():
        show(page, address)
        page.screenshot(path=folder / f"{name}-{seen}.png", full_page=True)


def gallery(names: Iterable[str], seen: Iterable[str]) -> str:
    """A page that shows every picture: a row for each name, with what each camera saw."""
    kinds = list(seen)
    rows = (
        f"<h2>{escape(name)}</h2><p>"
        + " ".join(
            f'<a href="{escape(name)}-{kind}.png"><img src="{escape(name)}-{kind}.png" alt="{kind}" title="{kind}"'
            ' loading="lazy" height="320"></a>'
            for kind in kinds
        )
        + "</p>"
        for name in names
    )
    return "<!doctype html><meta charset=utf-8><title>Every page</title>" + "\n".join(rows)


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


def through_the_phases(shop: Database, place: Place, clock: BenchClock | None = None) -> Iterator[tuple[str, str]]:
    """An engine goes through all phases in a place. Stops wherever there is a page to take: its address and name."""
    rng = random.Random(place)
    hands, bench = DemoTechnician(shop, rng, datetime.now(UTC)), DemoEngineModel(LAYOUT, rng)
    (clock or BenchClock()).hands = hands
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


def every_page(shop: Database, clock: BenchClock) -> Iterator[tuple[str, str]]:
    """Every page there is a picture of: its address, with the shop as it is to be by then, and its name."""
    hands = DemoTechnician(shop, random.Random(0), datetime.now(UTC))
    clock.hands = hands
    meters.begin_study(shop, 1, hands.key(), None, "31-0217, bore 3", hands.by, hands.at())
    of_practice = f"/practice/{practiced(shop, hands)}"
    for path in pages():
        yield path.replace("/practice/1", of_practice), name_of(path)
    for path in more_pages(shop):
        yield path, name_of(path)
    for place in PLACES:
        yield from through_the_phases(shop, place, clock)


def main() -> None:
    """Take every picture, or those of README.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--readme", action="store_true")
    chosen = parser.parse_args()
    folder: Path | None = PICTURES if chosen.readme else chosen.folder
    if folder is None:
        parser.error("FOLDER or --readme")
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as records, ExitStack() as opened:
        shop = open_shop(Path(records) / "shop")
        opened.callback(shop.close)
        demo_shop.fill(shop)
        clock = BenchClock()
        address = opened.enter_context(serving(shop, clock))
        if chosen.readme:
            page = opened.enter_context(small_camera())
            small = {name: file for file, name in SMALL.items()}
            for path, name in every_page(shop, clock):
                if file := small.pop(name, None):
                    show(page, address + path)
                    seen = page.locator("article").first if file == "sheet" else page
                    seen.screenshot(path=folder / f"{file}.png")
                if not small:
                    break
        else:
            around, names = opened.enter_context(cameras(address)), []
            for path, name in every_page(shop, clock):
                take(around, address + path, name, folder)
                names.append(name)
            (folder / "index.html").write_text(gallery(names, around), encoding="utf-8")
    print(f"The pictures are in {folder}")


if __name__ == "__main__":
    main()
