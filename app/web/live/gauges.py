"""What gauges show now, and the one who looks at them five times a second for the visit that they are at."""

import asyncio
import math
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from app.shop.commands.live import channel_checks, filling
from app.shop.errors import RejectedError
from app.shop.procedure.live.filling import Gauges, turns
from app.shop.record import loader
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database, ShopUnavailableError
from app.shop.store.idempotency import new_key
from app.web.live.doubts import Doubts, doubts_of
from app.web.live.senders import STANDS

if TYPE_CHECKING:
    from app.web.live.hub import Hub

EVERY = 0.2
"""Seconds between two looks."""

DOUBTS_EVERY = 1.0
"""Seconds between two looks at what speaks against the instruments (our judgement)."""

WAITS = 10.0
"""Seconds for which an item that was refused is left alone (our judgement)."""


class GaugeWatch:
    """Looks at the gauges for the visit that they are at, and records what is due.

    ``clock`` tells the time, ``ticks`` are seconds of a clock that cannot be set.
    """

    def __init__(
        self, shop: Database, hub: "Hub", clock: Callable[[], datetime], ticks: Callable[[], float] = time.monotonic
    ) -> None:
        self.shop, self.hub, self.clock, self.ticks = shop, hub, clock, ticks
        self.ran_since: float | None = None
        self.refused: dict[str, float] = {}
        self.stands_since: float | None = None
        self.compared = False
        self.doubts = Doubts()
        self.doubted_at = -math.inf

    def know(self) -> None:
        """Look which visit the instruments are at."""
        with self.shop.reading() as session:
            self.hub.filled = filling.filled(session)

    def look(self) -> None:
        """Record what is due, and tell the pages of a stop."""
        if self.shop.shared:
            self.know()  # another server may have ended it
        visit_id, now = self.hub.filled, self.ticks()
        gauges, feed = self.hub.gauges()
        if visit_id is None:
            self.hub.stopped = None
            self._doubt(gauges, None)
            return
        with self.shop.reading() as session:
            record = loader.load(session, visit_id)
        self._doubt(gauges, record)
        runs = gauges.speed is not None and turns(record, gauges)
        self.ran_since = (self.ran_since or now) if runs else None
        gauges = replace(gauges, ran_for=now - (self.ran_since or now))
        self._compare_open_sensors(gauges.speed, feed)
        waits = frozenset(item for item, at in self.refused.items() if now - at < WAITS)
        at = self.clock().isoformat(timespec="milliseconds")
        found = filling.fill(self.shop, record, gauges, feed, at, waits)
        self.refused |= {due.item: now for due in found.refused}
        self.hub.stopped = visit_id if found.stopped else None

    def _doubt(self, gauges: Gauges, record: VisitRecord | None) -> None:
        if self.ticks() - self.doubted_at < DOUBTS_EVERY:
            return
        self.doubted_at = self.ticks()
        self.doubts = doubts_of(self.hub, self.doubts, gauges, record)
        self.hub.doubted = self.doubts.said()

    def _compare_open_sensors(self, speed: float | None, feed: str) -> None:
        """Compare the sensors at bores once each time that the engine stands: all have the open air before them."""
        now = self.ticks()
        if speed is None or speed > channel_checks.TURNS:
            self.stands_since, self.compared = None, False
            return
        self.stands_since = self.stands_since or now
        if self.compared or now - self.stands_since < STANDS:
            return
        self.compared = True
        array, at = self.hub.array(), self.clock().isoformat(timespec="milliseconds")
        with suppress(RejectedError):  # hoses on a tee, or no sensors: a person may still do it
            channel_checks.compare(self.shop, new_key(), array, "ambient", filling.name_of(self.shop, feed), at)


@asynccontextmanager
async def watching(watch: GaugeWatch) -> AsyncIterator[None]:
    """The gauges are looked at meanwhile, for as long as anything is sent."""
    task = asyncio.create_task(_watch(watch))
    try:
        yield
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def _watch(watch: GaugeWatch) -> None:
    while True:
        if watch.hub.active:
            with suppress(RejectedError, ShopUnavailableError):
                await asyncio.get_running_loop().run_in_executor(None, watch.look)
        await asyncio.sleep(EVERY)
