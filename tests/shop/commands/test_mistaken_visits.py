"""A visit that should never have been opened: how it is ended, when that is refused, and what passes it over."""

from collections.abc import Callable

import pytest

from app.shop.assessment.assessment import assess
from app.shop.assessment.progress import progress
from app.shop.commands import checks, hours, visits
from app.shop.commands.hours import NewTime
from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.exchange.imports import bring_in, read
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.procedure.requirements import Waiting
from app.shop.queries import activity
from app.shop.queries.activity import Activity
from app.shop.record.visit_record import MISTAKEN
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from tests.shop.exchange.files import out
from tests.shop.rejections import rejects
from tests.shop.yard import AT, FOUR, engine, key, ready_to_sign, visit, visit_record


def mistaken(shop: Database, visit_id: int) -> int:
    """Ends a visit as opened by mistake."""
    return visits.end_mistaken(shop, visit_id, key(), "Wrong engine", "KM", AT)


def test_it_is_kept_with_its_reason_and_the_next_one_opens(shop: Database) -> None:
    engine_id = engine(shop, FOUR)
    mistaken(shop, visit(shop, engine_id))
    after = visit_record(shop, 1)
    assert after.mistaken is not None
    assert (after.mistaken.why, after.mistaken.by) == ("Wrong engine", "KM")
    assert not any(one.done for one in progress(after) if one.not_needed_because is None)
    with rejects(Waiting.MISTAKEN):
        mistaken(shop, 1)
    with rejects(Waiting.MISTAKEN):
        checks.record(shop, 1, key(), COLD_PRESET.slug, {"battery-off": None}, "KM", AT)
    assert visit_record(shop, visit(shop, engine_id)).visit.number == 2
    with shop.reading() as session:
        said = [line.what.code for line in activity.lines(session, 10, visit=1)]
    assert sorted(said) == [Activity.MISTAKEN, Activity.VISIT]


def test_sent_twice_it_is_stored_once(shop: Database) -> None:
    visit_id, sent = visit(shop, engine(shop, FOUR)), key()
    first = visits.end_mistaken(shop, visit_id, sent, "Wrong engine", "KM", AT)
    assert visits.end_mistaken(shop, visit_id, sent, "Wrong engine", "KM", AT) == first
    with rejects(Rejection.KEY_REUSED):
        visits.end_mistaken(shop, visit_id, sent, "Wrong meter", "KM", AT)


def tick(shop: Database, visit_id: int) -> None:
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"battery-off": None}, "KM", AT)


def time(shop: Database, visit_id: int) -> None:
    hours.correct(shop, visit_id, key(), NewTime(COLD_PRESET.slug, 20, "Clock was off", "KM"), AT)


def found(shop: Database, visit_id: int) -> None:
    findings.add(shop, visit_id, key(), NewFindings("heat", (ShownAt(bore=1, value=20.0),), "°C", "KM"), AT)


@pytest.mark.parametrize("recorded", [tick, time, found])
def test_once_something_is_recorded_it_is_refused(shop: Database, recorded: Callable[[Database, int], None]) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    recorded(shop, visit_id)
    with rejects(Rejection.VISIT_BEGUN):
        mistaken(shop, visit_id)
    assert visit_record(shop, visit_id).sign_off is None


def test_a_tick_taken_back_is_nothing_recorded(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    tick(shop, visit_id)
    checks.take_back(shop, visit_id, key(), COLD_PRESET.slug, "battery-off", "KM", AT)
    mistaken(shop, visit_id)
    assert visit_record(shop, visit_id).mistaken is not None


def test_it_wants_a_reason_and_initials(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    with rejects(Rejection.REASON_MISSING):
        visits.end_mistaken(shop, visit_id, key(), " ", "KM", AT)
    with rejects(Rejection.INITIALS_MISSING):
        visits.end_mistaken(shop, visit_id, key(), "Wrong engine", " ", AT)


def test_an_engine_that_never_ran_is_still_preset(shop: Database) -> None:
    """A sign-off would say that it ran with what is fitted."""
    engine_id = engine(shop, FOUR)
    mistaken(shop, visit(shop, engine_id))
    after = visit_record(shop, visit(shop, engine_id))
    assert (after.fitted_before, after.before) == (None, None)
    assert assess(after).current is COLD_PRESET
    with shop.reading() as session:
        assert visits.asks_whether_it_runs(session, engine_id)


def test_what_compares_with_the_last_visit_passes_it_over(shop: Database) -> None:
    first = ready_to_sign(shop)
    visits.sign_off(shop, first, key(), "Foreman of the yard", AT)
    signed = visit_record(shop, first)
    mistaken(shop, visit(shop, signed.engine.ident, "vehicle"))
    after = visit_record(shop, visit(shop, signed.engine.ident))
    assert after.before is not None
    assert after.before.visit.ident == first
    assert (after.fitted_before, after.place_before) == (signed.fitting.ident, signed.visit.place)
    assert assess(after).current is FIRST_FIRE


def test_an_engine_file_carries_it(shop: Database, other: Database) -> None:
    engine_id = engine(shop, FOUR)
    mistaken(shop, visit(shop, engine_id))
    visit(shop, engine_id)
    bring_in(other, read(out(shop, engine_id)), {})
    there = visit_record(other, 1)
    assert there.mistaken is not None
    assert (there.mistaken.why, there.mistaken.gate) == ("Wrong engine", MISTAKEN)
    assert visit_record(other, 2).fitted_before is None
