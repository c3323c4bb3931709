"""What slipped since the engine was last left: this visit as found against the last one as left."""

from typing import Literal

from fastapi import APIRouter
from pydantic import Field

from app.shop.errors import NotFoundError
from app.shop.queries import history_cache
from app.shop.queries.engine_history import Change, changes
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.sync.engine.layout import Bypass, Link, StopScrew
from app.sync.engine.layout import Coupler as CouplerJoint
from app.sync.slips.slip_detection import Bore, Slip, Suspect
from app.web.api.problems import NOT_THERE
from app.web.api.shapes import Coupler, Id, Told, trade
from app.web.context import Shop
from app.web.presenters.history.history import unit_remembered
from app.web.presenters.history.slip_report import slip_report, suspect_name

router = APIRouter(prefix="/visits/{visit_id}/slipped", tags=["visits"])


class SuspectTold(Told):
    """What may have slipped. The fields that its kind does not have are null."""

    kind: Literal["stop", "coupler", "link", "bypass", "bore"] = Field(
        description="`bypass` is the bypass screw of `bore`; `bore` is the bore itself: dirt, a leak or a loose plate."
    )
    name: str
    bank: str | None
    coupler: Coupler | None
    bore: int | None

    @staticmethod
    def of(suspect: Suspect) -> "SuspectTold":
        """From the brain's."""
        kinds: dict[type, Literal["stop", "coupler", "link", "bypass", "bore"]] = {
            StopScrew: "stop",
            CouplerJoint: "coupler",
            Link: "link",
            Bypass: "bypass",
            Bore: "bore",
        }
        joint = suspect if isinstance(suspect, CouplerJoint) else None
        return SuspectTold(
            kind=kinds[type(suspect)],
            name=suspect_name(suspect),
            bank=suspect.bank if isinstance(suspect, StopScrew | Link) else None,
            coupler=Coupler(near=joint.near, far=joint.far) if joint else None,
            bore=suspect.bore if isinstance(suspect, Bore | Bypass) else None,
        )


class NamedTold(Told):
    """What slipped, and by how much."""

    suspect: SuspectTold
    change_percent: float = Field(description="Of the readings that it moves; positive when it opened.")
    sd_percent: float = Field(description="Standard deviation of that.")

    @staticmethod
    def of(slip: Slip) -> "NamedTold":
        """From the brain's."""
        return NamedTold(
            suspect=SuspectTold.of(slip.suspect),
            change_percent=trade(slip.change, 0.01),
            sd_percent=trade(slip.sd, 0.01),
        )


class OddsTold(Told):
    """One suspect and the chance that it is among what slipped."""

    suspect: SuspectTold
    odds: float


class BoreChanged(Told):
    """One bore from as left to as found."""

    bore: int
    change_percent: float = Field(description="100 times the natural logarithm of found by left.")
    misread_odds: float = Field(description="Chance that one of its values was misread.")


class SlippedTold(Told):
    """What slipped, how sure that is, and what to read again."""

    since_visit_id: int = Field(description="The visit at which the engine was last left.")
    verdict: Literal["unknown", "quiet", "doubtful", "slipped"]
    title: str
    sentences: list[str] = Field(description="The steps from the readings to the verdict, in words.")
    look: str = Field(description="What to look at first; empty for nothing.")
    any_slip: float | None = Field(description="Chance that anything slipped at all.")
    named: NamedTold | None = Field(description="Only where one suspect has earned it.")
    odds: list[OddsTold] = Field(description="The likeliest suspect first.")
    reread: list[int] = Field(description="Bores whose re-reading would settle most, best first.")
    bores: list[BoreChanged]


@router.get("", summary="What slipped since last time", responses=NOT_THERE)
def visit_slipped(shop: Shop, visit_id: Id) -> SlippedTold:
    """Not there before the visit's first closed round, and on an engine's first visit."""
    with shop.reading() as session:
        memory = history_cache.of_engine(session, loader.load(session, visit_id).engine.ident)
    change = changes(memory.visits).get(visit_id)
    if change is None:
        raise NotFoundError(because(Rejection.NO_EARLIER_VISIT))
    return _told(change)


def _told(change: Change) -> SlippedTold:
    said, assessment = slip_report(change, unit_remembered(change.after)), change.assessment
    likeliest = sorted(assessment.odds.items(), key=lambda pair: -pair[1]) if assessment else []
    return SlippedTold(
        since_visit_id=change.before.visit_id,
        verdict=assessment.verdict if assessment else "unknown",
        title=said.title,
        sentences=list(said.steps),
        look=said.look,
        any_slip=trade(assessment.any_slip, 1) if assessment else None,
        named=NamedTold.of(assessment.named) if assessment and assessment.named else None,
        odds=[OddsTold(suspect=SuspectTold.of(suspect), odds=trade(odds, 1)) for suspect, odds in likeliest],
        reread=list(assessment.reread) if assessment else [],
        bores=[
            BoreChanged(
                bore=bore, change_percent=trade(moved, 0.01), misread_odds=trade(assessment.misread.get(bore, 0.0), 1)
            )
            for bore, moved in assessment.changes.items()
        ]
        if assessment
        else [],
    )
