"""Engines as files: readings to write into one, and the text of one."""

from app.shop.commands import checks, meters, readings, running, visits
from app.shop.commands.meters import NewMeter
from app.shop.commands.readings import NewReading
from app.shop.commands.visits import NewVisit
from app.shop.exchange.exports import engine_file, written
from app.shop.exchange.handing.receiving import SHARED_METER
from app.shop.procedure.codes import SkipReason
from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.store.database import Database, raw_connection
from app.shop.store.row_hashes import seal
from tests.shop.yard import AT, FOUR, check_all, heat_soaked, key, read, read_round, start_again, visit_record

EVEN = [6.5] * 8
SLIPPED = [6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5]


def out(shop: Database, engine_id: int = 1) -> str:
    """The file of an engine."""
    with shop.reading() as session:
        return written(engine_file(session, engine_id, AT))


def first_meter_of_old(shop: Database) -> None:
    """The shop, a file, begins with the meter that every shop once began with."""
    with shop.writing() as session:
        wire = raw_connection(session)
        (trigger,) = wire.execute("SELECT sql FROM sqlite_schema WHERE name = 'meter_no_update'").fetchone()
        found = wire.execute("SELECT * FROM meter WHERE id = 1")
        row = dict(zip((column[0] for column in found.description), found.fetchone(), strict=True))
        row["key"] = SHARED_METER
        wire.execute("DROP TRIGGER meter_no_update")
        wire.execute("UPDATE meter SET key = ?, seal = ? WHERE id = 1", (SHARED_METER, seal(row)))
        wire.execute(trigger)


def one_first_meter(shop: Database, other: Database) -> None:
    """Both begin with a meter of the same key, as all shops once did. ``other`` is a file."""
    with shop.reading() as session:
        mine = raw_connection(session).execute("SELECT key, seal FROM meter WHERE id = 1").fetchone()
    with other.writing() as session:
        wire = raw_connection(session)
        found = wire.execute("SELECT sql FROM sqlite_schema WHERE name = 'meter_no_update'").fetchone()
        wire.execute("DROP TRIGGER meter_no_update")
        wire.execute("UPDATE meter SET key = ?, seal = ? WHERE id = 1", tuple(mine))
        wire.execute(found[0])


def with_codes(shop: Database) -> int:
    """An engine of two visits with a code in every column that may hold one, and a person's words beside it."""
    visit_id = heat_soaked(shop, FOUR)
    engine_id = visit_record(shop, visit_id).engine.ident
    number, slug = 2, HEAT_SOAKED.slug
    skipped = NewReading(slug, number, 1, "skip", None, "KM", why_code=SkipReason.OUT_OF_REACH)
    readings.add(shop, visit_id, key(), skipped, AT)
    readings.add(shop, visit_id, key(), NewReading(slug, number, 2, "skip", None, "KM", "No adapter fits"), AT)
    pair = tuple(read(shop, visit_id, HEAT_SOAKED, value, bore=3) for value in (7.5, 6.5))
    readings.settle(shop, visit_id, key(), slug, (pair[0], pair[1]), "newer", "KM", AT)
    for bore in (4, 3):
        read(shop, visit_id, HEAT_SOAKED, bore=bore)
    readings.begin_round(shop, visit_id, key(), slug, AT)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    checks.waive(shop, visit_id, key(), LOCK_DOWN.slug, "The customer waits", "KM", AT)
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
    meter_id = meters.register(shop, key(), NewMeter("Column", "mmHg", 2, 0, 760))
    visits.open_visit(shop, engine_id, key(), NewVisit("vehicle", "", "Rough", "KM", meter_id, ("exhaust",)), AT)
    return engine_id


def by_pressure(shop: Database) -> int:
    """An engine handed over, then read by a column that shows absolute pressure in cmHg."""
    first = heat_soaked(shop, FOUR)
    engine_id = visit_record(shop, first).engine.ident
    read_round(shop, first, HEAT_SOAKED)
    check_all(shop, first, LOCK_DOWN)
    checks.waive(shop, first, key(), LOCK_DOWN.slug, "The customer waits", "KM", AT)
    visits.sign_off(shop, first, key(), "Foreman of the yard", AT)
    column = meters.register(shop, key(), NewMeter("Absolute column", "cmHg", 0.5, 10, 80, "absolute"))
    second = visits.open_visit(shop, engine_id, key(), NewVisit("vehicle", "", "Rough", "KM", column), AT)
    check_all(shop, second, FIRST_FIRE)
    read_round(shop, second, FIRST_FIRE, 50.0)
    return engine_id


def stopped_and_started(shop: Database) -> int:
    """A visit in which the oil pressure fell, was put in order, and the engine was started again."""
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"oil-pressure-hot": 30}, "KM", AT)
    running.end_stop(shop, visit_id, key(), "leak", "At the filter", "Filter changed", "KM", AT)
    start_again(shop, visit_id)
    return visit_id
