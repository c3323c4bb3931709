"""Hand-over: another shop's program sends an engine file, and is told what is on record here by now."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import Field

from app.shop.apart import DiedError, GivenUpError
from app.shop.commands.access.programs import Program
from app.shop.errors import ConflictError, RejectedError
from app.shop.exchange.handing.receiving import HandedIn, note, take_in
from app.shop.exchange.imports import carry_on, version_of
from app.shop.exchange.rows import HandingStore
from app.shop.exchange.sealing import known_keys
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.stopwatch import TookTooLongError
from app.web.api.problems import REFUSALS, named
from app.web.api.shapes import Told
from app.web.context import ServerNow, Shop
from app.web.errands import Errands
from app.web.security.programs import PROGRAM

router = APIRouter(tags=["hand-over"])

FILE: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "An engine file, as `GET /api/engines/{engine_id}/file` tells it.",
        "content": {"application/json": {"schema": {"type": "object"}}},
    }
}


class HandedInTold(Told):
    """What is on record of the engine by now."""

    engine_id: int = Field(description="The engine here.", examples=[3])
    keys: list[str] = Field(
        description="Keys of everything recorded of the engine here; every one of the file's is among them. The engine "
        "and its meters may have other keys here.",
        examples=[["7c9e6679-7425-40de-944b-e07fc1f90ae7"]],
    )
    unsealed: int = Field(
        description="How many entries of the file have no hash of their own: the sender could not prove their rows.",
        examples=[0],
    )
    asked: list[str] = Field(
        description="What a person here is asked: `facts` where the engine's facts differ. The rows are stored anyway.",
        examples=[["facts"]],
    )


async def _body(request: Request) -> bytes:
    return await request.body()


@router.post("/hand-over", status_code=200, summary="Hand over an engine", responses=REFUSALS, openapi_extra=FILE)
async def hand_in(request: Request, shop: Shop, now: ServerNow, sent: Annotated[bytes, Depends(_body)]) -> HandedInTold:
    """Store what of an engine file is not here yet, all of it or nothing: sent again, nothing is stored twice. An open
    visit belongs to the shop that it comes from until its sign-off; here it is shown, and writes to it are rejected
    with `visit-elsewhere`. Visits are of the site that the token is for, or else of the site that is named as the
    token is. While a person here has to say whether two engines of one serial number are the same, the
    file is rejected with `hand-over-asked`."""
    program: Program | None = getattr(request.state, PROGRAM, None)
    if program is None:
        raise RejectedError({"": because(Rejection.HAND_OVER_UNNAMED)})
    errands: Errands = request.app.state.errands
    with named(file=""):  # the body is the file, not a field of it
        return await run_in_threadpool(_taken_in, errands, shop, sent, HandingStore(program.name, now, program.site))


def _taken_in(errands: Errands, shop: Shop, sent: bytes, sender: HandingStore) -> HandedInTold:
    """One file at a time, in a process of its own as an import from a page."""
    version_of(sent)
    try:
        with errands.turn:
            came: HandedIn = carry_on(shop, errands.apart.talk(lambda: True, take_in, shop.where, sent, sender))
    except (TookTooLongError, GivenUpError):
        raise RejectedError({"": because(Rejection.FILE_TAKES_TOO_LONG)}) from None
    except DiedError:
        raise RejectedError({"": because(Rejection.FILE_NEEDS_MORE_MEMORY)}) from None
    note(shop, came, sender)
    if came.engine_id is None:
        raise ConflictError({"": because(Rejection.HAND_OVER_ASKED)})
    with shop.reading() as session:
        keys = sorted(known_keys(session, came.engine_id))
    asked = [one.name for one in came.questions]
    return HandedInTold(engine_id=came.engine_id, keys=keys, unsealed=came.unsealed, asked=asked)
