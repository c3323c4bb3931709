"""What of the findings counts: until a move or a repair at their bore, not once taken back, in whatever unit."""

import pytest

from app.shop.assessment.verdicts import next_of
from app.shop.commands import meters, moves
from app.shop.commands.meters import NewMeter
from app.shop.commands.moves import NewMove
from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.cross_check.weighing import CrossCheck, _of_the_round, cross_check
from app.shop.errors import RejectedError
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.diagnosis.causes import EngineFault
from app.sync.diagnosis.measurements import CATALOGUE, FindingKind, Run
from app.sync.engine.units import INCH
from tests.shop.yard import (
    AT,
    FOUR,
    V8,
    check_all,
    engine,
    heat_soaked,
    key,
    read,
    read_asked,
    read_round,
    visit,
    visit_record,
)  # fmt: skip

HEATS = (420.0, 431.0, 300.0, 425.0, 418.0, 422.0, 428.0, 419.0)
VACUA = (38.0, 38.4, 30.2, 37.7, 38.1, 38.9, 37.5, 38.2)
INCH_OF_MERCURY = 3.386388640341
"""kPa in one, conventional mercury at 0 °C (NIST SP 811, appendix B)."""


@pytest.fixture
def visit_id(shop: Database) -> int:
    return heat_soaked(shop, V8)


def add(shop: Database, visit_id: int, kind: str, values: tuple[float, ...], unit: str) -> None:
    shown = tuple(ShownAt(bore, value=value) for bore, value in enumerate(values, 1))
    findings.add(shop, visit_id, key(), NewFindings(kind, shown, unit, "KM"), AT)


def told(shop: Database, visit_id: int) -> CrossCheck:
    with shop.reading() as session:
        return cross_check(session, loader.load(session, visit_id))


def odds(told: CrossCheck) -> list[tuple[str, int | None, float]]:
    return [(one.cause, one.bore, round(one.odds, 12)) for one in told.diagnosis.standing]


def test_fahrenheit_and_inches_of_mercury_give_the_same_odds(shop: Database) -> None:
    metric, other = (visit(shop, engine(shop, V8, serial)) for serial in ("31-0217", "31-0218"))
    add(shop, metric, "heat", HEATS, "°C")
    add(shop, metric, "vacuum", VACUA, "kPa")
    add(shop, other, "heat", tuple(value * 9 / 5 + 32 for value in HEATS), "°F")
    add(shop, other, "vacuum", tuple(value / INCH_OF_MERCURY for value in VACUA), "inHg")
    first, second = odds(told(shop, metric)), odds(told(shop, other))
    assert [one[:2] for one in first] == [one[:2] for one in second]
    assert [one[2] for one in first] == pytest.approx([one[2] for one in second], abs=1e-9)
    assert first[0][2] > 0.2


def test_a_move_ends_what_was_seen_at_the_plates_it_turns_and_nothing_else(shop: Database, visit_id: int) -> None:
    unread = visit(shop, engine(shop, V8, "31-0219"))
    for one in (unread, visit_id):
        add(shop, one, "compression", (1150.0,) * 8, "kPa")
    lasting = odds(told(shop, unread))
    read_round(shop, visit_id, HEAT_SOAKED)
    add(shop, visit_id, "heat", HEATS, "°C")
    assert odds(told(shop, visit_id)) != lasting
    for bank in ("A", "B"):
        turn = NewMove(HEAT_SOAKED.slug, "stop", bank, None, None, 0.125, (), False, "KM")
        moves.make(shop, visit_id, key(), turn, AT)
    assert odds(told(shop, visit_id)) == lasting


def test_an_entry_taken_back_changes_the_odds_as_if_it_were_not_there(shop: Database, visit_id: int) -> None:
    before = odds(told(shop, visit_id))
    findings.add(shop, visit_id, key(), NewFindings("spray", (ShownAt(3, word="moved"),), "", "KM"), AT)
    entry = told(shop, visit_id).made[-1].ident
    assert odds(told(shop, visit_id)) != before
    findings.take_back(shop, visit_id, key(), entry, "KM", AT)
    assert odds(told(shop, visit_id)) == before


@pytest.mark.parametrize(
    ("spread", "taken"), [(None, True), (0.01, True), (1e5, True), (0.0, False), (-1.0, False), (1.001e5, False)]
)
def test_a_spread_lies_above_nothing_and_is_no_larger_than_any_figure(
    shop: Database, visit_id: int, spread: float | None, taken: bool
) -> None:
    new = NewFindings("heat", (ShownAt(1, value=420.0, spread=spread),), "°C", "KM")
    if taken:
        findings.add(shop, visit_id, key(), new, AT)
        assert told(shop, visit_id).made
        return
    with pytest.raises(RejectedError) as refusal:
        findings.add(shop, visit_id, key(), new, AT)
    said = refusal.value.problems["at-1"]
    assert (said.code, said.values["low"]) == (Rejection.OUT_OF_RANGE, 0)


def test_by_telephone_no_test_needs_a_hand_off_idle(shop: Database) -> None:
    visit_id = visit(shop, engine(shop), place="telephone")
    for _ in range(22):
        following = told(shop, visit_id).diagnosis.next_test
        if following is None:
            break
        assert CATALOGUE[following.measure].run is not Run.OPENED
        findings.cannot(shop, visit_id, key(), following.measure, "KM", AT)
    assert following is None


def test_a_plate_that_is_off_leads_back_to_the_readings(shop: Database, visit_id: int) -> None:
    for _ in range(2):
        add(shop, visit_id, "air", (6.5, 6.5, 8.6, 6.5, 6.5, 6.4, 6.6, 6.5), "kg/h")
    add(shop, visit_id, "vacuum", (38.0, 38.0, 25.0, 38.0, 38.0, 38.0, 38.0, 38.0), "kPa")
    findings.add(shop, visit_id, key(), NewFindings("reset", (ShownAt(3, value=1.0),), "1", "KM"), AT)
    findings.add(shop, visit_id, key(), NewFindings("feel", (ShownAt(3, word="free"),), "", "KM"), AT)
    first = told(shop, visit_id).diagnosis.standing[0]
    assert (first.cause, first.bore) == (EngineFault.PLATE, 2)
    assert first.odds > 0.9


def read_high_at_four(shop: Database, visit_id: int) -> None:
    read_asked(shop, visit_id, HEAT_SOAKED, lambda bore: 9.0 if bore == 4 else 6.5)


def test_a_coupler_that_no_reading_follows_needs_no_test_of_its_own(shop: Database, visit_id: int) -> None:
    """Bore 4 reads 9 kg/h, where the others read 6.5, whatever feeler its coupler is reset on."""
    read_high_at_four(shop, visit_id)
    for feeler in (0.004, 0.003, 0.0045):
        reset = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (feeler * INCH,), True, "KM")
        moves.make(shop, visit_id, key(), reset, AT)
        read_high_at_four(shop, visit_id)
    advice = next_of(visit_record(shop, visit_id), HEAT_SOAKED)
    assert advice is not None
    assert (advice.why, advice.near, advice.far) == ("no-answer", 3, 4)
    first = told(shop, visit_id).diagnosis.standing[0]
    assert (first.cause, first.bore) == (EngineFault.COUPLER, 3)
    findings.add(shop, visit_id, key(), NewFindings("repaired", (ShownAt(4, word="coupler"),), "", "KM"), AT)
    assert not [one for one in told(shop, visit_id).findings if one.measure is FindingKind.RESET]


def test_the_air_of_the_round_is_a_finding_in_the_unit_of_its_test(shop: Database, visit_id: int) -> None:
    """6.5 kg/h at every bore, as it was read, and at the first one twice."""
    read_round(shop, visit_id, HEAT_SOAKED, 6.5)
    with shop.reading() as session:
        found = _of_the_round(loader.load(session, visit_id), V8.bores, ())
    assert [(one.measure, one.bore) for one in found] == [(FindingKind.AIR, at) for at in (*range(8), 0)]
    assert [one.value for one in found] == pytest.approx([6.5] * 9)


@pytest.mark.parametrize(("reference", "vacuum"), [("gauge", [40.0] * 4), ("absolute", [61.325] * 4)])
def test_what_columns_read_is_vacuum_before_the_round_is_closed(
    shop: Database, reference: str, vacuum: list[float]
) -> None:
    """40 kPa below the day's air as shown; 101.325 - 40 where the column counts from nothing."""
    columns = meters.register(shop, key(), NewMeter("Columns", "kPa", 0.25, 0, 110, reference=reference))
    visit_id = visit(shop, engine(shop, FOUR, "42-7"), meter=columns)
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    for bore in FOUR.bores:
        read(shop, visit_id, FIRST_FIRE, 40.0, bore)
    with shop.reading() as session:
        found = _of_the_round(loader.load(session, visit_id), FOUR.bores, ())
    assert [(one.measure, one.bore) for one in found] == [(FindingKind.VACUUM, at) for at in range(4)]
    assert [one.value for one in found] == pytest.approx(vacuum)
