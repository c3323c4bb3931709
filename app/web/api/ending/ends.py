"""The end of a visit: the sign-off, or the word that it was opened by mistake."""

from typing import Annotated

from fastapi import APIRouter
from pydantic import Field

from app.shop.commands import visits
from app.shop.commands.engines import LONGEST
from app.shop.record import loader
from app.shop.record.entries import WaiverEntry
from app.shop.rejections import Rejection
from app.web.api.problems import REFUSALS, WAITS, pointing
from app.web.api.shapes import By, Id, Key, Line, Sent, Told
from app.web.context import Now, ServerNow, Shop

router = APIRouter(tags=["visits"])


class SignOffSent(Sent):
    """A named person's word that the engine is fit to leave."""

    key: Key
    name: Line = Field(description="The full name of the person responsible.", examples=["Foreman of the yard"])
    pin: str = Field("", max_length=12, description="That person's PIN, in a shop that lists people.")


class SignOffTold(Told):
    """Who answers for the engine, from when."""

    name: str = Field(description="The full name of the person responsible.", examples=["Foreman of the yard"])
    at: str = Field(description="ISO 8601, UTC.")


class MistakenSent(Sent):
    """Word that a visit should never have been opened; it is stored and shown."""

    key: Key
    why: Annotated[str, Field(max_length=LONGEST, description="What was mistaken.", examples=["Wrong engine"])]
    by: By


class MistakenTold(Told):
    """Why a visit should never have been opened, and who ended it."""

    why: str = Field(description="What was mistaken.", examples=["Wrong engine"])
    by: str
    at: str = Field(description="ISO 8601, UTC.")

    @staticmethod
    def of(row: WaiverEntry) -> "MistakenTold":
        """From its row."""
        return MistakenTold(why=row.why, by=row.by, at=row.at)


@router.post("/visits/{visit_id}/sign-off", status_code=201, summary="Sign a visit off", responses=REFUSALS)
def sign_off(shop: Shop, visit_id: Id, body: SignOffSent, now: ServerNow) -> SignOffTold:
    """End the visit by a named person's word. Refused while a phase has something missing."""
    with pointing({**WAITS, Rejection.PHASES_INCOMPLETE: ""}):
        visits.sign_off(shop, visit_id, body.key, body.name, now, body.pin)
    with shop.reading() as session:
        signed = loader.load(session, visit_id).sign_off
    assert signed is not None
    return SignOffTold(name=signed.name, at=signed.at)


@router.post("/visits/{visit_id}/mistaken", status_code=201, summary="End a mistaken visit", responses=REFUSALS)
def end_mistaken(shop: Shop, visit_id: Id, body: MistakenSent, now: Now) -> MistakenTold:
    """While nothing is recorded in it. It stays on record, and what compares with the last visit passes it over."""
    with pointing({**WAITS, Rejection.VISIT_BEGUN: ""}):
        visits.end_mistaken(shop, visit_id, body.key, body.why, body.by, now)
    with shop.reading() as session:
        ended = loader.load(session, visit_id).mistaken
    assert ended is not None
    return MistakenTold.of(ended)
