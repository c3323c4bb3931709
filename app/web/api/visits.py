"""Visits: open one, see where it stands, start and stop its engine."""

from collections.abc import Sequence
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field

from app.shop.assessment.assessment import Assessment
from app.shop.assessment.progress import Missing, PhaseStatus
from app.shop.commands import running, visits
from app.shop.commands.running import LONGEST_WORDS
from app.shop.commands.visits import NewVisit
from app.shop.procedure.items import Place
from app.shop.procedure.limits import Stop, StopCause, ended_stops, open_stops
from app.shop.procedure.phases import FIRST_FIRE
from app.shop.procedure.recheck import touched
from app.shop.procedure.requirements import ChangedPart, Runs
from app.shop.procedure.running import run_out, state_of
from app.shop.queries.assessed import assessed, assessment_of
from app.shop.record import loader
from app.shop.record.entries import EngineEventEntry, StopEndEntry, WaiverEntry
from app.shop.record.intake import IntakeState
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.web.api.answers.pages import PAGED, page_of
from app.web.api.ending.ends import MistakenTold, SignOffTold
from app.web.api.problems import NOT_THERE, REFUSALS, named, pointing
from app.web.api.shapes import LARGEST_ID, By, Id, Key, Line, Sent, Slug, Told, example
from app.web.api.shop.meters import MeterTold
from app.web.context import Now, Shop
from app.wording.reasons import in_words
from app.wording.stored import as_stored, codes_of
from app.wording.work.phases import phase_title

router = APIRouter(tags=["visits"])


INTAKE = (
    "What is on the intakes while they are read. Where it was not the same at the visit before, a change of all bores "
    "together says nothing about the engine."
)


SITE = "The site it belongs to, of `GET /api/sites`; null for none. Only that site writes to it."


class VisitSent(Sent):
    """Why the engine is here."""

    key: Key
    place: Place
    job: Line = Field(default="", description="The number of the job.", examples=["1184"])
    why: Line = Field(default="", description="The complaint or the reason.", examples=["First sync"])
    by: By
    meter_id: int = Field(description="The meter that its readings are taken with.", examples=[1], le=LARGEST_ID)
    runs: Runs | None = Field(
        default=None,
        strict=False,
        description="Whether the engine runs as it comes in. A running engine is read as found, hot, before anything "
        "is set; `new-throttles` are preset cold first; a `fresh` engine is asked for run-in, oil, timing and mixture "
        "besides. Null: as on earlier visits, else a preset.",
    )
    intake: IntakeState | None = Field(default=None, strict=False, description=INTAKE + " Null where it is not told.")
    intake_note: Line = Field(default="", description="More about the intakes; with `other` it says what they are.")
    changed: list[Annotated[ChangedPart, Field(strict=False)]] = Field(
        default=[],
        max_length=len(ChangedPart),
        description="What was changed since the last sign-off: the engine is then read hot once at least.",
    )
    model_config = example(
        key="9b2f6d0e-6a1c-4c55-8f0e-3f3b0a2f6c11",
        place="test cell",
        job="1184",
        why="First sync",
        by="KM",
        meter_id=1,
        intake="filter-off",
    )


class MissingTold(Told):
    """One thing that a phase still lacks."""

    item: str = Field(
        description="The item that is not recorded; else `round` for readings, `stop` for a figure too far out, `heat` "
        "for the heat soak, `speed` for an idle speed that is off or was read before an adjustment, `opening-speed` "
        "for the speed of a round off idle."
    )
    code: str = Field(description="Why it is missing, as a code.")
    what: str
    must: bool = Field(description="Whether it cannot be waived.")

    @staticmethod
    def of(one: Missing) -> "MissingTold":
        """From what the store works out."""
        return MissingTold(item=one.slug, code=str(one.reason.code), what=in_words(one.reason), must=one.must)


class OverrideTold(Told):
    """Word that a phase was passed with something missing."""

    id: int
    phase: Slug
    missing: str = Field(description="What was missing then.")
    missing_codes: list[str] = Field(description="The same as codes; empty for a row from before codes were stored.")
    gate: Literal["heat", "opened-by-mistake"] | None = Field(
        description="The one thing waived, where it was not the whole phase. `opened-by-mistake`: the whole visit, "
        "which was ended with nothing in it."
    )
    why: str
    by: str
    at: str = Field(description="ISO 8601, UTC.")

    @staticmethod
    def of(row: WaiverEntry) -> "OverrideTold":
        """From its row."""
        told = {name: getattr(row, name) for name in OverrideTold.model_fields if name != "missing_codes"}
        missing, codes = as_stored(row.missing, "override.missing"), list(codes_of(row.missing))
        return OverrideTold.model_validate({**told, "missing": missing, "missing_codes": codes})


class StandingTold(Told):
    """What a phase lacks, and what stops it."""

    phase: Slug
    title: str
    done: bool
    missing: list[MissingTold]
    stops: list[str] = Field(description="What to do at once about figures outside the shop's limits.")
    stop_codes: list[str] = Field(description="The same as codes.")
    spared: str = Field(description="Why nothing is asked of this phase this time; empty when something is.")
    spared_code: str | None = Field(description="The same as a code.")
    override: OverrideTold | None

    @staticmethod
    def of(standing: PhaseStatus) -> "StandingTold":
        """From what the store works out."""
        spared = standing.not_needed_because
        return StandingTold.model_validate(
            {
                "phase": standing.phase.slug,
                "title": phase_title(standing.phase),
                "done": standing.done,
                "missing": [
                    MissingTold(item=m.slug, code=str(m.reason.code), what=in_words(m.reason), must=m.must)
                    for m in standing.missing
                ],
                "stops": [in_words(stop) for stop in standing.stops],
                "stop_codes": [str(stop.code) for stop in standing.stops],
                "spared": in_words(spared) if spared else "",
                "spared_code": str(spared.code) if spared else None,
                "override": OverrideTold.of(standing.override) if standing.override else None,
            }
        )


class StoppedSent(Sent):
    """Word that the engine was stopped."""

    key: Key
    by: By


class StartedSent(Sent):
    """Word that the engine was started, with what was checked for this start."""

    key: Key
    ticks: list[Annotated[str, Field(max_length=60)]] = Field(
        default=[], max_length=50, description="Items of first fire that were checked for it: `start_items`."
    )
    by: By


class StopEndSent(Sent):
    """Why figures were beyond the shop's limits, and what was done about it."""

    key: Key
    cause: StopCause = Field(strict=False)
    cause_text: str = Field("", max_length=LONGEST_WORDS, description="More of it in words; needed with `other`.")
    remedy: str = Field(max_length=LONGEST_WORDS, description="What was done about it.", examples=["Oil filled up"])
    by: By


class StopTold(Told):
    """A figure beyond a limit of the shop, in the item's own unit."""

    check: int = Field(description="The check that recorded it.")
    phase: Slug
    item: str
    number: float
    code: str = Field(description="Which limit it is beyond, as a code.")
    what: str = Field(description="What to do at once, in words.")
    by: str
    at: str = Field(description="ISO 8601, UTC.")

    @staticmethod
    def of(stop: Stop) -> "StopTold":
        """From what the store works out."""
        said = {name: getattr(stop.check, name) for name in ("phase", "item", "number", "by", "at")}
        code, what = str(stop.reason.code), in_words(stop.reason)
        return StopTold.model_validate({**said, "check": stop.check.ident, "code": code, "what": what})


class StopEndTold(Told):
    """What ended stops, and which."""

    id: int
    cause: str = Field(description="A code.")
    cause_text: str
    remedy: str
    by: str
    at: str = Field(description="ISO 8601, UTC.")
    stops: list[StopTold]

    @staticmethod
    def of(end: StopEndEntry, stops: Sequence[Stop]) -> "StopEndTold":
        """From its row and the figures that it ended."""
        said = {name: getattr(end, name) for name in ("id", "cause", "cause_text", "remedy", "by", "at")}
        return StopEndTold.model_validate({**said, "stops": [StopTold.of(stop) for stop in stops]})


class EngineEventTold(Told):
    """Word that the engine was started or stopped."""

    id: int
    what: Literal["started", "stopped"] = Field(description="Which of the two.")
    by: str
    at: str = Field(description="ISO 8601, UTC.")

    @staticmethod
    def of(row: EngineEventEntry) -> "EngineEventTold":
        """From its row."""
        return EngineEventTold.model_validate({name: getattr(row, name) for name in ("id", "what", "by", "at")})


class EngineStateTold(Told):
    """Whether the engine may be running, by what was recorded of it."""

    open_stops: list[StopTold] = Field(description="While there is one, nothing else is saved.")
    stands: str = Field(description="Why it counts as stopped, in words; empty while it may be running.")
    stands_code: str | None = Field(description="The same as a code.")
    start_items: list[str] = Field(description="Items of first fire to be checked again for a start.")

    @staticmethod
    def of(record: VisitRecord) -> "EngineStateTold":
        """From what the store works out."""
        why = state_of(record).stands
        return EngineStateTold(
            open_stops=[StopTold.of(stop) for stop in open_stops(record)],
            stands=in_words(why) if why else "",
            stands_code=str(why.code) if why else None,
            start_items=[item.slug for item in run_out(record, FIRST_FIRE)],
        )


class VisitTold(Told):
    """A visit and how far it is."""

    id: int
    engine_id: int
    fitting_id: int = Field(description="What was fitted then.")
    number: int = Field(description="Counts the engine's visits from 1.")
    place: Place
    job: str
    why: str
    by: str
    opened_at: str = Field(description="ISO 8601, UTC.")
    runs: Runs | None = Field(description="Whether the engine ran as it came in; null where that was not asked.")
    intake: IntakeState | None = Field(description=INTAKE + " Null where it was not told.")
    intake_note: str
    changed: list[str] = Field(
        description="What was changed since the last sign-off, as codes or as an older program stored it.",
        examples=[["exhaust"]],
    )
    meter: MeterTold
    phases: list[StandingTold] = Field(description="The five phases in their order.")
    current: Slug | Literal["sign-off"] | None = Field(
        description="The first phase that is not done, `sign-off` when all are, null once it is signed off."
    )
    sign_off: SignOffTold | None
    mistaken: MistakenTold | None = Field(
        description="Why it should never have been opened, where it was ended for that: it says nothing about the "
        "engine, and `sign_off` has the initials of who ended it. Null for any other."
    )
    site_id: int | None = Field(description=SITE, examples=[2])
    engine_state: EngineStateTold

    @staticmethod
    def of(assessment: Assessment) -> "VisitTold":
        """From everything recorded of it."""
        record, standings = assessment.record, assessment.statuses
        visit, signed = record.visit, record.sign_off
        undone = next((s.phase.slug for s in standings if not s.done), "sign-off")
        return VisitTold.model_validate(
            {
                "id": visit.ident,
                "engine_id": visit.engine_id,
                "fitting_id": visit.fitting_id,
                "number": visit.number,
                "place": visit.place,
                "job": visit.job,
                "why": visit.why,
                "by": visit.by,
                "opened_at": visit.opened_at,
                "runs": visit.runs,
                "intake": record.intake.state if record.intake else None,
                "intake_note": record.intake.note if record.intake else "",
                "changed": list(touched(record)),
                "meter": MeterTold.of(record.meter, record.repeats),
                "phases": [StandingTold.of(standing) for standing in standings],
                "current": undone if signed is None else None,
                "sign_off": SignOffTold(name=signed.name, at=signed.at) if signed else None,
                "mistaken": MistakenTold.of(record.mistaken) if record.mistaken else None,
                "site_id": visit.site_id,
                "engine_state": EngineStateTold.of(record),
            }
        )


@router.post("/engines/{engine_id}/visits", status_code=201, summary="Open a visit", responses=REFUSALS)
def open_visit(shop: Shop, engine_id: Id, body: VisitSent, now: Now, answer: Response) -> VisitTold:
    """Open a visit. An engine has one open visit at a time."""
    new = NewVisit(
        body.place,
        body.job,
        body.why,
        body.by,
        body.meter_id,
        tuple(dict.fromkeys(body.changed)),
        runs=body.runs or "",
        intake=body.intake or "",
        intake_note=body.intake_note,
    )
    with named(meter="meter_id"), pointing({Rejection.VISIT_OPEN: ""}):
        visit_id = visits.open_visit(shop, engine_id, body.key, new, now)
    answer.headers["Location"] = f"/api/visits/{visit_id}"
    return show_visit(shop, visit_id)


@router.get("/visits", summary="Open visits", responses=PAGED)
def open_visits(
    shop: Shop,
    request: Request,
    answer: Response,
    most: Annotated[int | None, Query(ge=1, le=500, description="At most so many; left out, all of them.")] = None,
    skip: Annotated[int, Query(ge=0, le=100_000, description="Without the first so many.")] = 0,
) -> list[VisitTold]:
    """The visits that are not signed off, the newest first. The header `X-Total-Count` says how many there are."""
    with shop.reading() as session:
        ids = page_of(request, answer, loader.open_ids(session), most, skip)
        return [VisitTold.of(assessment_of(session, record)) for record in loader.load_all(session, ids)]


@router.get("/visits/{visit_id}", summary="One visit", responses=NOT_THERE)
def show_visit(shop: Shop, visit_id: Id) -> VisitTold:
    """What it is for, and what each phase still lacks."""
    with shop.reading() as session:
        return VisitTold.of(assessed(session, visit_id))


@router.post("/visits/{visit_id}/stopped", status_code=201, summary="The engine was stopped", responses=REFUSALS)
def engine_stopped(shop: Shop, visit_id: Id, body: StoppedSent, now: Now) -> EngineStateTold:
    """Ends the open round, and what was checked for the start. Refused when it is stopped already."""
    running.stop(shop, visit_id, body.key, body.by, now)
    return show_visit(shop, visit_id).engine_state


@router.post("/visits/{visit_id}/started", status_code=201, summary="The engine was started", responses=REFUSALS)
def engine_started(shop: Shop, visit_id: Id, body: StartedSent, now: Now) -> EngineStateTold:
    """Ends a stop, and a pause that counts as one. Refused until everything of `start_items` is checked."""
    with named(**{item: f"ticks/{n}" for n, item in enumerate(body.ticks)}):
        running.start(shop, visit_id, body.key, body.ticks, body.by, now)
    return show_visit(shop, visit_id).engine_state


@router.post("/visits/{visit_id}/stops/ended", status_code=201, summary="End a stop", responses=REFUSALS)
def end_stop(shop: Shop, visit_id: Id, body: StopEndSent, now: Now) -> StopEndTold:
    """With its cause and its remedy. The figures that stopped the engine are then asked for again."""
    row_id = running.end_stop(shop, visit_id, body.key, body.cause, body.cause_text, body.remedy, body.by, now)
    with shop.reading() as session:
        ends = ended_stops(loader.load(session, visit_id))
    return next(StopEndTold.of(end, stops) for end, stops in ends if end.ident == row_id)
