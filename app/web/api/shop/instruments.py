"""Whether the instruments are at the engine of a visit, and fill in what they show."""

from fastapi import APIRouter, Request
from pydantic import Field

from app.shop.commands.live import filling
from app.shop.record import loader
from app.web.api.problems import NOT_THERE, REFUSALS
from app.web.api.shapes import By, Id, Key, Sent, Told, example
from app.web.context import ServerNow, Shop

router = APIRouter(prefix="/visits/{visit_id}/instruments", tags=["live values"])


class AtEngineSent(Sent):
    """Word that the instruments are at this engine, or no longer."""

    key: Key
    here: bool = Field(description="Whether they are; they fill one visit at a time, the one named last.")
    by: By
    model_config = example(key="b7a6c5d4-3e2f-4a1b-9c8d-7e6f5a4b3c13", here=True, by="KM")


class AtEngineTold(Told):
    """Whether the instruments fill this visit."""

    here: bool = Field(description="Whether gauges are recorded and readings filled in from live values.")


@router.get("", summary="Whether the instruments fill a visit", responses=NOT_THERE)
def show_instruments(shop: Shop, visit_id: Id) -> AtEngineTold:
    """They fill at most one visit at a time."""
    with shop.reading() as session:
        loader.load(session, visit_id)
        return AtEngineTold(here=filling.filled(session) == visit_id)


@router.post("", status_code=201, summary="Say where the instruments are", responses=REFUSALS)
def say_instruments(request: Request, shop: Shop, visit_id: Id, body: AtEngineSent, now: ServerNow) -> AtEngineTold:
    """While they are at this engine, what the visit asks for is recorded as its gauges show it."""
    filling.say(shop, visit_id, body.key, body.by, now, active=body.here)
    request.app.state.gauges.know()
    return show_instruments(shop, visit_id)
