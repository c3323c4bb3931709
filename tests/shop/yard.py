"""A small engine for the store's tests, and short ways to record things of it."""

import sqlite3
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from app.shop.assessment.progress import items_of
from app.shop.assessment.snap import snap_items
from app.shop.commands import checks, engines, opening_speeds, readings, running, visits
from app.shop.commands.engines import EngineFacts
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.commands.readings import NewReading
from app.shop.commands.visits import NewVisit
from app.shop.procedure.items import Item, Phase
from app.shop.procedure.opening_speed import speed_due
from app.shop.procedure.parts import temperatures_of
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.read_order import next_reading
from app.shop.procedure.running import as_done, run_out
from app.shop.record import loader
from app.shop.record.visit_record import SPEEDS, VisitRecord
from app.shop.store.both.records import Wire
from app.shop.store.database import Database, FileDatabase, raw_connection
from app.shop.store.upgrade import open_shop
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import LITER, REV_PER_MIN
from tests.clock import AT as AT

START_LIST = {
    *(
        "kill-switch",
        "exhaust-drawn",
        "fuel-dry",
        "throttle-returns",
        "bores-clear",
        "fire-ready",
        "not-alone",
        "guarded",
    )
}
"""What a person checks for every start in the test cell, as the phase lists it."""

V8 = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)), sensor=8)
FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))
TWINS = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("shaft", "screw-in", "shaft")),), bypass=frozenset({1, 4}), plenum=True)
"""Two plates on each of two shafts, a screw in the coupler between them, bypass screws at the ends, a plenum."""
AIR_COOLED = Layout((Bank("A", (1, 2), 1, 1), Bank("B", (3, 4), 3, 3)), cooling="air")
ONE_MOTOR_A_BANK = Layout((Bank("A", (1, 2, 3), 1, 1), Bank("B", (4, 5, 6), 4, 4)), actuation="motor-per-bank")
ONE_MOTOR_A_BORE = Layout((Bank("A", (1, 2, 3, 4), 1, 1),), actuation="motor-per-bore")
FACTS = EngineFacts("31-0217", "Eight", 3.9 * LITER, "L", "C-104", "Blue coupe", 850 * REV_PER_MIN)


def key() -> str:
    return str(uuid.uuid4())


def before(minutes: float) -> str:
    """A time so many minutes before AT."""
    return (datetime.fromisoformat(AT) - timedelta(minutes=minutes)).isoformat(timespec="milliseconds")


def engine(shop: Database, layout: Layout = V8, serial: str = "31-0217") -> int:
    facts = replace(FACTS, serial=serial)
    return engines.register(shop, key(), facts, layout, likely_hardware(facts.displacement, len(layout.bores)), AT)


def visit(shop: Database, engine_id: int, place: str = "test cell", job: str = "1184", meter: int = 1) -> int:
    return visits.open_visit(shop, engine_id, key(), NewVisit(place, job, "First sync", "KM", meter), AT)


def visit_record(shop: Database, visit_id: int) -> VisitRecord:
    with shop.reading() as session:
        return loader.load(session, visit_id)


def check_all(shop: Database, visit_id: int, phase: Phase, at: str | None = None) -> None:
    """Record every item of a phase, numbers at the middle of what can be and the idle as wanted; heat over twenty
    minutes."""
    at = at or AT
    record = visit_record(shop, visit_id)
    values = {item.slug: _typical(item, record) for item in items_of(record, phase) if item.needed}
    for minutes in (20, 10) if phase.rounds == "fine" else ():
        warm: dict[str, float | None] = {item: values[item] for item in temperatures_of(record.layout)}
        checks.record(shop, visit_id, key(), phase.slug, warm, "KM", at, before(minutes))
    checks.record(shop, visit_id, key(), phase.slug, values, "KM", at)


@contextmanager
def just_now() -> Iterator[None]:
    """Meanwhile everything is recorded at the real time, for a program of its own that goes by that."""
    global AT
    before, AT = AT, datetime.now(UTC).isoformat(timespec="milliseconds")
    try:
        yield
    finally:
        AT = before


def start_again(shop: Database, visit_id: int, at: str | None = None) -> int:
    """Check what is checked for every start, and start the engine."""
    at = at or AT
    due = [item.slug for item in run_out(as_done(visit_record(shop, visit_id), at), FIRST_FIRE)]
    return running.start(shop, visit_id, key(), due, "KM", at)


def after(minutes: float) -> str:
    """A time so many minutes after AT."""
    return before(-minutes)


def _typical(item: Item, record: VisitRecord) -> float | None:
    if item.slug in SPEEDS:
        return record.engine.idle_speed / REV_PER_MIN
    return (item.low + item.high) / 2 if item.kind == "number" else None


def read(
    shop: Database, visit_id: int, phase: Phase, value: float = 6.5, bore: int | None = None, at: str | None = None
) -> int:
    """Keep one reading: the bore that is due, or ``bore``; off idle, the engine speed before the first one; a further
    one once the round is closed."""
    at = at or AT
    run(shop, visit_id, phase)
    now = next_reading(as_done(visit_record(shop, visit_id), at), phase)
    kind = "again" if now.current is not None and now.current.closed else now.kind
    new = NewReading(phase.slug, now.round_number, bore or now.bore or 0, kind, value, "KM")
    return readings.add(shop, visit_id, key(), new, at)


def run(shop: Database, visit_id: int, phase: Phase, speed: float | None = None) -> None:
    """Record the engine speed [rpm] that an opening is to be read at, one that goes with it where none is given."""
    record = visit_record(shop, visit_id)
    due = speed_due(record, phase, next_reading(record, phase))
    if due is not None and due.first:
        new = NewSpeed(phase.slug, due.round_number, speed or round(850 * (1 + 700 * due.opening)), "KM")
        opening_speeds.record(shop, visit_id, key(), new, AT)


def read_round(shop: Database, visit_id: int, phase: Phase, value: float = 6.5) -> None:
    """Keep every reading that a phase asks for, all alike: at idle ``value``, more where the lever is open."""
    read_asked(shop, visit_id, phase, lambda _: value)
    if phase.rounds == "fine":
        blip(shop, visit_id, value)
        idles(shop, visit_id, phase)


def read_asked(shop: Database, visit_id: int, phase: Phase, shows: Callable[[int], float]) -> None:
    """Keep every reading that a phase asks for: what the bore ``shows`` at idle, more where the lever is open."""
    while (now := next_reading(visit_record(shop, visit_id), phase)).bore is not None:
        read(shop, visit_id, phase, off_idle(shows(now.bore), now.opening))


def off_idle(value: float, opening: float) -> float:
    """What a bore reads with the lever open [m] that reads ``value`` at idle, in steps of a quarter."""
    return round(value * (1 + 800 * opening) * 4) / 4 if opening else value


def idles(shop: Database, visit_id: int, phase: Phase) -> None:
    """Record the idle speed as wanted, where one is asked for."""
    record = visit_record(shop, visit_id)
    for item in (item for item in items_of(record, phase) if item.slug in SPEEDS):
        checks.record(shop, visit_id, key(), phase.slug, {item.slug: _typical(item, record)}, "KM", AT)


def blip(shop: Database, visit_id: int, *values: float) -> None:
    """Read every suspect bore three times after a blip, each time ``values`` in turn."""
    for value in (values * 3)[:3]:
        items = {item.slug: value for item in snap_items(visit_record(shop, visit_id))}
        if items:
            checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, items, "KM", AT)


def heat_soaked(shop: Database, layout: Layout = V8) -> int:
    """A first visit that has come as far as the fine round.

    In a shop as it was made, it is put there as a copy of pages: recorded once for each layout, not once a test.
    """
    if not isinstance(shop, FileDatabase):
        return _brought_to_heat(shop, layout)
    pages, new = _heat_soaked_shop(layout, AT)
    with shop.reading() as session:  # and its connection stays open, so that the journal stays beside the file
        now = _rows(raw_connection(session))
    if now != new:
        return _brought_to_heat(shop, layout)
    with closing(sqlite3.connect(shop.file)) as connection:
        pages.backup(connection)
    return 1


def ready_to_sign(shop: Database) -> int:
    """A visit of four bores in line in which nothing is left but the sign-off."""
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN)
    return visit_id


@cache
def _heat_soaked_shop(layout: Layout, at: str) -> tuple[sqlite3.Connection, dict[str, int]]:
    """The pages of a shop with that visit at that time and nothing else, and how many rows a shop has before."""
    pages = sqlite3.connect(":memory:")
    with TemporaryDirectory() as folder:
        shop = open_shop(Path(folder))
        with closing(sqlite3.connect(shop.file)) as connection:
            new = _rows(connection)
        _brought_to_heat(shop, layout)
        shop.close()
        with closing(sqlite3.connect(shop.file)) as connection:
            connection.backup(pages)
    return pages, new


def _rows(connection: Wire) -> dict[str, int]:
    """How many rows each table has."""
    names = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall()
    return {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for (name,) in names}


def _brought_to_heat(shop: Database, layout: Layout) -> int:
    visit_id = visit(shop, engine(shop, layout))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_round(shop, visit_id, FIRST_FIRE)
    check_all(shop, visit_id, HEAT_SOAKED)
    return visit_id
