"""A whole visit read back, as it was recorded, and the time that it took."""

from fastapi import APIRouter
from pydantic import Field

from app.shop.commands import hours
from app.shop.commands.hours import MOST_MINUTES, NewTime
from app.shop.procedure.limits import ended_stops
from app.shop.queries.assessed import assessed
from app.shop.queries.hours import JobTime, LikeJobs, PhaseTime, of_job
from app.shop.record import loader
from app.sync.engine.units import MINUTE
from app.web.api.corrections import CorrectionTold
from app.web.api.fittings import FittingTold
from app.web.api.moves import MoveTold
from app.web.api.phases import CheckTold
from app.web.api.problems import NOT_THERE, REFUSALS
from app.web.api.rounds import RoundTold
from app.web.api.shapes import By, Id, Key, Line, Sent, Slug, Told
from app.web.api.visits import EngineEventTold, OverrideTold, StopEndTold, VisitTold
from app.web.context import Now, Shop

router = APIRouter(prefix="/visits/{visit_id}", tags=["visits"])


class StoryTold(Told):
    """Everything recorded of a visit. Nothing is ever changed or deleted: what was corrected is here too."""

    visit: VisitTold
    fitting: FittingTold = Field(description="What was fitted then.")
    rounds: list[RoundTold]
    moves: list[MoveTold]
    checks: list[CheckTold]
    overrides: list[OverrideTold]
    corrections: list[CorrectionTold] = Field(description="What was corrected after the sign-off.")
    engine_events: list[EngineEventTold] = Field(description="When the engine was started and stopped.")
    stop_ends: list[StopEndTold] = Field(description="What ended stops for figures beyond a limit.")
    as_found: int | None = Field(description="The number of the first idle round before any move.")
    as_left: int | None = Field(description="The number of the last idle round with no move after it.")


class TimeSent(Sent):
    """What a phase took in truth, and why its record says otherwise."""

    key: Key
    phase: Slug
    minutes: float = Field(ge=0, le=MOST_MINUTES)
    why: Line = Field(examples=["Plates were set at the bench, before the visit was opened"])
    by: By


class PhaseTimeTold(Told):
    """The time of one phase."""

    phase: Slug
    recorded_minutes: float = Field(description="Between its entries; a longer silence is no work and is left out.")
    minutes: float = Field(description="The minutes that count: as corrected where they were, else as recorded.")
    corrected_why: str | None = Field(description="Why the record says otherwise; null where nothing was corrected.")
    corrected_by: str | None
    corrected_at: str | None = Field(description="ISO 8601, UTC.")

    @staticmethod
    def of(one: PhaseTime) -> "PhaseTimeTold":
        """From what the record tells and its newest correction."""
        row = one.correction
        return PhaseTimeTold(
            phase=one.phase,  # type: ignore[arg-type]
            recorded_minutes=round(one.recorded / MINUTE, 1),
            minutes=round(one.spent / MINUTE, 1),
            corrected_why=row.why if row else None,
            corrected_by=row.by if row else None,
            corrected_at=row.at if row else None,
        )


class LikeJobsTold(Told):
    """What jobs took that are signed off here, on engines of as many bores in as many banks."""

    count: int
    median_minutes: float | None = Field(description="Null where there are too few to say.")
    least_minutes: float | None
    most_minutes: float | None

    @staticmethod
    def of(like: LikeJobs) -> "LikeJobsTold":
        """From what the store works out."""
        median, least, most = (
            None if time is None else round(time / MINUTE, 1) for time in (like.median, like.least, like.most)
        )
        return LikeJobsTold(count=like.count, median_minutes=median, least_minutes=least, most_minutes=most)


class HoursTold(Told):
    """The time of a job: of the job, not of a person."""

    phases: list[PhaseTimeTold] = Field(description="Those with an entry or a correction, in their order.")
    total_minutes: float
    gap_minutes: float = Field(description="A silence between two entries from which on it is no work.")
    like: LikeJobsTold

    @staticmethod
    def of(job: JobTime, gap: float) -> "HoursTold":
        """From what the store works out; ``gap`` [s]."""
        return HoursTold(
            phases=[PhaseTimeTold.of(one) for one in job.phases],
            total_minutes=round(job.total / MINUTE, 1),
            gap_minutes=gap / MINUTE,
            like=LikeJobsTold.of(job.like),
        )


@router.get("/hours", summary="The time of a job", responses=NOT_THERE)
def job_time(shop: Shop, visit_id: Id) -> HoursTold:
    """How long it took at the engine, phase by phase, beside what like jobs took."""
    with shop.reading() as session:
        gap = loader.load(session, visit_id).settings.gap
        return HoursTold.of(of_job(session, visit_id, gap), gap)


@router.post("/hours", status_code=201, summary="Correct the time of a phase", responses=REFUSALS)
def correct_time(shop: Shop, visit_id: Id, body: TimeSent, now: Now) -> HoursTold:
    """What was recorded stays on record; the newest correction of a phase counts."""
    hours.correct(shop, visit_id, body.key, NewTime(body.phase, body.minutes, body.why, body.by), now)
    return job_time(shop, visit_id)


@router.get("/story", summary="Everything recorded of a visit", responses=NOT_THERE)
def visit_story(shop: Shop, visit_id: Id) -> StoryTold:
    """Rounds, moves, checks, waivers and the sign-off, in the order in which they were recorded."""
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    known = assessment.record
    found, left = known.as_found(), known.as_left()
    return StoryTold(
        visit=VisitTold.of(assessment),
        fitting=FittingTold.of(known.fitting),
        rounds=[RoundTold.of(assessment, one) for one in known.rounds],
        moves=[MoveTold.of(row, known) for row in known.all_moves],
        checks=[CheckTold.of(row, known) for row in known.all_checks],
        overrides=[OverrideTold.of(row) for row in known.overrides],
        corrections=[CorrectionTold.of(row, known) for row in known.corrections],
        engine_events=[EngineEventTold.of(row) for row in known.engine_events],
        stop_ends=[StopEndTold.of(end, stops) for end, stops in ended_stops(known)],
        as_found=found.row.number if found else None,
        as_left=left.row.number if left else None,
    )
