"""One word of the engine: what its readings say, and what the adviser still asks for, said together."""

from dataclasses import replace

from app.sync.estimation.conformity import Conformity, Decision
from app.sync.estimation.evenness import RoundResult
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.planning.planner import ENOUGH

GOOD = (Conformity.EVEN, Conformity.LIMIT)
"""What is said of an engine that may be handed over."""

OPEN_TO_DOUBT = (*GOOD, Conformity.UNDECIDED)
"""What is said otherwise while the adviser has something to ask for."""


def as_said(found: RoundResult, advice: Advice) -> RoundResult:
    """How even the bores stand, undecided while the adviser has another reading or move for them.

    A round that reads well may follow others that did not; then the chance that is said is the adviser's, who goes by
    all of them. What is moved for the idle speed alone is no matter of evenness.

    Parameters: ``found`` by the readings since the last move; ``advice`` on the same readings.
    """
    reads = advice.kind is AdviceKind.MEASURE and advice.why in (AdviceReason.DOUBTFUL, AdviceReason.LOST_MOTION_CHECK)
    moves = advice.adjuster is not None and advice.inside is not None and advice.inside < ENOUGH
    good = found.verdict in GOOD
    if not (reads or moves) or found.verdict not in OPEN_TO_DOUBT:
        return found
    decision = replace(found.decision, readings=advice.readings)
    return replace(found, decision=_doubted(decision, advice) if good else decision)


def _doubted(decision: Decision, advice: Advice) -> Decision:
    """A good word taken back."""
    chances = [one for one in (decision.all_inside, advice.inside) if one is not None]
    return replace(
        decision,
        conformity=Conformity.UNDECIDED,
        all_inside=min(chances, default=None),
        rounds=None,
        read_next=advice.bores if advice.adjuster is None else (),
        move_advised=advice.adjuster is not None,
    )
