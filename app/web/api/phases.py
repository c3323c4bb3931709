"""A phase: what it asks for and what was recorded; checks, taking one back, and waivers."""

from datetime import UTC, datetime, timedelta
from typing import Annotated, Literal

from fastapi import APIRouter
from pydantic import Field

from app.shop.assessment.assessment import PhaseAssessment
from app.shop.commands import checks
from app.shop.procedure.heat import HeatSoak
from app.shop.procedure.phases import phase_named
from app.shop.queries.assessed import assessed
from app.shop.record import loader
from app.shop.record.entries import CheckEntry
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from app.sync.engine.engine_air import Beyond
from app.sync.engine.units import KPA, REV_PER_MIN, THOU, ZERO_CELSIUS
from app.sync.planning.preset import Preset
from app.web.api.problems import NOT_THERE, REFUSALS, escaped, named
from app.web.api.shapes import By, Id, Key, MoveKind, Sent, Slug, Told, example, trade
from app.web.api.visits import OverrideTold, StandingTold
from app.web.context import Now, Shop, stamp
from app.web.forms import LONGEST_AGO
from app.wording.reasons import in_words
from app.wording.work.phases import item_label, phase_goal, phase_steps
from app.wording.work.safety import deferral, safety_lines

router = APIRouter(prefix="/visits/{visit_id}/phases/{phase}", tags=["phases"])

ItemSlug = Annotated[str, Field(max_length=60)]


class ChecksSent(Sent):
    """What was seen and measured, all of it stored or none."""

    key: Key
    ticks: list[ItemSlug] = Field(default=[], max_length=50, description="Items of kind `tick` that were seen to.")
    numbers: dict[ItemSlug, float] = Field(
        default={}, max_length=50, description="Items of kind `number`, each in the item's own unit."
    )
    minutes_ago: float = Field(
        default=0, ge=0, le=LONGEST_AGO, description="How many minutes before this was sent the figures were read."
    )
    by: By
    model_config = example(
        key="4f0c8a54-14a4-4f6e-8d0b-1f0a8f0f7a01",
        ticks=["idle-control", "loads-steady"],
        numbers={"coolant": 88.5, "oil": 92, "idle-speed": 850},
        minutes_ago=0,
        by="KM",
    )


class TakeBackSent(Sent):
    """Word that something recorded does not hold after all."""

    key: Key
    by: By


class OverrideSent(Sent):
    """The reason to continue with something missing; it is stored and printed."""

    key: Key
    why: Annotated[str, Field(max_length=checks.LONGEST_REASON)]
    by: By
    gate: Literal["heat"] | None = Field(None, description="To read the fine round before the engine is hot, no more.")


class CheckTold(Told):
    """One item as recorded. ``number`` is in the item's unit, null for a tick."""

    id: int
    phase: Slug
    item: str
    number: float | None
    by: str
    at: str = Field(description="ISO 8601, UTC.")
    supersedes: int | None = Field(description="The check that it replaces.")
    stands: bool = Field(description="False once it was superseded or taken back, and for the taking back itself.")

    @staticmethod
    def of(row: CheckEntry, record: VisitRecord) -> "CheckTold":
        """From its row."""
        return CheckTold.model_validate(
            {
                "id": row.ident,
                "phase": row.phase,
                "item": row.item,
                "number": row.number,
                "by": row.by,
                "at": row.at,
                "supersedes": row.supersedes_id,
                "stands": record.checks.get((row.phase, row.item)) is row,
            }
        )


class ItemTold(Told):
    """One thing that a phase asks for."""

    item: str
    ask: str = Field(description="What is asked, in words.")
    kind: Literal["tick", "number"]
    unit: str = Field(
        description="Of a number, and of its range, whatever unit the shop's pages show. Empty for a tick, and for a "
        "number without one.",
        examples=["°C"],
    )
    low: float
    high: float
    must: bool = Field(
        description="Whether it keeps from harm and cannot be waived; what guards an opened lever can be, as long as "
        "nothing was read with it open."
    )
    fresh: bool = Field(description="Whether it counts only when recorded after the last move.")
    before_running: bool = Field(description="Whether it comes ahead of the readings.")
    over_time: bool = Field(description="Whether it is asked for again and again, every figure counting.")
    ahead: bool = Field(
        description="Whether the engine is not read before it, though a waiver passes it unless `must`."
    )
    at_start: bool = Field(
        description="Whether it is read right after the engine is started, once the list before is done: start it then."
    )
    after: list[str] = Field(description="Items of the phase that are recorded before it or with it.")
    puts_back: str = Field(description="The item of an earlier phase that held what it puts back; empty for none.")
    choices: list[str] = Field(description="Of a number that is the place of one of these, counted from 0.")
    recorded: CheckTold | None
    missing: bool = Field(description="Whether the phase still lacks it.")
    again: bool = Field(
        description="Whether what is recorded no longer counts: moved or stopped since, or too far out."
    )


class PresetTold(Told):
    """How far to turn each stop screw in from the base feeler before the first start, with a band for nine in ten."""

    turns: float
    low_turns: float
    high_turns: float
    open_ended: bool = Field(
        description="Whether no upper end can be stated: `high_turns` is then as far as the flow law holds."
    )
    aim_rev_per_min: float = Field(description="Idle aimed at, a little above the one wanted.")
    air_pressure_kpa: float = Field(
        description="Absolute, as recorded at this visit, else by the altitude of the shop."
    )
    outside: list[Beyond] = Field(description="What lies outside the range in which the flow law holds.")
    basis: Literal["practice", "physics", "usual"] = Field(
        description="`usual`: on usual hardware of this displacement. `physics`: on measured figures of this engine. "
        "`practice` is no longer given."
    )
    base_blade_thou: float


class GaugesTold(Told):
    """One look at the gauges; null where one was not read."""

    at: str = Field(description="ISO 8601, UTC.")
    coolant_c: float | None = Field(description="Degrees Celsius.")
    oil_c: float | None = Field(description="Degrees Celsius.")
    head_c: float | None = Field(
        description="Of a cylinder head, degrees Celsius; asked for where air cools the engine."
    )


class HeatTold(Told):
    """Whether the engine is heat-soaked, which the fine round waits for."""

    hot: bool
    lacks: list[str] = Field(description="What it still waits for, in words.")
    lack_codes: list[str] = Field(description="The same as codes.")
    gauges: list[GaugesTold]


class PhaseTold(Told):
    """Everything about one phase of a visit."""

    standing: StandingTold
    aim: str
    steps: list[str]
    cautions: list[str]
    defer: str = Field(description="What comes before all of this.")
    items: list[ItemTold]
    moves: list[MoveKind] = Field(description="The kinds of move that may be made in this phase.")
    window_percent: float = Field(description="Half width of the tolerance its rounds are judged by; 0 for none.")
    preset: PresetTold | None = Field(description="In cold preset only.")
    heat: HeatTold | None = Field(description="In the heat-soaked recheck only.")


@router.get("", summary="One phase of a visit", responses=NOT_THERE)
def show_phase(shop: Shop, visit_id: Id, phase: Slug) -> PhaseTold:
    """What it asks for, what is recorded, and what it lacks."""
    with shop.reading() as session:
        return _told(assessed(session, visit_id).of(phase_named(phase)))


@router.post("/checks", status_code=201, summary="Record checks", responses=REFUSALS)
def record_checks(shop: Shop, visit_id: Id, phase: Slug, body: ChecksSent, now: Now) -> StandingTold:
    """Store what was seen and measured; answers with what the phase lacks now. An item recorded before is superseded
    when it differs, or when a move came after it and it has to be fresh."""
    values: dict[str, float | None] = {**dict.fromkeys(body.ticks), **body.numbers}
    places = {item: f"ticks/{n}" for n, item in enumerate(body.ticks)}
    places |= {item: f"numbers/{escaped(item)}" for item in body.numbers}
    with named(nothing="", **places):
        checks.record(shop, visit_id, body.key, phase, values, body.by, now, _read_at(body, now))
    return _standing(shop, visit_id, phase)


@router.post("/checks/{item}/taken-back", status_code=201, summary="Take a check back", responses=REFUSALS)
def take_back_check(shop: Shop, visit_id: Id, phase: Slug, item: str, body: TakeBackSent, now: Now) -> StandingTold:
    """As if it had not been recorded; what was recorded stays in the history."""
    with named(**{item: ""}):
        checks.take_back(shop, visit_id, body.key, phase, item, body.by, now)
    return _standing(shop, visit_id, phase)


@router.post("/overrides", status_code=201, summary="Continue with something missing", responses=REFUSALS)
def override_phase(shop: Shop, visit_id: Id, phase: Slug, body: OverrideSent, now: Now) -> OverrideTold:
    """Refused for what keeps people from harm, and when nothing is missing."""
    with named(override_by="by"):
        row_id = checks.waive(shop, visit_id, body.key, phase, body.why, body.by, now, body.gate)
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        return OverrideTold.of(next(one for one in record.overrides if one.ident == row_id))


def _read_at(body: ChecksSent, now: str) -> str:
    return stamp(datetime.fromisoformat(now) - timedelta(minutes=body.minutes_ago)) if body.minutes_ago else ""


def _standing(shop: Database, visit_id: int, slug: str) -> StandingTold:
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    return StandingTold.of(assessment.status(phase_named(slug)))


def _told(judged: PhaseAssessment) -> PhaseTold:
    record, phase, standing = judged.record, judged.phase, judged.status
    lacks = {missing.slug for missing in standing.missing}
    parts = judged.parts
    items = []
    for item in judged.items:
        row = record.checks.get((phase.slug, item.slug))
        if item.aside and row is None:
            continue
        items.append(
            ItemTold(
                item=item.slug,
                ask=item_label(item, parts),
                kind=item.kind,
                unit=item.unit,
                low=item.low,
                high=item.high,
                must=item.required,
                fresh=item.fresh,
                before_running=item.before_running,
                over_time=item.over_time,
                ahead=item.ahead,
                at_start=item.at_start,
                after=list(item.after),
                puts_back=item.puts_back,
                choices=list(item.choices),
                recorded=CheckTold.of(row, record) if row else None,
                missing=item.slug in lacks,
                again=item.slug in judged.stale,
            )
        )
    return PhaseTold(
        standing=StandingTold.of(standing),
        aim=phase_goal(phase, parts),
        steps=list(phase_steps(phase, parts)),
        cautions=[str(one) for one in safety_lines(judged.cautions)],
        defer=deferral(),
        items=items,
        moves=list(phase.moves_for(record.layout)),
        window_percent=trade(judged.tolerance, 0.01),
        preset=_preset(record, judged.preset) if judged.preset is not None else None,
        heat=_heat(standing.heat) if standing.heat is not None else None,
    )


def _preset(record: VisitRecord, start: Preset) -> PresetTold:
    return PresetTold(
        turns=trade(start.turns, 1),
        low_turns=trade(start.low, 1),
        high_turns=trade(start.high, 1),
        open_ended=start.open_ended,
        aim_rev_per_min=round(start.aim / REV_PER_MIN),
        air_pressure_kpa=trade(record.ambient.pressure, KPA),
        outside=list(start.outside),
        basis=start.basis,
        base_blade_thou=trade(start.base_blade, THOU),
    )


def _heat(heat: HeatSoak) -> HeatTold:
    return HeatTold(
        hot=not heat.lacks,
        lacks=[in_words(lack) for lack in heat.lacks],
        lack_codes=[str(lack.code) for lack in heat.lacks],
        gauges=[
            GaugesTold(
                at=stamp(datetime.fromtimestamp(point.at, UTC)),
                coolant_c=None if point.coolant is None else trade(point.coolant - ZERO_CELSIUS, 1),
                oil_c=None if point.oil is None else trade(point.oil - ZERO_CELSIUS, 1),
                head_c=None if point.head is None else trade(point.head - ZERO_CELSIUS, 1),
            )
            for point in heat.points
        ],
    )
