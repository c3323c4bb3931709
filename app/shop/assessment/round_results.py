"""How even the bores stand as of a round: ``estimation.evenness`` of what was recorded, and nothing beside it."""

from functools import lru_cache

from app.shop.assessment.lessons import sharing_told
from app.shop.procedure.items import Phase
from app.shop.procedure.left_out import left_out_of
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.running import cooled_after, round_ran_out
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.sync.estimation.evenness import RoundResult, evenness

_evenness = lru_cache(maxsize=128)(evenness)
"""The same round is judged several times for one page: by the phase that is open, by the card, by what is missing."""


def evenness_of(record: VisitRecord, one: Round, window: float) -> RoundResult:
    """How even the bores stand as of a round, judged by a window given as a fraction of the mean.

    Every reading of the same phase and opening counts that was taken since the last move before it, and hot those of
    the bores on which no move acts that was made since.
    """
    sharing, sharing_sd = sharing_told(record)
    return _evenness(
        record.layout,
        one.in_base_units,
        record.meter_as_read(),
        window,
        tuple(reading for round_ in same_state(record, one) for reading in round_.in_base_units),
        record.settings.pass_probability,
        sharing,
        left_out_of(record, one.row.phase, one).states,
        sharing_sd=sharing_sd,
    )


def same_state(record: VisitRecord, one: Round) -> list[Round]:
    """The rounds before one that were read with the same settings: of its phase and opening, with no move between.

    Another phase is another state: the engine was tightened, or stood and was started again. So is what was read before
    it cooled, and a round that ran out tells of neither.
    """
    moved = max((move.after_reading for move in record.moves if move.after_reading < one.ended), default=0)
    cooled = cooled_after(record) if cooled_after(record) < one.ended else 0
    return [
        earlier
        for earlier in record.rounds
        if earlier.row.number < one.row.number
        and (earlier.row.phase, earlier.lever) == (one.row.phase, one.lever)
        and earlier.readings
        and not earlier.in_question
        and not round_ran_out(record, earlier)
        and all(earlier.first_rows[reading.ident] > max(moved, cooled) for reading in earlier.readings)
    ]


def newest_evenness(record: VisitRecord, phase: Phase, until: Round | None = None) -> RoundResult | None:
    """How even the bores stand as of the newest round at idle of a phase, or of the round ``until``.

    None before it was read, or once something was moved since.
    """
    mine = [until] if until else [r for r in record.rounds if r.row.phase == phase.slug and r.row.opening == 0]
    one = mine[-1] if mine else None
    if one is None or not one.readings or round_ran_out(record, one):
        return None
    if until is None and record.moved_since(one, at_idle=True):
        return None
    return evenness_of(record, one, record.settings.window(phase.slug))


def as_last_read(record: VisitRecord) -> RoundResult | None:
    """How even the bores of a hot engine stand as of the round under way, by the fine tolerance.

    A bore not read since the last move counts with what it read last before it; ``standings`` are of the others. None
    before a round, and while nothing was read since the last move.
    """
    hot = [one for one in record.rounds if one.row.phase == HEAT_SOAKED.slug and one.readings]
    if not hot or record.moved_since(hot[-1]):
        return None
    *earlier, newest = hot
    state = [reading for one in same_state(record, newest) for reading in one.in_base_units]
    left_out = left_out_of(record, newest.row.phase, newest)
    seen = {reading.bore for reading in (*state, *newest.in_base_units)} | set(left_out.latest)
    last = {reading.bore: reading for one in earlier for reading in one.in_base_units if reading.bore not in seen}
    sharing, sharing_sd = sharing_told(record)
    return _evenness(
        record.layout,
        newest.in_base_units,
        record.meter_as_read(),
        record.settings.fine_window,
        (*last.values(), *state),
        record.settings.pass_probability,
        sharing,
        left_out.states,
        sharing_sd=sharing_sd,
    )
