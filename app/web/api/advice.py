"""The advice: the next step of a phase and what to expect of it; what is offered cold; what the banks do off idle."""

import math
from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Field

from app.shop.assessment.assessment import PhaseAssessment
from app.shop.assessment.codes import StepReason
from app.shop.assessment.cold_setting import ColdStep, ColdWork
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, phase_named
from app.shop.queries.assessed import assessed
from app.sync.banks.banks import BankAssessment, Extra
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.adjusters.registry import kind_at
from app.sync.engine.engine_air import Beyond
from app.sync.engine.units import DEGREE, THOU
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.web.api.problems import NOT_THERE
from app.web.api.shapes import Coupler, Id, MeterUnit, MoveKind, Slug, StepKind, Told, meter_unit, shown, trade
from app.web.context import Shop
from app.wording.cold_setting import how, reasons
from app.wording.message import say
from app.wording.reasons import in_words
from app.wording.work.bank_balance import CAUSES, extra_sentence
from app.wording.work.next_step import step_words
from app.wording.work.safety import deferral, safety_lines

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
    why: Why
    bank: str | None
    coupler: Coupler | None
    bore: int | None
    turns: float | None = Field(description="As in the advice.")
    flats: float | None = Field(description="As in the advice.")
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
        description="Whether anything may be recorded in the phase now. While it may not, the step is what would come."
    )
    ready: bool = Field(
        description="Whether the engine may be read in it now; else `waits_for_code` says what is first."
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
        description="Of a stop screw, positive is in, which opens its bank; of a coupler's screw, positive is in, "
        "whichever way that opens; of a bypass screw, positive is out, which lets more air past."
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


class DifferenceTold(Told):
    """Second bank less first bank at one opening, mean of a bore, in `unit`. A bank with more air has less vacuum."""

    lever_thou: float = Field(description="The feeler under the central lever; 0 at idle.")
    from_above: bool
    first: float
    second: float
    difference: float
    sd: float = Field(description="Standard deviation of the difference.")
    percent: float = Field(
        description="The difference in per cent of the mean of both banks; for columns, of the air that they tell of."
    )


class BanksTold(Told):
    """What the two banks do off idle, why, and what to turn."""

    balanced: bool
    cause: Cause
    sentence: str
    banks: list[str] = Field(description="First and second bank.")
    unit: MeterUnit
    differences: list[DifferenceTold]
    odds: dict[Cause, float] = Field(description="Chance of each cause; they sum to 1.")
    offset_deg: float = Field(description="How much earlier the second bank leaves, at its plates.")
    offset_sd_deg: float | None = Field(description="Null when nothing is known of it.")
    ratio_percent: float = Field(description="How much faster the second bank opens.")
    ratio_sd_percent: float | None = Field(description="Null when nothing is known of it.")
    bank: str | None = Field(description="Whose link rod to turn.")
    flats: float = Field(description="By how many sixths of a turn; negative makes it open later. 0 for none.")
    flats_sd: float | None = Field(description="Standard deviation of `flats`. Null when none are offered.")
    sharper_lever_thou: float = Field(
        description="The feeler under the central lever at which one more round tells most about `flats`, where they "
        "may be off by more than half a flat; 0 where that is not so or it was read. Begin it with `lever_thou`."
    )
    or_bank: str | None = Field(description="The bank at which the same flats with the other sign do as well.")
    extra: str = Field(description="A short code for what would tell most next.")
    extra_sentence: str
    extra_lever_thou: float = Field(description="The feeler under the central lever for that; 0 for none.")
    extra_levers_thou: list[float] = Field(
        description="Every feeler under the central lever to read for that, one round each, the smallest first. Begin "
        "each with `lever_thou`. Where `extra` is `again`, these are all openings that were read."
    )


class ForeseenTold(Told):
    """What it costs and should save, calculated for this engine; the first and the last round are not counted."""

    cold_minutes: float = Field(description="That it takes.")
    hot_minutes_without: float = Field(description="Of work on the hot engine after a usual preset.")
    hot_minutes_with: float = Field(description="The same after all plates were set.")
    slow_start_without: float = Field(description="Chance of a first idle below three quarters of the wanted speed.")
    slow_start_with: float = Field(description="The same after all plates were set.")
    pays: bool = Field(description="Whether it saves as many minutes as it takes.")
    reason: str


class PlateTold(Told):
    """One plate to set, outward from the stop screw of its bank."""

    bore: int
    kind: MoveKind = Field(description="The kind of adjuster that sets it.")
    bank: str
    coupler: Coupler | None
    how: str = Field(description="What to do, in words.")
    stands: bool = Field(description="Whether it is set, and nothing nearer to the stop screw was set after it.")
    move: int | None = Field(description="The newest setting of it.")


class ColdSettingTold(Told):
    """Setting every plate on one feeler before the first start. It is optional: nothing waits for it."""

    plates: list[PlateTold]
    next: int | None = Field(description="The bore to set next; null once all are set.")
    leaves_thou: list[float] = Field(description="The feeler: that of the first plate set, else the one to take.")
    safe: bool = Field(description="Whether `cold-and-off` is recorded.")
    preset: bool = Field(description="Whether `closed-contact` and `preset-turns` are recorded.")
    gauged: bool = Field(description="Whether `hand-gauged` is recorded.")
    couplers_new: bool
    declined: bool = Field(description="Whether `cold-setting-declined` is recorded.")
    foreseen: ForeseenTold
    cautions: list[str]
    defer: str = Field(description="What comes before all of this.")


@router.get("/phases/{phase}/advice", summary="The next step", responses=NOT_THERE)
def advice(shop: Shop, visit_id: Id, phase: Slug) -> AdviceTold:
    """What to do next in a phase: read, move, leave it, or look for a cause. Ask again after every reading and move."""
    with shop.reading() as session:
        return _told(assessed(session, visit_id).of(phase_named(phase)), phase)


@router.get("/banks", summary="The banks off idle", responses=NOT_THERE)
def banks(shop: Shop, visit_id: Id) -> BanksTold | None:
    """What the readings at both openings say. Null with one bank, or before an idle round and an opening were read."""
    with shop.reading() as session:
        judged = assessed(session, visit_id).of(BANK_BALANCE)
    return _banks(judged, judged.banks) if judged.banks is not None else None


@router.get("/cold-setting", summary="The cold setting of the plates", responses=NOT_THERE)
def show_cold_setting(shop: Shop, visit_id: Id) -> ColdSettingTold | None:
    """What is offered, and how far it is. Null once the engine ran, by telephone, and where nothing is set cold."""
    with shop.reading() as session:
        judged = assessed(session, visit_id).of(COLD_PRESET)
    return _cold(judged.cold, [str(one) for one in safety_lines(judged.cautions)]) if judged.cold is not None else None


def _told(judged: PhaseAssessment, slug: Slug) -> AdviceTold:
    record, step = judged.record, judged.step
    title, reason = step_words(judged)
    waits = judged.gate.closed or judged.gate.waits
    return AdviceTold(
        kind=step.kind,
        why=step.why,
        cannot_because=BECAUSE[step.why] if step.kind is AdviceKind.CANNOT else None,
        open=judged.gate.closed is None,
        ready=waits is None,
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


def _banks(judged: PhaseAssessment, found: BankAssessment) -> BanksTold:
    meter = judged.record.meter
    return BanksTold(
        balanced=judged.together,
        cause=found.cause,
        sentence=say(CAUSES[found.cause]),
        banks=list(found.banks),
        unit=meter_unit(meter),
        differences=[
            DifferenceTold(
                lever_thou=trade(one.lever_travel, THOU),
                from_above=one.from_above,
                first=shown(one.first, meter),
                second=shown(one.second, meter),
                difference=shown(one.difference, meter),
                sd=shown(one.sd, meter),
                percent=trade(one.percent, 1),
            )
            for one in found.differences
        ],
        odds={cause: trade(chance, 1) for cause, chance in found.odds.items()},
        offset_deg=trade(found.offset, DEGREE),
        offset_sd_deg=_finite(found.offset_sd, DEGREE),
        ratio_percent=trade(found.ratio, 0.01),
        ratio_sd_percent=_finite(found.ratio_sd, 0.01),
        bank=found.bank,
        flats=trade(found.flats, 1),
        flats_sd=_finite(found.flats_sd, 1),
        sharper_lever_thou=trade(found.sharper_travel, THOU),
        or_bank=found.or_bank,
        extra=found.extra,
        extra_sentence=extra_sentence(found.extra),
        extra_lever_thou=trade(found.extra_travel, THOU),
        extra_levers_thou=[trade(lever, THOU) for lever in found.to_read],
    )


def _finite(value: float, size: float) -> float | None:
    return trade(value, size) if math.isfinite(value) else None


def _cold(work: ColdWork, cautions: list[str]) -> ColdSettingTold:
    found = work.foreseen
    return ColdSettingTold(
        plates=[_plate(work, step) for step in work.steps],
        next=work.next.bore if work.next is not None else None,
        leaves_thou=[trade(leaf, THOU) for leaf in work.leaves],
        safe=work.safe,
        preset=work.is_preset,
        gauged=work.gauged,
        couplers_new=work.assembled,
        declined=work.declined,
        foreseen=ForeseenTold(
            cold_minutes=round(found.cold_minutes, 1),
            hot_minutes_without=round(found.without, 1),
            hot_minutes_with=round(found.with_it, 1),
            slow_start_without=round(found.stalls_without, 3),
            slow_start_with=round(found.stalls_with_it, 3),
            pays=found.pays,
            reason=" ".join(reasons(found)),
        ),
        cautions=cautions,
        defer=deferral(),
    )


def _plate(work: ColdWork, step: ColdStep) -> PlateTold:
    record = work.record
    kind = kind_at(record.layout, step.adjuster)
    place = kind.place(step.adjuster)
    return PlateTold(
        bore=step.bore,
        kind=kind.slug,
        bank=record.layout.bank_of(step.bore).name,
        coupler=Coupler(near=place.near, far=place.far) if place.near and place.far else None,
        how=how(step, record.layout, sum(work.leaves), record.units),
        stands=step.stands,
        move=step.made.ident if step.made is not None else None,
    )
