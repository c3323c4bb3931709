"""Which value is asked about before it is kept: one far from what the bore read last, from the other bores, or, where
neither is known yet, from what was read before an adjustment, at the last visit, or is usual."""

from statistics import median

from app.shop.procedure.items import Phase
from app.shop.procedure.phases import FIRST_FIRE
from app.shop.procedure.read_order import NextReading
from app.shop.record.rounds import UNITS, Round
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.engine_air import IDLE_RATIO, needed
from app.sync.readings.observation import times_the_air
from app.sync.readings.rounds import MISREAD_OTHERS
from app.sync.signals.plausible import FLOW_FACTOR

ASKED_TIMES = 1.6
"""From this many times the air that was to be expected, or that fraction of it, a typed value is asked about (our
judgement): bores of an engine as found may truly stand so far apart, so it asks and never forbids."""

ROUGHLY_TIMES = {"flow": FLOW_FACTOR * ASKED_TIMES, "vacuum": 2.2}
"""The same for what is known only roughly, by the kind of meter. A flow may be as far from the usual as an engine's
need, and its bore from the others: ten times too much or too little lies beyond both. A column that is read ten times
too low shows some 2.5 times the air (our judgement)."""

AT_IDLE = (0.0, False)
"""The lever of a round at idle."""

ROUNDING = 1e-9
"""By which a value on the limit may miss it (our judgement)."""


def doubtful(record: VisitRecord, one: Round, bore: int, value: float, corrects: int | None = None) -> bool:
    """Whether a value typed for a bore in round ``one`` is more likely a slip.

    What the bore read last with nothing moved since counts alone where there is such a reading: it was kept, if need
    be after a question. Otherwise the middle of the other bores of the round counts, and before there are enough of
    them what is known roughly. ``corrects`` is the reading that the value takes the place of.
    """
    expected, most = last_values(record, one, corrects).get(bore), ASKED_TIMES
    if expected is None:
        others = [r.value for b, r in one.latest.items() if r.value is not None and b != bore]
        expected = median(others) if len(others) >= MISREAD_OTHERS else None
    if expected is None:
        expected = known_roughly(record, one.lever, one.row.number).get(bore)
        most = ROUGHLY_TIMES[record.meter.quantity]
    if expected is None:
        return False
    meter, size = record.meter_as_read(), UNITS[record.meter.unit]
    times = times_the_air(value * size, expected * size, meter)
    return max(times, 1 / times) >= most - ROUNDING


def known_roughly(record: VisitRecord, lever: tuple[float, bool], number: int) -> dict[int, float]:
    """What each bore may read in round ``number`` with the ``lever`` so, in the meter's unit, whatever was moved since.

    What it read in the newest round before; at idle else what the last visit left, and else what is usual for an engine
    of that size at that speed. Empty where nothing tells.
    """
    found = _at_idle(record) if lever == AT_IDLE else {}
    for one in record.rounds:
        if one.lever == lever and one.row.number != number:
            found |= {bore: reading.value for bore, reading in one.latest.items() if reading.value is not None}
    return found


def _at_idle(record: VisitRecord) -> dict[int, float]:
    """The same of the first round at idle."""
    meter, bores, size = record.meter_as_read(), record.layout.bores, UNITS[record.meter.unit]
    if meter.quantity == "flow":
        usual = needed(record.engine.displacement, record.engine.idle_speed) / len(bores)
    else:
        usual = meter.turned((1 - IDLE_RATIO) * meter.ambient)
    found = dict.fromkeys(bores, usual / size)
    before = record.before
    left = before.as_left() if before is not None else None
    if before is None or left is None or not _alike(before, record):
        return found
    per = UNITS[before.meter.unit] / size
    return found | {bore: reading.value * per for bore, reading in left.latest.items() if reading.value is not None}


def _alike(one: VisitRecord, other: VisitRecord) -> bool:
    """Whether the same is fitted, and meters of the same kind read it."""
    kinds = [(each.fitting.ident, each.meter.quantity, each.meter.absolute) for each in (one, other)]
    return kinds[0] == kinds[1]


def known_roughly_of(record: VisitRecord, due: NextReading) -> dict[int, float]:
    """What each bore may read in the round under way, or the one that begins; empty once the other bores tell."""
    if due.current is not None and len(due.current.latest) > MISREAD_OTHERS:
        return {}
    number = due.current.row.number if due.current is not None else due.round_number
    return known_roughly(record, (due.opening, due.from_above), number)


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
