"""Corrections after the sign-off: a mistyped figure is corrected, as a new issue of the sheet."""

from typing import Annotated

from fastapi import APIRouter
from pydantic import Field

from app.shop.commands import corrections
from app.shop.commands.corrections import NewCorrection, corrected
from app.shop.procedure.parts import parts_of
from app.shop.record import loader
from app.shop.record.entries import CorrectionEntry
from app.shop.record.visit_record import VisitRecord
from app.web.api.problems import REFUSALS, named
from app.web.api.shapes import By, Id, Key, Line, Sent, Told, example
from app.web.context import Now, Shop
from app.wording.office.paper import what_was_corrected

router = APIRouter(prefix="/visits/{visit_id}/corrections", tags=["visits"])

RowId = Annotated[int, Field(ge=1, description="The `id` of the row that was wrong, as the story tells it.")]


class ReadingRight(Sent):
    """What a reading should have been."""

    id: RowId
    value: float = Field(description="In the unit of the visit's meter.", allow_inf_nan=False)


class CheckRight(Sent):
    """What a figure of the checks should have been."""

    id: RowId
    number: float = Field(description="In the item's own unit.", allow_inf_nan=False)


class CorrectionSent(Sent):
    """What was recorded wrong, and what is right; all of it is stored or nothing."""

    key: Key
    why: Line = Field(description="What went wrong; it is printed on the new sheet.")
    by: By
    readings: list[ReadingRight] = Field(default=[], max_length=500)
    checks: list[CheckRight] = Field(default=[], max_length=500)
    model_config = example(
        key="2d5f3a60-0b8e-4c3b-8a5d-5e7f9a1b3c07",
        why="Two digits changed places",
        by="KM",
        readings=[{"id": 3, "value": 6.25}],
    )


class CorrectedTold(Told):
    """One figure that was corrected."""

    what: str
    was: float | None
    now: float | None
    unit: str = Field(description="Of both figures.")


class CorrectionTold(Told):
    """One correction."""

    issue: int = Field(description="The issue of the sheet that it made; the first sheet is issue 1.")
    why: str
    by: str
    at: str = Field(description="ISO 8601, UTC.")
    corrected: list[CorrectedTold]

    @staticmethod
    def of(row: CorrectionEntry, record: VisitRecord) -> "CorrectionTold":
        """From its row and what came before it."""
        parts = parts_of(record.layout)
        return CorrectionTold(
            issue=row.number,
            why=row.why,
            by=row.by,
            at=row.at,
            corrected=[
                CorrectedTold(what=what_was_corrected(one, parts), was=one.was, now=one.now, unit=one.unit)
                for one in corrected(record, row)
            ],
        )


@router.post("", status_code=201, summary="Correct a visit that was signed off", responses=REFUSALS)
def correct_visit(shop: Shop, visit_id: Id, body: CorrectionSent, now: Now) -> CorrectionTold:
    """Put figures right with a reason. Nothing is read or moved in a visit that was signed off, and what was recorded
    stays: the sheet gets a new issue that says what it replaces."""
    new = NewCorrection(
        body.why,
        body.by,
        {one.id: one.value for one in body.readings},
        {one.id: one.number for one in body.checks},
    )
    places = {f"reading-{one.id}": f"readings/{n}/value" for n, one in enumerate(body.readings)}
    places |= {f"check-{one.id}": f"checks/{n}/number" for n, one in enumerate(body.checks)}
    with named(**places):
        issue = corrections.correct(shop, visit_id, body.key, new, now)
    with shop.reading() as session:
        record = loader.load(session, visit_id)
    return CorrectionTold.of(next(row for row in record.corrections if row.number == issue), record)
