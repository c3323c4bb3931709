"""Whether tightening moved a plate: the readings of lock-down against those before it, with no adjustment between."""

from collections.abc import Mapping, Sequence
from functools import lru_cache

from app.shop.assessment.lessons import sharing_of
from app.shop.procedure.phases import LOCK_DOWN
from app.shop.procedure.running import round_ran_out
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.events import Meter, Reading
from app.sync.engine.layout import Layout
from app.sync.readings.carried import alike_read
from app.sync.slips.slip_detection import SlipAssessment, SlipVerdict, pool, slipped
from app.sync.slips.slip_hypotheses import moves

Values = tuple[tuple[int, tuple[float, ...]], ...]
"""Everything read at each bore [kg/s or Pa]."""

MOST_REREAD = 3
"""Readings of a bore at lock-down after which what is still in doubt is left (our judgement): each takes 20 seconds,
and more of them hardly move the odds."""


def moved_bores(record: VisitRecord) -> tuple[int, ...]:
    """The bores that tightening moved, of those read since; none while that is not likely."""
    found = _assessment(record)
    if found is None or found.verdict is not SlipVerdict.SLIPPED:
        return ()
    best = next((one for one in found.hypotheses if one.slips), None)
    moved = {bore for slip in best.slips for bore in moves(record.layout, slip.suspect)} if best is not None else set()
    return tuple(bore for bore in record.layout.bores if bore in moved and bore in found.changes)


def to_reread(record: VisitRecord) -> tuple[int, ...]:
    """The bores whose reading would show whether tightening moved them; none where nothing is in doubt."""
    found, read = _assessment(record), read_hot(record, of_lock_down=True)
    if found is None or found.verdict is not SlipVerdict.DOUBTFUL:
        return ()
    return tuple(bore for bore in found.reread if len(read.get(bore, ())) < MOST_REREAD)[:1]


def stands_as_before(record: VisitRecord) -> bool | None:
    """Whether nothing moved in tightening, as far as the readings tell; None where nothing was read before it."""
    return None if _assessment(record) is None else not moved_bores(record)


def _assessment(record: VisitRecord) -> SlipAssessment | None:
    before, after = read_hot(record, of_lock_down=False), read_hot(record, of_lock_down=True)
    if not (before and after):
        return None
    before, after, differ = alike_read(before, after)
    was, now = (
        tuple((bore, tuple(one.value for one in those)) for bore, those in read.items()) for read in (before, after)
    )
    apart = tuple(differ.items())
    return compared(record.layout, was, now, record.meter_as_read(), sharing=sharing_of(record), apart=apart)


@lru_cache(maxsize=64)
def compared(
    layout: Layout,
    before: Values,
    after: Values,
    meter: Meter,
    meter_before: Meter | None = None,
    sharing: float | None = None,
    apart: tuple[tuple[int, float], ...] = (),
) -> SlipAssessment:
    """What moved between two sets of readings of a hot engine.

    What all bores did together is left free: an idle wanders in the minutes between by more than the meter's error.
    ``meter_before`` is that of the first set where it was another one, or read in another day's air; ``sharing`` the
    part of a runner's pressure that all runners share, the usual one when None; ``apart``, by what the scales of what
    read a bore may differ between both, as a fraction.
    """
    differ = dict(apart)
    was = {bore: pool(values, meter_before or meter) for bore, values in before}
    now = {bore: pool(values, meter, differ.get(bore, 0.0)) for bore, values in after}
    return slipped(
        layout,
        was,
        now,
        meter,
        same_meter=True,
        expected_common=None,
        left_sound=True,
        left_meter=meter_before,
        sharing=sharing,
    )


def read_hot(record: VisitRecord, *, of_lock_down: bool | None = None) -> Mapping[int, Sequence[Reading]]:
    """Everything read hot at idle since the last move that changes it: all of it, or that before lock-down or in it."""
    found: Mapping[int, list[Reading]] = {bore: [] for bore in record.layout.bores}
    for one in record.rounds:
        hot_idle = one.row.opening == 0 and one.row.phase != "first-fire"
        if (
            hot_idle
            and of_lock_down in (None, one.row.phase == LOCK_DOWN.slug)
            and not record.moved_since(one, at_idle=True)
            and not round_ran_out(record, one)
        ):
            for reading in one.in_base_units:
                if reading.value > 0:
                    found[reading.bore].append(reading)
    return {bore: those for bore, those in found.items() if those}
