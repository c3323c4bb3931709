"""Faults of the engine that the readings of a visit prove, whatever is left to even."""

from collections.abc import Sequence

from app.sync.engine.adjusters.registry import adjuster_of, kind_at
from app.sync.engine.events import SEEN, Event, Reading
from app.sync.estimation.visit_hypotheses import Judged
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.planning.recent_events import since_last_move

AS_GOOD_AS_CERTAIN = 0.95
"""Chance that a fault is there from which it is named and looked for (our judgement)."""

TRIED = 2
"""Moves of an adjuster before it is said not to answer: one may have been forgotten (our judgement)."""

WORTH_A_LOOK = 0.1
"""Chance of lost motion from which a bore is read again. Lower than a chance worth telling: a look is a reading of 0.3
min, and few sound bores ever come so far (our judgement)."""

LEAST_LOOKS, MOST_LOOKS = 4, 8
"""Readings of a bore since the last move before lost motion is named there, and after which no more are asked for
(our judgement)."""


def fault_to_name(found: Judged, events: Sequence[Event]) -> Advice | None:
    """What is wrong with the engine where that is as good as certain, or the bore to read again where it may be.

    Parameters: ``found`` of the visit; ``events`` oldest first.
    """
    layout, since = found.posterior.layout, since_last_move(events)
    for adjuster, chance in found.unanswering.items():
        kind = kind_at(layout, adjuster)
        moved = [n for n, e in enumerate(events) if not isinstance(e, SEEN) and adjuster_of(e) == adjuster]
        seen = any(isinstance(e, Reading) and e.bore in kind.reach(layout, adjuster) for e in events[moved[-1] :])
        if chance >= AS_GOOD_AS_CERTAIN and seen and len(moved) >= TRIED:
            place = kind.place(adjuster)
            about = place.sets if place.sets is not None else layout.bank(place.bank).stop
            bank, why = place.bank or None, AdviceReason.NO_EFFECT
            return Advice(AdviceKind.CANNOT, why, bank=bank, near=place.near, far=place.far, about=(about,))
    for bore, chance in found.loose.items():
        if chance < WORTH_A_LOOK:
            continue
        looks = sum(isinstance(e, Reading) and e.bore == bore for e in since)
        if chance >= AS_GOOD_AS_CERTAIN and looks >= LEAST_LOOKS:
            return Advice(AdviceKind.CANNOT, AdviceReason.SCATTER, about=(bore,))
        if looks < MOST_LOOKS:
            return Advice(AdviceKind.MEASURE, AdviceReason.LOST_MOTION_CHECK, bores=(bore,))
    return None
