"""The advice: the one next step of a phase, with what to expect of it and what to do about it."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Field

from app.shop.assessment.assessment import Assessment, PhaseAssessment
from app.shop.assessment.codes import StepReason
from app.shop.at_site import may_write
from app.shop.procedure.phases import phase_named
from app.shop.queries.assessed import assessed
from app.sync.banks.banks import Extra
from app.sync.engine.engine_air import Beyond
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.web.api.advising.to_do import DoTold, to_do
from app.web.api.problems import NOT_THERE
from app.web.api.shapes import Coupler, Id, MeterUnit, MoveKind, Slug, StepKind, Told, meter_unit, shown, trade
from app.web.context import Shop
from app.wording.reasons import in_words
from app.wording.work.next_step import step_words

router = APIRouter(prefix="/visits/{visit_id}", tags=["advice"])


Because = Literal[
    "engine-stopped",
    "readings-in-question",
    "unread",
    "undecided",
    "fault",
    "adjusters-spent",
    "no-adjuster",
    "uneven-at-lock-down",
]

BECAUSE: Mapping[StrEnum, Because] = {
    StepReason.STOPPED: "engine-stopped",
    StepReason.IN_QUESTION: "readings-in-question",
    AdviceReason.SKIPPED: "unread",
    **dict.fromkeys(Extra, "unread"),
    AdviceReason.TOO_CLOSE: "undecided",
    **dict.fromkeys((AdviceReason.SCATTER, AdviceReason.NO_EFFECT, AdviceReason.LEAK_CHECK, StepReason.LEAK), "fault"),
    AdviceReason.BYPASS_END: "adjusters-spent",
    AdviceReason.NOTHING_HELPS: "adjusters-spent",
    AdviceReason.NO_ADJUSTER: "no-adjuster",
    StepReason.ELECTRONIC: "no-adjuster",
    StepReason.TIGHTENING: "uneven-at-lock-down",
    StepReason.UNEVEN: "uneven-at-lock-down",
}
"""What kind of cause each reason of a `cannot` is."""


def _reasons(schema: dict[str, Any]) -> None:
    schema["enum"] = list(dict.fromkeys(str(code) for codes in (AdviceReason, StepReason, Extra) for code in codes))


Why = Annotated[str, Field(json_schema_extra=_reasons)]
"""The code of a reason for a step."""


class ExpectedTold(Told):
    """What the meter should show at a bore after the move, and the band it will show in nine cases of ten."""

    bore: int
    value: float
    low: float
    high: float


class AskedTold(Told):
    """A reading that is asked for, in the words of the reading's own fields."""

    round: int
    bore: int
    kind: Literal["turn", "closing", "again"]


class ThenTold(Told):
    """A move of the same plan that is likely to follow. It is planned again once the one before it was made."""

    kind: MoveKind
    why: Why = Field(description="The reason as a code.", examples=["follows"])
    bank: str | None
    coupler: Coupler | None
    bore: int | None
    turns: float | None = Field(description="Turns, as in the advice.")
    flats: float | None = Field(description="Sixths of a turn, as in the advice.")
    leaves_thou: list[float] = Field(description="As in the advice.")

    @staticmethod
    def of(step: Advice) -> "ThenTold":
        """From what was planned."""
        return ThenTold(kind=step.kind, why=step.why, **_adjustment(step))


class AdviceTold(Told):
    """The one next step. The fields that its kind does not have are null or empty.

    `measure`: take `readings`. `stop`: turn the stop screw of `bank` by `turns`; in cold preset, where `bank` is null,
    every stop screw, from the base feeler. `blade`: reset `coupler` on `leaves_thou`. `screw`: turn the screw of
    `coupler` by `turns`. `link`: turn the link rod of `bank` by `flats`. `bypass`: turn the bypass screw of `bore` by
    `turns`. `done`: leave it as it is. `cannot`: moving more does not help; `reason` says what to look for.
    """

    kind: StepKind
    why: Why = Field(description="The reason as a code.", examples=["wide"])
    cannot_because: Because | None = Field(
        description="For `cannot`, what kind of cause it is, else null. `engine-stopped`: a figure beyond a limit. "
        "`readings-in-question`: choose which of two values counts. `unread`: bores or openings to be read first. "
        "`undecided`: this meter cannot tell. `fault`: something to find and repair. `adjusters-spent`: no adjustment "
        "brings it nearer. `no-adjuster`: nothing here sets it by hand. `uneven-at-lock-down`: go back to the recheck."
    )
    open: bool = Field(
        description="Whether anything may be recorded in the phase now, which another site never may. While it may "
        "not, the step is what would come."
    )
    ready: bool = Field(
        description="Whether the engine may be read in it now; else `waits_for_code` says what is first."
    )
    do: DoTold | None = Field(
        description="What to do now, as an operation of this interface: followed from answer to answer it ends with "
        "the sign-off. Null once the visit is signed off, and for who is of another site than the visit."
    )
    title: str = Field(description="The step in a line.")
    reason: str = Field(description="Why, and what to expect, in a sentence or two.")
    phase: Slug
    waits_for: str = Field(description="What has to be done before the engine is read here; empty for nothing.")
    waits_for_code: str | None = Field(description="The same as a code.")
    bank: str | None
    coupler: Coupler | None
    bore: int | None
    turns: float | None = Field(
        description="Turns: of a stop screw, positive is in, which opens its bank; of a coupler's screw, positive is "
        "in, whichever way that opens; of a bypass screw, positive is out, which lets more air past."
    )
    flats: float | None = Field(description="Sixths of a turn; positive makes the bank open earlier.")
    leaves_thou: list[float] = Field(description="The one leaf, or the two to stack, in thousandths of an inch.")
    moves_bores: list[int] = Field(description="The bores that move along, nearest first.")
    expected: list[ExpectedTold] = Field(description="In `unit`, for bores that move.")
    outside: list[Beyond] = Field(description="What is outside the range of the flow law: the size is a first try.")
    unit: MeterUnit
    readings: list[AskedTold] = Field(
        description="For `measure`, the readings to take, in order. Empty when a round has to be begun first."
    )
    lever_thou: float = Field(description="The feeler to hold under the central lever for it; 0 at idle.")
    from_above: bool = Field(
        description="Whether the lever is opened well past that feeler first, then brought back onto it, never nudged "
        "up. With `why` `both_ways` such a round has to be begun first."
    )
    speed_round: int | None = Field(
        description="In the bank balance, the round whose engine speed is to be recorded now: best before its first "
        "reading; after a stop, before anything else. Null for none."
    )
    about: list[int] = Field(description="For `cannot`, the bores it is about.")
    then: list[ThenTold] = Field(description="Moves that are likely to follow this one, in their order.")


@router.get("/phases/{phase}/advice", summary="The next step", responses=NOT_THERE)
def advice(shop: Shop, visit_id: Id, phase: Slug) -> AdviceTold:
    """What to do next in a phase: read, move, leave it, or look for a cause. Ask again after every reading and move."""
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    return _told(assessment, assessment.of(phase_named(phase)), phase)


def _told(assessment: Assessment, judged: PhaseAssessment, slug: Slug) -> AdviceTold:
    record, step = judged.record, judged.step
    title, reason = step_words(judged)
    waits = judged.gate.closed or judged.gate.waits
    return AdviceTold(
        kind=step.kind,
        why=step.why,
        cannot_because=BECAUSE[step.why] if step.kind is AdviceKind.CANNOT else None,
        open=judged.gate.closed is None and may_write(record.visit.site_id),
        ready=waits is None,
        do=to_do(assessment, judged),
        title=title,
        reason=reason,
        phase=slug,
        waits_for=in_words(waits) if waits else "",
        waits_for_code=str(waits.code) if waits else None,
        **_adjustment(step),
        moves_bores=[] if step.kind is AdviceKind.MEASURE else list(step.bores),
        expected=[
            ExpectedTold(
                bore=bore,
                value=shown(then.value, record.meter),
                low=shown(then.low, record.meter),
                high=shown(then.high, record.meter),
            )
            for bore, then in step.expected.items()
        ],
        outside=list(step.outside),
        unit=meter_unit(record.meter),
        readings=[AskedTold(round=r.round_number, bore=r.bore, kind=r.kind) for r in judged.to_read],
        lever_thou=trade(judged.opening, THOU),
        from_above=judged.from_above,
        speed_round=judged.speed.round_number if judged.speed is not None else None,
        about=list(step.about),
        then=[ThenTold.of(one) for one in step.then],
    )


def _adjustment(step: Advice) -> dict[str, Any]:
    """What is moved, and by how much; empty where nothing is."""
    kind = step.adjuster
    return {
        "bank": step.bank,
        "coupler": Coupler(near=step.near, far=step.far) if step.near is not None and step.far is not None else None,
        "bore": step.near if kind is not None and kind.sits == "bore" else None,
        "turns": trade(step.turns, 1) if kind is not None and kind.unit == "turns" else None,
        "flats": trade(step.flats, 1) if kind is not None and kind.unit == "flats" else None,
        "leaves_thou": [trade(leaf, THOU) for leaf in step.leaves],
    }
