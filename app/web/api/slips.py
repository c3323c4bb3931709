"""What slipped since the engine was last left: this visit as found against the last one as left."""

from typing import Any

from fastapi import APIRouter
from pydantic import Field

from app.shop.assessment.since_left import Change
from app.shop.errors import NotFoundError
from app.shop.queries import history_cache
from app.shop.queries.engine_history import changes
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.sync.engine.adjusters.kind import AdjusterKind
from app.sync.engine.adjusters.registry import kind_called, kinds
from app.sync.slips.slip_detection import Bore, Slip, SlipVerdict, Suspect
from app.web.api.problems import NOT_THERE
from app.web.api.shapes import Coupler, Id, Told, trade
from app.web.context import Shop
from app.web.presenters.history.history import unit_remembered
from app.web.presenters.history.slip_report import slip_report
from app.wording.office.slips import suspect_name

router = APIRouter(prefix="/visits/{visit_id}/slipped", tags=["visits"])


def _suspect_kind(kind: AdjusterKind) -> str:
    """What programs call a kind of adjuster that may have slipped: a coupler is one however it is set."""
    return "coupler" if kind.sits == "coupler" else kind.slug


def _suspect_kinds(schema: dict[str, Any]) -> None:
    schema["enum"] = [*dict.fromkeys(map(_suspect_kind, kinds())), "bore"]


class SuspectTold(Told):
    """What may have slipped. The fields that its kind does not have are null."""

    kind: str = Field(
        json_schema_extra=_suspect_kinds,
        description="`bypass` is the bypass screw of `bore`; `bore` is the bore itself: dirt, a leak or a loose plate.",
    )
    name: str
    bank: str | None
    coupler: Coupler | None
    bore: int | None

    @staticmethod
    def of(suspect: Suspect) -> "SuspectTold":
        """From what was worked out."""
        name = suspect_name(suspect)
        if isinstance(suspect, Bore):
            return SuspectTold(kind="bore", name=name, bank=None, coupler=None, bore=suspect.bore)
        kind = kind_called(suspect)
        place = kind.place(suspect)
        return SuspectTold(
            kind=_suspect_kind(kind),
            name=name,
            bank=place.bank or None,
            coupler=Coupler(near=place.near, far=place.far) if place.near and place.far else None,
            bore=place.near if kind.sits == "bore" else None,
        )


class NamedTold(Told):
    """What slipped, and by how much."""

    suspect: SuspectTold
    change_percent: float = Field(description="Of the readings that it moves; positive when it opened.")
    sd_percent: float = Field(description="Standard deviation of that.")

    @staticmethod
    def of(slip: Slip) -> "NamedTold":
        """From what was worked out."""
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
    verdict: SlipVerdict
    title: str
    sentences: list[str] = Field(description="The steps from the readings to the verdict, in words.")
    look: str = Field(description="What to look at first; empty for nothing.")
    any_slip: float | None = Field(description="Chance that anything slipped at all.")
    named: NamedTold | None = Field(description="Only where one suspect has earned it.")
    odds: list[OddsTold] = Field(description="The likeliest suspect first.")
    reread: list[int] = Field(description="Bores whose re-reading would settle most, best first.")
    bores: list[BoreChanged]
    intake_differs: bool = Field(
        description="Whether the intakes were in another state at the two visits: what all bores did together then "
        "says nothing."
    )


@router.get("", summary="What slipped since last time", responses=NOT_THERE)
def visit_slipped(shop: Shop, visit_id: Id) -> SlippedTold:
    """Not there before the visit's first closed round, and on an engine's first visit."""
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        memory = history_cache.of_engine(session, record.engine.ident)
    change = changes(memory.visits).get(visit_id)
    if change is None:
        raise NotFoundError(because(Rejection.NO_EARLIER_VISIT))
    return _told(change, record.units.metric)


def _told(change: Change, metric: bool) -> SlippedTold:
    said, assessment = slip_report(change, unit_remembered(change.after), metric), change.assessment
    likeliest = sorted(assessment.odds.items(), key=lambda pair: -pair[1]) if assessment else []
    return SlippedTold(
        since_visit_id=change.before.visit_id,
        verdict=assessment.verdict if assessment else SlipVerdict.UNKNOWN,
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
        intake_differs=change.other_intake,
    )
