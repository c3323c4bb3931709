"""What changed since a point, asked for page by page or told as it happens."""

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import suppress
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Header, HTTPException, Query, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import StreamingResponse
from pydantic import Field

from app.shop.queries.changes import ChangedRow, changes_after, newest_change
from app.shop.reasons import because
from app.shop.store.database import Database, ShopUnavailableError
from app.web.api.shapes import LARGEST_ID, Told
from app.web.context import Shop
from app.wording.program.request_faults import RequestFault

router = APIRouter(tags=["changes"])

CHANGES, EVENTS = "/api/changes", "/api/events"
"""Where both are."""

MOST = 500
"""The most changes that one answer holds."""

MOST_STREAMS = 50
STREAM_SECONDS = 25.0
"""How long a stream lasts before it ends itself: less than any request may take."""

LOOK_SECONDS, QUIET_SECONDS = 0.2, 10.0
"""How often a stream looks for a write, and how long it is silent at most [s]."""

Kind = Literal[
    "engine",
    "fitting",
    "practice",
    "visit",
    "round",
    "reading",
    "opening-speed",
    "move",
    "check",
    "override",
    "sign-off",
    "correction",
    "engine-event",
    "stop-end",
    "hours-correction",
    "finding",
    "elsewhere",
    "filling",
    "look",
    "channel-check",
    "meter",
    "study",
    "study-reading",
    "meter-due",
    "settings",
]


class ChangeTold(Told):
    """A row that was added, or an engine whose facts were changed. What it says is asked for where it belongs."""

    seq: int = Field(description="Its place in the order of all changes.", examples=[1841])
    kind: Kind = Field(description="What was added; `engine` also where its facts were changed.", examples=["reading"])
    id: int = Field(description="The `id` of what was added.", examples=[912])
    engine_id: int | None = Field(description="The engine it belongs to; null for what is the shop's.", examples=[3])
    visit_id: int | None = Field(description="The visit it belongs to; null for none.", examples=[17])
    program: str | None = Field(
        description="The program whose token it was sent with; null for a page, for no token, and for the facts of an "
        "engine, which may come from several.",
        examples=["Bench 2"],
    )

    @staticmethod
    def of(row: ChangedRow) -> "ChangeTold":
        """From its row."""
        kind = "settings" if row.table == "setup" else row.table.replace("_", "-")
        return ChangeTold.model_validate(
            {
                "seq": row.seq,
                "kind": kind,
                "id": row.row_id,
                "engine_id": row.engine_id,
                "visit_id": row.visit_id,
                "program": row.program or None,
            }
        )


class ChangesTold(Told):
    """Changes in the order in which they were stored."""

    changes: list[ChangeTold]
    newest: int = Field(
        description="The `seq` of the newest change there is; 0 for none. Below what was seen last it says that an "
        "older backup was restored: read everything again from 0.",
        examples=[1841],
    )
    more: bool = Field(description="Whether more come after the last of these.")


After = Annotated[int, Query(ge=0, le=LARGEST_ID, description="The `seq` that was seen last; 0 for everything.")]


@router.get("/changes", summary="What changed since")
def list_changes(
    shop: Shop, after: After = 0, most: Annotated[int, Query(ge=1, le=MOST, description="At most so many.")] = 100
) -> ChangesTold:
    """Every change after `after`, the oldest first. Ask again with the last `seq` of the answer; each comes once at
    least, and none is left out. People, PINs, tablets and tokens are not told of."""
    with shop.reading() as session:
        newest = newest_change(session)
        found = changes_after(session, after, most)
    told = [ChangeTold.of(row) for row in found]
    return ChangesTold(changes=told, newest=newest, more=bool(told) and told[-1].seq < newest)


EVENT: dict[str, Any] = {
    "type": "object",
    "description": "One event of the stream.",
    "properties": {
        "event": {"type": "string", "enum": ["change", "restored"], "examples": ["change"]},
        "id": {"type": "string", "description": "To be sent as `Last-Event-ID`.", "examples": ["1841"]},
        "data": {
            "type": "string",
            "description": "JSON: a `ChangeTold`, or for `restored` an object with the `newest` `seq` there is.",
        },
    },
    "required": ["event", "id", "data"],
}


@router.get(
    "/events",
    summary="A stream of what changes",
    response_class=StreamingResponse,
    responses={200: {"description": "The stream.", "content": {"text/event-stream": {"schema": EVENT}}}},
)
async def stream_changes(
    shop: Shop,
    request: Request,
    after: Annotated[
        int | None,
        Query(ge=0, le=LARGEST_ID, description="The `seq` that was seen last; left out, what changes from now on."),
    ] = None,
    last_event_id: Annotated[
        int | None, Header(ge=0, le=LARGEST_ID, description="The same, as a stream sends it that is taken up again.")
    ] = None,
) -> StreamingResponse:
    """Server-sent events. Each `change` has the `seq` as its id, and as its data the change as `/api/changes` lists it.
    The stream begins with the id that it goes on from, and ends within half a minute; taken up again with
    `Last-Event-ID` it leaves nothing out. Where an older backup was restored since that id, it sends a `restored` with
    the `newest` there is, and then everything from the first change on."""
    if request.app.state.streams >= MOST_STREAMS:
        fault = because(RequestFault.TOO_MANY_STREAMS, most=MOST_STREAMS)
        raise HTTPException(503, fault, {"Retry-After": "5"})
    seen = last_event_id if last_event_id is not None else after
    newest = await run_in_threadpool(_newest, shop)
    events = _events(shop, request, newest if seen is None else seen, newest)
    return StreamingResponse(_counted(request, events), media_type="text/event-stream")


async def _counted(request: Request, events: AsyncIterator[str]) -> AsyncIterator[str]:
    """A stream that is counted. It ends where the records are away: taken up again it leaves nothing out."""
    request.app.state.streams += 1
    try:
        with suppress(ShopUnavailableError):
            async for event in events:
                yield event
    finally:
        request.app.state.streams -= 1


async def _events(shop: Database, request: Request, seen: int, newest: int) -> AsyncIterator[str]:
    """The text of a stream that begins after ``seen``, where ``newest`` was the newest change as it was asked for."""
    begun = told = time.monotonic()
    looked_at = -1
    if seen > newest:  # the ids after it are given out again, to other changes
        seen = 0
        yield f'id: 0\nevent: restored\ndata: {{"newest":{newest}}}\n\n'
    yield f"id: {seen}\nretry: 500\n\n"
    while (now := time.monotonic()) - begun < STREAM_SECONDS and not request.app.state.stopping():
        writes = await run_in_threadpool(shop.written) if shop.shared else shop.writes
        found = await run_in_threadpool(_after, shop, seen) if writes != looked_at else []
        for change in found:
            seen = change.seq
            yield f"id: {seen}\nevent: change\ndata: {change.model_dump_json()}\n\n"
        if len(found) < MOST:
            looked_at = writes
            await asyncio.sleep(LOOK_SECONDS)
        if found:
            told = now
        elif now - told > QUIET_SECONDS:
            told = now
            yield ": nothing new\n\n"


def _newest(shop: Database) -> int:
    with shop.reading() as session:
        return newest_change(session)


def _after(shop: Database, seen: int) -> list[ChangeTold]:
    with shop.reading() as session:
        return [ChangeTold.of(row) for row in changes_after(session, seen, MOST)]
