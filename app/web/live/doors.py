"""Live values: the door at which programs push what instruments show, and what the pages are shown of it."""

import asyncio
import secrets
from collections.abc import AsyncIterator
from dataclasses import asdict
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import JSONResponse, Response, StreamingResponse
from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from app.live.channels import MOST_SOURCES, SHOWS, UNITS, Channel
from app.shop.commands.access.tablets import hashed
from app.shop.commands.engines import LONGEST
from app.shop.commands.live import feeds
from app.web.api.shapes import Key, Sent, Told
from app.web.context import ServerNow, Shop
from app.web.live.hub import EVERY, MOST_CHANNELS, Hub
from app.web.live.senders import SourceTold
from app.web.security.origin import at_this_computer, bearer
from app.wording.program.request_faults import RequestFault

LASTS = 25.0
"""After how long a stream ends on its own [s], before a request may take no longer; the browser asks again."""

Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_-]{0,31}$")]
Sample = Annotated[list[float], Field(min_length=2, max_length=2)]
Quantity = Literal["flow", "vacuum", "pressure", "speed", "temperature", "voltage", "opening"]


class Declared(Sent):
    """What one channel shows. `bore` is the one that it is fixed to; a probe that is carried has none."""

    quantity: Quantity
    unit: str = Field(min_length=1, max_length=20, examples=["kg/h"])
    bore: int | None = Field(default=None, ge=1, le=99)
    low: float = 0.0
    high: float = Field(default=1e6)
    rate: float = Field(default=200.0, gt=0, le=2000, description="Samples a second.")
    stale: float = Field(default=0.5, gt=0, le=60, description="Seconds without a sample after which it is stale.")
    frozen: float = Field(default=5.0, gt=0, le=600, description="Seconds of one number after which it is frozen.")
    lag: float = Field(default=0.2, ge=0, le=30, description="Seconds that the sensor takes to show 63 % of a step.")
    shows: str = Field(
        default="",
        description="What it is at besides bores: fills in what the visit asks for.",
        json_schema_extra={"enum": ["", *SHOWS]},
    )
    root: float = Field(
        default=0.0,
        ge=0,
        le=1e6,
        description="Flow at a pressure drop of 1, in the unit of the channel; 0 where no drop is sent.",
    )
    draws: int = Field(default=0, ge=0, le=99, description="Place in the firing order from 1; 0 for not said.")

    @model_validator(mode="after")
    def _unit_of_its_quantity(self) -> "Declared":
        """Holds the unit to what the quantity is measured in."""
        if self.unit not in UNITS[self.quantity]:
            raise PydanticCustomError("literal_error", "not a unit of it", {"expected": " ".join(UNITS[self.quantity])})
        if self.root and self.quantity != "flow":
            raise PydanticCustomError("literal_error", "not a flow", {"expected": "flow"})
        if self.shows and self.shows not in SHOWS:
            raise PydanticCustomError("literal_error", "not one of them", {"expected": " ".join(SHOWS)})
        if self.shows and SHOWS[self.shows] != self.quantity:
            raise PydanticCustomError("literal_error", "not of its quantity", {"expected": SHOWS[self.shows]})
        return self


class Push(Sent):
    """What instruments showed since the last push.

    Times are seconds of the sender's own clock that cannot be set; `epoch` names one run of it.
    """

    epoch: str = Field(min_length=1, max_length=64)
    sent: float
    rows: dict[Name, list[Sample]] = Field(
        default_factory=dict, description="By channel: time and value, oldest first.", examples=[{"b3": [[12.5, 6.52]]}]
    )
    channels: dict[Name, Declared] = Field(
        default_factory=dict,
        max_length=MOST_CHANNELS,
        description="Sent first in an epoch, and again for what an answer names in `declare`.",
    )
    sources: dict[Annotated[str, Field(max_length=60)], "SourceSent"] = Field(
        default_factory=dict, max_length=MOST_SOURCES, description="The sender's own sources, by name."
    )


class SourceSent(Sent):
    """One source of the sender: its last lines, and what is wrong with it."""

    kind: str = Field(max_length=40, description="How it is read.", examples=["serial"])
    lines: list[Annotated[str, Field(max_length=200)]] = Field(
        default_factory=list, max_length=20, description="The last raw lines, oldest first."
    )
    spoilt: int = Field(default=0, ge=0, description="How many lines fitted nothing.")
    restarts: int = Field(default=0, ge=0, description="How often it was begun again.")
    problem: str = Field(default="", max_length=200, description="What it last failed with.")
    loose: bool = Field(default=False, description="Whether a line that lost a digit may still fit its pattern.")
    baud: int = Field(default=0, ge=0, description="Of a serial port that is too slow for its lines; 0 otherwise.")
    baud_needed: int = Field(default=0, ge=0, description="What those lines need at least; 0 otherwise.")


class PushTaken(Told):
    """What the sender has to declare before its values count."""

    declare: list[str]


async def hub_of(request: Request) -> Hub:
    """The live values of this program."""
    hub: Hub = request.app.state.live
    return hub


Live = Annotated[Hub, Depends(hub_of)]

router = APIRouter(tags=["live values"])


@router.post("/live/feed", status_code=202)
async def push_live_values(request: Request, live: Live, sent: Push) -> PushTaken:
    """Send what instruments show, up to twenty times a second and 64 kB at once. Needs the token of a feed in
    `Authorization: Bearer`. Nothing is stored until a person takes a value."""
    channels = {name: Channel(**one.model_dump()) for name, one in sent.channels.items()}
    rows = {name: [(at, value) for at, value in samples] for name, samples in sent.rows.items()}
    sources = {
        name: SourceTold(**{**one.model_dump(), "lines": tuple(one.lines)}) for name, one in sent.sources.items()
    }
    feed = hashed(bearer(request.scope) or "")
    return PushTaken(declare=live.receive(feed, sent.epoch, sent.sent, rows, channels, sources))


class NewFeed(Sent):
    """A program that is to get access."""

    key: Key
    name: str = Field(min_length=1, max_length=LONGEST, examples=["Bench"])


class FeedLetIn(Told):
    """The feed's token, which is told this once: only its hash is stored."""

    token: str


@router.post("/live/feeds", status_code=201)
def let_feed_in(request: Request, shop: Shop, sent: NewFeed, now: ServerNow) -> FeedLetIn:
    """Let a program push live values. On the shop computer only."""
    if not at_this_computer(request.scope):
        raise HTTPException(403, RequestFault.SHOP_COMPUTER_ONLY)
    token = secrets.token_urlsafe(32)
    feeds.add(shop, sent.key, sent.name, token, now)
    request.app.state.feeders = feeds.feeders(shop)
    return FeedLetIn(token=token)


@router.get("/live/channels")
async def list_live_channels(live: Live) -> dict[str, dict[str, object]]:
    """Every channel by its name: how it was declared, its state, the rate found, and what was refused."""
    return live.channels()


class SourceShown(Told):
    """One source of a sending program."""

    kind: str = Field(description="How it is read, such as `serial`.")
    lines: list[str] = Field(description="The last raw lines, oldest first.")
    spoilt: int = Field(description="How many lines fitted nothing.")
    restarts: int = Field(description="How often it was begun again.")
    problem: str = Field(description="What it last failed with; empty for nothing.")
    loose: bool = Field(description="Whether a line that lost a digit may still fit its pattern.")
    baud: int = Field(description="Of a serial port that is too slow for its lines; 0 otherwise.")
    baud_needed: int = Field(description="What those lines need at least; 0 otherwise.")


@router.get("/live/sources")
async def list_live_sources(live: Live) -> dict[str, SourceShown]:
    """The sources of sending programs by name: their last raw lines, and what is wrong with them."""
    return {name: SourceShown.model_validate(asdict(one)) for name, one in live.sources().items()}


@router.get("/live/events", response_class=Response)
async def stream_live_values(live: Live) -> StreamingResponse:
    """Live values as server-sent events, five a second; the stream ends after 25 seconds and is asked for again."""
    return StreamingResponse(_events(live), media_type="text/event-stream")


async def _events(live: Hub) -> AsyncIterator[str]:
    clock = asyncio.get_running_loop()
    ends = clock.time() + LASTS
    yield "retry: 200\n\n"
    while clock.time() < ends:
        yield f"data: {live.event()}\n\n"
        await asyncio.sleep(EVERY)


now = APIRouter()


@now.get("/live/now")
async def live_now(live: Live) -> Response:
    """The newest event, for a browser that is handed no stream."""
    return Response(live.event(), media_type=JSONResponse.media_type)
