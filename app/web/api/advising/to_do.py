"""What a program does now, as the operation to call: whatever stands in the way comes first, so that none is rejected
again and again."""

from collections.abc import Sequence
from typing import Literal, cast

from pydantic import Field

from app.shop.assessment.assessment import Assessment, PhaseAssessment
from app.shop.assessment.codes import StepReason
from app.shop.assessment.progress import SPEED
from app.shop.at_site import may_write
from app.shop.procedure.heat import GATE
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.procedure.requirements import Requirement, Waiting
from app.shop.procedure.running import run_out
from app.shop.reasons import Reason
from app.sync.planning.advice import AdviceKind
from app.web.api.shapes import Slug, Told

Operation = Literal[
    "advice",
    "record_checks",
    "engine_started",
    "end_stop",
    "begin_round",
    "record_round_speed",
    "add_reading",
    "settle_readings",
    "make_move",
    "override_phase",
    "sign_off",
]


RECORDED_AGAIN = (
    *(Requirement.ITEM, Requirement.IDLE_AGAIN, Requirement.PULLS, Requirement.SNAP_READ, Requirement.HEAT_SOAK),
)
"""What is missing and comes with recording it. Whatever else a phase lacks wants more than a figure."""


NO_LOOK_YET = frozenset({Requirement.HEAT_UNREAD, Requirement.HEAT_SINCE_START, Requirement.HEAT_OLD})
"""What the heat soak lacks where a look at the gauges tells something at once."""

FEW_MINUTES = 3.0
"""Between two looks at the gauges [min], our judgement; fewer where less is lacking."""


class DoTold(Told):
    """An operation to call now, with what the step says besides.

    `advice`: ask for it in `phase`. `record_checks`: record `items` in `phase`; those that are read over time are
    recorded again, `after_minutes`, until they are no longer asked for. `engine_started`: check `items` and start the
    engine. `end_stop`: find the cause, do what it takes. `begin_round`, `record_round_speed`, `add_reading` and
    `make_move`: as the step says. `settle_readings`: a person says which reading counts. `override_phase`: a person
    decides whether the phase is passed with something missing. `sign_off`: a person answers for the engine.
    """

    operation: Operation = Field(description="The `operationId` of it.", examples=["add_reading"])
    phase: Slug | None = Field(description="The phase that it is called for; null for one that has none.")
    items: list[str] = Field(description="The items that it is about; empty for none.", examples=[["coolant", "oil"]])
    after_minutes: float = Field(
        description="How many minutes after `items` were recorded last it tells something to record them again; 0 for "
        "at once. The engine runs until then.",
        examples=[3],
    )


def to_do(assessment: Assessment, judged: PhaseAssessment) -> DoTold | None:
    """What to do now in a phase; None once the visit is signed off, and for who is of another site."""
    record = assessment.record
    if record.sign_off is not None or not may_write(record.visit.site_id):
        return None
    if assessment.stopped:
        return _do("end_stop")
    waits = judged.gate.closed or judged.gate.waits
    if waits is not None:
        return _what_comes_first(assessment, judged, waits)
    ended = judged.step.kind in (AdviceKind.DONE, AdviceKind.CANNOT) or judged.in_vain
    if judged.phase is COLD_PRESET or ended:
        return _what_is_left(assessment, judged)
    if judged.step.kind is not AdviceKind.MEASURE:
        return _do("make_move", judged.phase)
    if judged.speed is not None:
        return _do("record_round_speed", judged.phase)
    return _do("add_reading" if judged.to_read else "begin_round", judged.phase)


def _what_comes_first(assessment: Assessment, judged: PhaseAssessment, waits: Reason) -> DoTold:
    """What ends the wait."""
    match waits.code:
        case Waiting.ENGINE_STANDS:
            return _do("engine_started", None, [item.slug for item in run_out(assessment.record, FIRST_FIRE)])
        case Waiting.HEAT_RAN_OUT | Waiting.NOT_HEAT_SOAKED:
            return _for_heat(assessment)
        case Waiting.CHECK_FIRST:
            return _do("record_checks", judged.phase, [waits.values["item"].values["item"]])
        case Waiting.EARLIER_PHASE | Waiting.PRESET_DESTROYS | Waiting.NO_SUCH_PHASE:
            return _next(assessment)
        case _:
            return _do("end_stop")


def _what_is_left(assessment: Assessment, judged: PhaseAssessment) -> DoTold:
    """What is still to be recorded in a phase where nothing more is read or moved now."""
    if judged.status.done:
        return _next(assessment)
    lacking = {one.slug: one.reason.code for one in judged.status.missing if one.reason.code in RECORDED_AGAIN}
    slow = judged.stale if SPEED in lacking else frozenset[str]()
    asked = [item for item in judged.items if item.slug in lacking or item.slug in slow]
    if asked:
        return _do("record_checks", judged.phase, [item.slug for item in asked])
    if GATE in lacking:
        return _for_heat(assessment)
    if judged.step.why == StepReason.IN_QUESTION:
        return _do("settle_readings", judged.phase)
    return _do("override_phase", judged.phase)


def _next(assessment: Assessment) -> DoTold:
    """The phase to go on with, or the sign-off after the last."""
    if assessment.goes_on is None:
        return _do("sign_off")
    return _do("advice", assessment.goes_on.phase)


def _for_heat(assessment: Assessment) -> DoTold:
    """What is recorded until the engine is hot: the gauges over time, and at the end the pulls."""
    heat = assessment.status(HEAT_SOAKED).heat
    lacks = heat.lacks if heat is not None else ()
    if {lack.code for lack in lacks} == {Requirement.PULLS}:
        return _do("record_checks", HEAT_SOAKED, [str(Requirement.PULLS)])
    gauges = [item.slug for item in assessment.of(HEAT_SOAKED).items if item.over_time and item.needed]
    return _do("record_checks", HEAT_SOAKED, gauges, _minutes_between(lacks))


def _minutes_between(lacks: Sequence[Reason]) -> float:
    """How long after the last look at the gauges [min] the next one tells something."""
    if any(lack.code in NO_LOOK_YET for lack in lacks):
        return 0.0
    known = [
        float(lack.values["count"]) for lack in lacks if lack.code in (Requirement.HEAT_TIME, Requirement.HEAT_AGAIN)
    ]
    return min([FEW_MINUTES, *known])


def _do(
    operation: Operation, phase: Phase | None = None, items: list[str] | None = None, after_minutes: float = 0.0
) -> DoTold:
    slug = cast(Slug, phase.slug) if phase else None
    return DoTold(operation=operation, phase=slug, items=items or [], after_minutes=after_minutes)
