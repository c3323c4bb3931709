"""Which value is asked about before it is kept: one far from what the bore read last, or from the other bores."""

from statistics import median

from app.shop.procedure.items import Phase
from app.shop.procedure.phases import FIRST_FIRE
from app.shop.procedure.read_order import NextReading
from app.shop.record.rounds import UNITS, Round
from app.shop.record.visit_record import VisitRecord
from app.sync.readings.observation import times_the_air
from app.sync.readings.rounds import MISREAD_OTHERS

ASKED_TIMES = 1.6
"""From this many times the air that was to be expected, or that fraction of it, a typed value is asked about (our
judgement): bores of an engine as found may truly stand so far apart, so it asks and never forbids."""

ROUNDING = 1e-9
"""By which a value on the limit may miss it (our judgement)."""


def doubtful(record: VisitRecord, one: Round, bore: int, value: float, corrects: int | None = None) -> bool:
    """Whether a value typed for a bore in round ``one`` is more likely a slip.

    What the bore read last with nothing moved since counts alone where there is such a reading: it was kept, if need
    be after a question. Otherwise the middle of the other bores of the round counts. ``corrects`` is the reading that
    the value takes the place of.
    """
    expected = last_values(record, one, corrects).get(bore)
    if expected is None:
        others = [r.value for b, r in one.latest.items() if r.value is not None and b != bore]
        if len(others) < MISREAD_OTHERS:
            return False
        expected = median(others)
    meter, size = record.meter_as_read(), UNITS[record.meter.unit]
    times = times_the_air(value * size, expected * size, meter)
    return max(times, 1 / times) >= ASKED_TIMES - ROUNDING


def last_values_of(record: VisitRecord, phase: Phase, due: NextReading) -> dict[int, float]:
    """What each bore read last with nothing moved since, in the round under way or the newest one before it."""
    same = [r for r in record.rounds if r.lever == (due.opening, due.from_above)]
    mine = [r for r in same if r.row.phase == phase.slug]
    return last_values(record, due.current or next(reversed(mine or same), None))


def last_values(record: VisitRecord, one: Round | None, besides: int | None = None) -> dict[int, float]:
    """What each bore read last as the engine stood in ``one``: as hot, at its opening, with nothing moved between.

    The reading ``besides`` is left out; without a round there are none.
    """
    if one is None:
        return {}
    here = _read_how(one)
    moves = record.moves_before(one)
    rounds = [r for r in record.rounds if r.row.number != one.row.number and record.moves_before(r) == moves]
    alike = [r for r in (*rounds, one) if _read_how(r) == here]
    return {
        reading.bore: reading.value
        for found in alike
        for reading in found.gone_by
        if reading.value is not None and reading.ident != besides
    }


def _read_how(one: Round) -> tuple[bool, tuple[float, bool]]:
    """Warmed up or not, and where the lever was."""
    return one.row.phase != FIRST_FIRE.slug, one.lever
