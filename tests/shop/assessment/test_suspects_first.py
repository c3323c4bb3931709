"""The first move of a return, and a bore that does not answer: what comes before another adjustment."""

from operator import itemgetter

import pytest

from app.shop.assessment.assessment import assess
from app.shop.assessment.round_results import as_last_read
from app.shop.assessment.since_left import suspect_of
from app.shop.assessment.verdicts import next_of
from app.shop.commands import checks, meters, moves, readings, visits
from app.shop.commands.meters import NewMeter
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.commands.visits import NewVisit
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.queries import history_cache
from app.shop.queries.engine_history import changes
from app.shop.store.database import Database
from app.sync.engine.layout import StopScrew
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice
from app.wording.quantities import unit_named
from app.wording.work.advice import reason, title
from tests.shop.past import Past
from tests.shop.yard import AT, FOUR, check_all, engine, heat_soaked, key, read, read_round, visit_record


def step(shop: Database, visit_id: int) -> Advice:
    return assess(visit_record(shop, visit_id)).of(HEAT_SOAKED).step


def test_the_first_move_of_a_return_is_at_what_slipped(shop: Database) -> None:
    """Bore 8 alone fell; the bank's other bores stand where they were left, a little uneven."""
    left = [6.5, 6.5, 6.5, 6.5, 6.75, 7.0, 7.0, 7.0]
    past = Past(shop)
    past.visit(left, left, rounds=2)
    returned = past.visit([*left[:7], 5.5], signed=False, rounds=2)
    advice = next_of(visit_record(shop, returned), HEAT_SOAKED)
    assert advice is not None
    assert (advice.kind, advice.near, advice.far) == ("blade", 7, 8)


AIR = {"air-pressure": 101.3, "air-temperature": 20.0, "idle-speed": 850.0}


@pytest.mark.parametrize("bank", ["A", "B"])
def test_a_whole_bank_that_slipped_is_told_by_the_days_air(shop: Database, bank: str) -> None:
    """The air is 11 % thinner, and so is the flow of one bank: it is the other one that opened, to read as it did."""
    past = Past(shop)
    past.visit([6.5] * 8, [6.5] * 8, air=AIR, rounds=2)
    found = [6.5 if (bore < 4) == (bank == "A") else 5.75 for bore in range(8)]
    thin = {**AIR, "air-pressure": 90.0}
    returned = visit_record(shop, past.visit(found, signed=False, air=thin, rounds=2))
    assert suspect_of(returned) == StopScrew(bank)
    with shop.reading() as session:
        (told,) = changes(history_cache.of_engine(session, past.engine_id).visits).values()
    assert told.assessment is not None
    assert max(told.assessment.odds.items(), key=itemgetter(1))[0] == StopScrew(bank)


def test_a_bore_that_stays_low_after_two_feelers_is_checked_for_a_leak(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    for _ in range(2):
        for bore in (1, 2, 3, 4, 1):
            read(shop, visit_id, HEAT_SOAKED, 5.0 if bore == 4 else 6.5, bore)
        assert step(shop, visit_id).why != "leak-check"
        new = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (6 * THOU,), False, "KM")
        moves.make(shop, visit_id, key(), new, AT)
    for bore in (1, 2, 3, 4, 1):
        read(shop, visit_id, HEAT_SOAKED, 5.0 if bore == 4 else 6.5, bore)
    advice = step(shop, visit_id)
    assert (advice.kind, advice.why, advice.about) == ("cannot", "leak-check", (4,))
    record = visit_record(shop, visit_id)
    assert title(advice, FOUR, record.units) == "Check for an air leak before you adjust again"
    assert "No flammable spray: hot parts, moving fan." in reason(advice, FOUR, unit_named("kg/h", 0.25))
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"leak-checked": None}, "KM", AT)
    assert step(shop, visit_id).why != "leak-check"


def reset_last_coupler(shop: Database, visit_id: int) -> None:
    new = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (6 * THOU,), False, "KM")
    moves.make(shop, visit_id, key(), new, AT)


def by_columns(shop: Database, reference: str) -> int:
    """A visit read by vacuum columns that has come as far as the fine round, 33 kPa below ambient."""
    column = meters.register(shop, key(), NewMeter("Columns", "kPa", 0.5, 0, 110, reference))
    new = NewVisit("test cell", "1184", "First sync", "KM", column)
    visit_id = visits.open_visit(shop, engine(shop, FOUR), key(), new, AT)
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    air = visit_record(shop, visit_id).ambient.pressure / 1e3
    read_round(shop, visit_id, FIRST_FIRE, round(air) - 33.0 if reference == "absolute" else 33.0)
    check_all(shop, visit_id, HEAT_SOAKED)
    return visit_id


@pytest.mark.parametrize("reference", ["gauge", "absolute"])
@pytest.mark.parametrize(("vacuum", "leak"), [(24.0, True), (41.0, False)], ids=["shallow", "deep"])
def test_a_column_that_stays_shallow_is_checked_for_a_leak(
    shop: Database, reference: str, vacuum: float, leak: bool
) -> None:
    """Air that comes in behind a plate fills its runner: the column stands as behind a plate too far open."""
    visit_id = by_columns(shop, reference)
    air = round(visit_record(shop, visit_id).ambient.pressure / 1e3)
    read(shop, visit_id, HEAT_SOAKED, air - 33.0 if reference == "absolute" else 33.0)
    for _ in range(2):
        reset_last_coupler(shop, visit_id)
    for bore in (1, 2, 3, 4, 1):
        stands = vacuum if bore == 4 else 33.0
        read(shop, visit_id, HEAT_SOAKED, air - stands if reference == "absolute" else stands, bore)
    assert (step(shop, visit_id).why == "leak-check") is leak


def test_a_bore_inside_by_all_its_readings_is_not_checked_for_a_leak(shop: Database) -> None:
    """Its last reading alone is 9 % below the mean, but the two before it are not."""
    visit_id = heat_soaked(shop, FOUR)
    read(shop, visit_id, HEAT_SOAKED)
    for _ in range(2):
        reset_last_coupler(shop, visit_id)
    read_round(shop, visit_id, HEAT_SOAKED)
    read_again(shop, visit_id, 4, 6.5, 5.75)
    found = as_last_read(visit_record(shop, visit_id))
    assert found is not None
    assert found.standings[3].below < 0.3
    assert step(shop, visit_id).why != "leak-check"


def test_the_bore_read_again_alone_is_held_against_the_others_as_they_stood(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    for bore in (1, 2, 3, 4, 1):
        read(shop, visit_id, HEAT_SOAKED, 5.0 if bore == 4 else 6.5, bore)
    for _ in range(2):
        reset_last_coupler(shop, visit_id)
        assert as_last_read(visit_record(shop, visit_id)) is None
        read(shop, visit_id, HEAT_SOAKED, 5.0, 4)
    found = as_last_read(visit_record(shop, visit_id))
    assert found is not None
    assert [(one.bore, one.below > 0.9) for one in found.standings] == [(1, False), (2, False), (3, False), (4, True)]
    assert step(shop, visit_id).why == "leak-check"


def read_again(shop: Database, visit_id: int, bore: int, *values: float) -> None:
    for value in values:
        number = visit_record(shop, visit_id).rounds[-1].row.number
        readings.add(shop, visit_id, key(), NewReading(HEAT_SOAKED.slug, number, bore, "again", value, "KM"), AT)
