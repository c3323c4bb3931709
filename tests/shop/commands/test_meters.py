"""Meters of the shop: registered, studied, compared, due; and their figure in every verdict, as it was known then."""

import math

import pytest

from app.shop.commands import checks, meters, moves, readings, visits
from app.shop.commands.meters import NewMeter
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.record import meter_studies
from app.shop.record.meter_studies import NOT_STUDIED
from app.shop.record.meter_visits import shown_by_visits
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.tables import SignOff
from app.sync.estimation.evenness import evenness
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import (
    AT,
    FOUR,
    V8,
    check_all,
    engine,
    heat_soaked,
    key,
    read_round,
    visit,
    visit_record,
)

TEN = (6.5, 6.25, 6.5, 6.75, 6.5, 6.25, 6.5, 6.5, 6.75, 6.5)


def study(shop: Database, values: tuple[float, ...] = TEN, meter_id: int = 1) -> int:
    study_id = meters.begin_study(shop, meter_id, key(), None, "31-0217, bore 3", "KM", AT)
    for value in values:
        meters.read(shop, study_id, key(), value, "KM", AT)
    return study_id


def column(shop: Database, name: str = "Tall column") -> int:
    return meters.register(shop, key(), NewMeter(name, "mmHg", 2, 0, 760))


def test_a_study_gives_the_figure_that_every_verdict_counts_with(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    assert visit_record(shop, visit_id).meter_as_read().repeatability == 0.02  # the estimate that the meter came with
    study(shop, TEN[:9])
    assert visit_record(shop, visit_id).meter_as_read().repeatability == 0.02  # not complete yet
    study(shop)
    told = visit_record(shop, visit_id)
    assert told.meter_as_read().repeatability == pytest.approx(
        math.sqrt(0.25 / 3.325 - 0.25**2 / 12) / 6.5, rel=1e-3
    )  # four of ten a step off, by hand; 3.325 is what chi-square of 9 differences exceeds in 95 cases of 100
    found = evenness(told.layout, told.rounds[-1].in_base_units, told.meter_as_read(), 0.08)
    with shop.reading() as session:
        known = meter_studies.known(session, 1)
        assert meter_studies.provenance_of(session, told.meter, 0) == meter_studies.Provenance(0) == NOT_STUDIED
    assert [one.agreement for one in known.studies] == [None, None]  # nothing was compared
    assert known.found is not None
    assert known.found.freedom == 9
    assert found.uncertainty > 0


def test_a_signed_visit_stays_judged_by_what_was_known_then(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN)
    study(shop, (*[6.5] * 9, 6.75))
    then = visit_record(shop, visit_id).meter_as_read()
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
    study(shop, (5.0, 6.0, 7.0, 8.0, 9.0, 5.0, 6.0, 7.0, 8.0, 9.0))
    assert visit_record(shop, visit_id).meter_as_read() == then
    later = visit(shop, visit_record(shop, visit_id).engine.ident)
    assert visit_record(shop, later).meter_as_read().repeatability > 3 * then.repeatability


def test_a_study_takes_ten_and_no_more(shop: Database) -> None:
    study_id = study(shop)
    with rejects(Rejection.STUDY_COMPLETE, kind=ConflictError):
        meters.read(shop, study_id, key(), 6.5, "KM", AT)
    with shop.reading() as session:
        first = meter_studies.study_of(session, study_id).readings[0]
    meters.read(shop, study_id, key(), 6.75, "KM", AT, supersedes=first.ident)
    with shop.reading() as session:
        told = meter_studies.study_of(session, study_id)
    assert told.of_meter(1)[0] == 6.75
    assert len(told.readings) == 10
    with rejects(Rejection.CHANGED_BY_ANOTHER_TABLET, kind=ConflictError):
        meters.read(shop, study_id, key(), 6.25, "AL", AT, supersedes=first.ident)


def test_a_second_person_at_a_second_bore_is_pooled_and_not_mixed(shop: Database) -> None:
    """Halves that lie far apart, each without scatter but for one step: the distance is no scatter of the meter."""
    second = ("31-0217, bore 6", "RD")
    study_id = meters.begin_study(shop, 1, key(), None, "31-0217, bore 3", "KM", AT, second)
    halves = (6.5, 6.25, 6.5, 6.5, 6.5), (9.0, 9.25, 9.0, 9.0, 9.0)
    who = []
    for value in (*halves[0], *halves[1]):
        with shop.reading() as session:
            next_ = meter_studies.study_of(session, study_id)
        who.append((next_.next_by, next_.next_where))
        meters.read(shop, study_id, key(), value, "", AT)
    assert who == [("KM", "31-0217, bore 3")] * 5 + [("RD", "31-0217, bore 6")] * 5
    with shop.reading() as session:
        known = meter_studies.known(session, 1)
        read_by = [row.by for row in meter_studies.study_of(session, study_id).readings]
    assert read_by == ["KM"] * 5 + ["RD"] * 5
    assert known.found is not None
    assert known.found.freedom == 8
    by_hand = math.sqrt((0.05 / 6.45**2 + 0.05 / 9.05**2) / 8)  # one of five a step off: a sum of squares of 0.05
    assert known.found.scatter == pytest.approx(by_hand)


def test_a_reading_sent_twice_is_there_once(shop: Database) -> None:
    study_id = meters.begin_study(shop, 1, key(), None, "", "KM", AT)
    sent = key()
    for _ in range(2):
        meters.read(shop, study_id, sent, 6.5, "KM", AT)
    with shop.reading() as session:
        assert len(meter_studies.study_of(session, study_id).entered) == 1


def test_two_meters_are_compared_bore_by_bore(shop: Database) -> None:
    other = meters.register(shop, key(), NewMeter("Second funnel", "kg/h", 0.25, 0, 40))
    study_id = meters.begin_study(shop, 1, key(), other, "", "KM", AT)
    for bore in range(5):
        for meter_id, factor in ((1, 1.0), (other, 1.08)):
            with shop.reading() as session:
                begun = meter_studies.study_of(session, study_id)
            assert (begun.next_meter.ident, begun.agreement) == (meter_id, None)
            meters.read(shop, study_id, key(), (6.0 + bore / 4 + bore % 2 / 100) * factor, "KM", AT)
    third = column(shop)
    with shop.reading() as session:
        found = meter_studies.study_of(session, study_id).agreement
        repeats = meter_studies.known(session, 1).found
        assert meter_studies.known(session, third).studies == ()
    assert found is not None
    assert found.ratio == pytest.approx(1.08)
    assert not found.agree
    assert repeats is None  # a comparison is no study of one meter


def test_a_study_takes_what_its_meter_can_show_and_nothing_repeats_at_zero(shop: Database) -> None:
    meter_id = meters.register(shop, key(), NewMeter("Bell", "kg/h", 0.25, 2, 40))
    study_id = meters.begin_study(shop, meter_id, key(), None, "", "KM", AT)
    for value in (2.0, 40.0):
        assert meters.read(shop, study_id, key(), value, "KM", AT)
    for value in (1.99, 40.01, math.inf, math.nan):
        with rejects(Rejection.OUT_OF_RANGE):
            meters.read(shop, study_id, key(), value, "KM", AT)
    from_nothing = meters.begin_study(shop, 1, key(), None, "", "KM", AT)
    with rejects(Rejection.OUT_OF_RANGE):
        meters.read(shop, from_nothing, key(), 0, "KM", AT)


def test_what_cannot_be_compared_is_said(shop: Database) -> None:
    for other, code in (
        (1, Rejection.NOT_LISTED),
        (99, Rejection.NOT_LISTED),
        (column(shop), Rejection.METER_UNITS_DIFFER),
    ):
        with pytest.raises(RejectedError) as refusal:
            meters.begin_study(shop, 1, key(), other, "", "KM", AT)
        assert codes_of(refusal) == {"other": code}


@pytest.mark.parametrize(
    ("new", "field", "code"),
    [
        (NewMeter(" ", "kg/h", 0.25, 0, 40), "name", Rejection.NAME_MISSING),
        (NewMeter("Bench meter", "kg/h", 0.25, 0, 40), "name", Rejection.NAME_TAKEN),
        (NewMeter("Odd", "furlongs", 0.25, 0, 40), "unit", Rejection.NOT_ONE_OF),
        (NewMeter("Odd", "kPa", 1, 0, 90, "sealed"), "reference", Rejection.NOT_ONE_OF),
        (NewMeter("Odd", "cfm", 0, 0, 40), "step", Rejection.METER_STEP),
        (NewMeter("Odd", "cfm", 30, 0, 40), "step", Rejection.METER_STEP),
        (NewMeter("Odd", "cfm", 0.25, 40, 40), "high", Rejection.METER_RANGE),
        (NewMeter("Odd", "cfm", 0.25, -1, 40), "high", Rejection.METER_RANGE),
        (NewMeter("Odd", "cfm", float("nan"), 0, 40), "step", Rejection.METER_STEP),
    ],
)
def test_a_meter_that_cannot_be_is_refused(shop: Database, new: NewMeter, field: str, code: Rejection) -> None:
    with pytest.raises(RejectedError) as refusal:
        meters.register(shop, key(), new)
    assert codes_of(refusal) == {field: code}


@pytest.mark.parametrize("unit", ["kg/h", "g/s", "cfm", "scfm", "L/min", "kPa", "mbar", "mmHg", "cmHg", "inHg"])
def test_a_visit_is_read_with_any_meter(shop: Database, unit: str) -> None:
    meter_id = meters.register(shop, key(), NewMeter("One more", unit, 0.5, 0, 300))
    new = visits.NewVisit("test cell", "", "", "KM", meter_id)
    visit_id = visits.open_visit(shop, engine(shop, FOUR), key(), new, AT)
    read_as = visit_record(shop, visit_id).meter_as_read()
    assert read_as.quantity == ("flow" if unit in ("kg/h", "g/s", "cfm", "scfm", "L/min") else "vacuum")
    assert read_as.step > 0


@pytest.mark.parametrize(("unit", "at_rest", "pascal"), [("kPa", "absolute", 1e3), ("inHg", "gauge", 3386.389)])
def test_what_a_column_counts_from_is_kept(shop: Database, unit: str, at_rest: str, pascal: float) -> None:
    meter_id = meters.register(shop, key(), NewMeter("One more", unit, 0.5, 0, 110, at_rest))
    new = visits.NewVisit("test cell", "", "", "KM", meter_id)
    visit_id = visits.open_visit(shop, engine(shop, FOUR), key(), new, AT)
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_round(shop, visit_id, FIRST_FIRE, 50.0)
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"air-pressure": 83.5}, "KM", AT)
    read_as = visit_record(shop, visit_id).meter_as_read()
    assert read_as.step == pytest.approx(0.5 * pascal)
    assert read_as.absolute is (at_rest == "absolute")
    assert read_as.ambient == pytest.approx(83.5e3)
    shown = 50.0 if at_rest == "absolute" else 33.5 * 1e3 / pascal
    vacuum = read_as.turned(shown * pascal)
    assert vacuum == pytest.approx(33.5e3)  # by hand: 83.5 less 50


def test_columns_that_count_from_elsewhere_are_not_compared(shop: Database) -> None:
    first, second = (
        meters.register(shop, key(), NewMeter(f"Column, {at_rest}", "mbar", 5, 0, 1100, at_rest))
        for at_rest in meters.REFERENCES
    )
    with pytest.raises(RejectedError) as refusal:
        meters.begin_study(shop, first, key(), second, "", "KM", AT)
    assert codes_of(refusal) == {"other": Rejection.METER_UNITS_DIFFER}


def test_a_flow_meter_counts_from_nothing_else(shop: Database) -> None:
    """So that what was chosen for a gauge before another unit was does no harm."""
    meter_id = meters.register(shop, key(), NewMeter("Bell", "g/s", 0.1, 0, 12, "absolute"))
    with shop.reading() as session:
        assert meter_studies.get(session, meter_id).reference is None


def test_the_newest_day_of_a_check_counts(shop: Database) -> None:
    meters.set_due(shop, 1, key(), "2026-05-01", "Against the reference", "KM", AT)
    meters.set_due(shop, 1, key(), "2027-05-01", "Sent away", "KM", AT)
    with shop.reading() as session:
        told = meter_studies.known(session, 1)
    assert told.due is not None
    assert told.due.due == "2027-05-01"
    assert told.overdue("2027-05-02")
    assert not told.overdue("2027-05-01")
    with rejects(Rejection.NOT_A_DAY):
        meters.set_due(shop, 1, key(), "soon", "", "KM", AT)


def worked(shop: Database, spread: float, *, strays: bool = False) -> None:
    """A visit read in four rounds with nothing moved between: an idle that rises, bores that differ, and signed off.

    Every bore is ``spread`` of its reading above, then below what it would be, in a pattern that neither a round nor a
    bore has in common. With ``strays`` a move is recorded after every round and taken back.
    """
    turn = NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM")
    visit_id = heat_soaked(shop, V8)
    sign = [1, -1, 1, -1, -1, 1, -1, 1]
    for number in range(4):
        values = [
            (6 + 0.1 * bore) * 1.01**number * (1 + sign[bore - 1] * (1 if number % 2 else -1) * spread)
            for bore in V8.bores
        ]
        if number:
            if strays:
                stray = moves.make(shop, visit_id, key(), turn, AT)
                moves.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, stray, "KM", AT)
            readings.begin_round(shop, visit_id, key(), HEAT_SOAKED.slug, AT)
        kinds = [(bore, "turn", value) for bore, value in zip(V8.bores, values, strict=True)]
        for bore, kind, value in (*kinds, (1, "closing", values[0])):
            new = NewReading(HEAT_SOAKED.slug, number + 2, bore, kind, value, "KM")
            readings.add(shop, visit_id, key(), new, AT)
    with shop.writing() as session:
        name = "Foreman of the yard"
        session.add(SignOff(key=key(), payload="sent", visit_id=visit_id, name=name, at=AT, after_study=0))


def test_visits_show_how_a_meter_repeats_where_no_study_was_made(shop: Database) -> None:
    worked(shop, 0.03)
    new = visit(shop, engine(shop, V8, "31-0301"))
    # By hand: 32 residuals of 3 % leave 3 x 7 degrees of freedom: a variance of 0.03^2 x 32 / 21. The limit is that by
    # 21 / 11.59, 11.59 being what chi-square of 21 exceeds in 95 cases of 100 (any table of it). Off both, the step's
    # own variance near 6.55: (0.25 / 6.55)^2 / 12.
    rounding = (0.25 / 6.55) ** 2 / 12
    assert visit_record(shop, new).repeats.seen == pytest.approx(math.sqrt(0.03**2 * 32 / 21 - rounding), rel=0.01)
    limit = math.sqrt(0.03**2 * 32 / 11.59 - rounding)
    assert visit_record(shop, new).repeats.judged == pytest.approx(limit, rel=0.01)
    with shop.reading() as session:
        assert meter_studies.known(session, 1).by_visits
    study(shop)
    assert visit_record(shop, new).repeats.judged < 0.045, "a study made since counts"


def test_a_move_taken_back_does_not_part_the_rounds_that_visits_are_judged_by(shop: Database) -> None:
    worked(shop, 0.03, strays=True)
    with shop.reading() as session:
        shown = shown_by_visits(session, 1, 0.25)
    assert shown is not None
    assert shown.own == pytest.approx(0.0354, abs=0.0005)  # by hand, as in the test of four rounds above


def test_a_study_that_visits_show_to_be_too_good_does_not_count(shop: Database) -> None:
    study(shop, (6.5,) * 10)
    worked(shop, 0.06)
    new = visit(shop, engine(shop, V8, "31-0301"))
    assert visit_record(shop, new).repeats.judged == pytest.approx(0.100, abs=0.002)  # twice that of the test above


def test_a_visit_stays_judged_by_what_visits_had_shown_when_it_was_opened(shop: Database) -> None:
    open_since = visit(shop, engine(shop, V8, "31-0301"))
    worked(shop, 0.03)
    assert visit_record(shop, open_since).repeats.judged == 0.02


def test_visits_that_tell_too_little_leave_the_estimate(shop: Database) -> None:
    visit_id = heat_soaked(shop, V8)
    for _ in range(2):
        read_round(shop, visit_id, HEAT_SOAKED)
    with shop.reading() as session:
        assert shown_by_visits(session, 1, 0.25) is None


def test_a_meter_is_the_same_form_as_before_it_was_asked_what_it_counts_from() -> None:
    """Keys are held to the text of what they came with, which had no more than this then."""
    said = "NewMeter(name='Odd', unit='kPa', step=1, low=0, high=90)"
    assert repr(NewMeter("Odd", "kPa", 1, 0, 90)) == repr(NewMeter("Odd", "kPa", 1, 0, 90, "gauge")) == said
