"""A whole visit read back, as it was recorded."""

from fastapi import APIRouter
from pydantic import Field

from app.shop.procedure.limits import ended_stops
from app.shop.queries.assessed import assessed
from app.web.api.corrections import CorrectionTold
from app.web.api.fittings import FittingTold
from app.web.api.moves import MoveTold
from app.web.api.phases import CheckTold
from app.web.api.problems import NOT_THERE
from app.web.api.readings import RoundTold
from app.web.api.shapes import Id, Told
from app.web.api.visits import EngineEventTold, OverrideTold, StopEndTold, VisitTold
from app.web.context import Shop

router = APIRouter(prefix="/visits/{visit_id}/story", tags=["visits"])


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


@router.get("", summary="Everything recorded of a visit", responses=NOT_THERE)
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
