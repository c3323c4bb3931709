"""Who has access, read anew where another server of the same records may have changed it."""

import re
import threading
from contextlib import suppress

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.shop.commands.access import programs, sites, tablets
from app.shop.commands.access.programs import Programs
from app.shop.commands.access.tablets import Admission
from app.shop.commands.live import feeds
from app.shop.commands.live.feeds import Feeders
from app.shop.store.both.records import Statement
from app.shop.store.both.unasked import UNASKED, AccessChangedError, Unasked
from app.shop.store.database import Database, ShopUnavailableError, raw_connection

NEWEST = Statement(
    """SELECT coalesce((SELECT max(id) FROM tablet), 0), coalesce((SELECT max(id) FROM program), 0),
coalesce((SELECT max(id) FROM feed), 0), coalesce((SELECT max(id) FROM site), 0),
coalesce((SELECT max(id) FROM room), 0), coalesce((SELECT max(id) FROM setup), 0)"""
)
"""The newest row of each table that gives or ends access, or says from where it is asked. Rows are only ever added."""

READING = re.compile(r"/visits/[0-9]+/[a-z-]+/readings")
"""Where a reading is sent by a tablet. Whatever is answered there was read or stored first."""


class KnownAccess:
    """Who has access by the records, in the state of the application, where its guards ask."""

    def __init__(self, app: FastAPI, shop: Database) -> None:
        self._state = app.state
        self._shop = shop
        self._turn = threading.Lock()
        self._newest: tuple[int, ...] = (-1,) * 6

    def unasked(self) -> Unasked:
        """What a request is given access by that is to ask the records itself."""
        known = self._newest

        def ask() -> None:
            with suppress(ShopUnavailableError):
                self.renew()
            if self._newest != known:
                raise AccessChangedError

        return Unasked({NEWEST: known}, ask)

    def renew(self) -> None:
        """Read it anew where it changed. Raises ShopUnavailableError."""
        if tuple(self._shop.answer(NEWEST)) == self._newest:
            return
        with self._shop.reading() as session:
            newest = tuple(raw_connection(session).execute(*NEWEST).fetchone())
            admission = Admission.of(tablets.let_in(session))
            known = Programs.of(programs.let_in(session))
            feeders = Feeders.of(feeds.let_in(session))
            places = sites.sites_of(session)
        with self._turn:
            if sum(newest) > sum(self._newest):  # else another request has read later rows meanwhile
                self._state.admission, self._state.programs, self._state.feeders = admission, known, feeders
                self._state.sites = places
                self._state.live.forget(feeders.tokens.__contains__)
                self._newest = newest


class AccessRenewed:
    """Before a request is judged, what is known of who has access is brought up to date.

    Where the records cannot be read, it is judged by what was known: no page of the shop can be drawn then either. A
    reading, which is to be stored at once, is judged by what was known too, and asks with the first thing that it
    wants of the records; where that has changed it is judged again.
    """

    def __init__(self, app: ASGIApp, access: KnownAccess, spared: tuple[str, ...]) -> None:
        self.app = app
        self.access = access
        self.spared = spared

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and not scope["path"].startswith(self.spared):
            if scope["method"] == "POST" and READING.fullmatch(scope["path"]):
                await self._asked_later(scope, receive, send)
                return
            with suppress(ShopUnavailableError):
                await run_in_threadpool(self.access.renew)
        await self.app(scope, receive, send)

    async def _asked_later(self, scope: Scope, receive: Receive, send: Send) -> None:
        taken: list[Message] = []
        again: Scope = {**scope, "state": {**scope.get("state", {})}}

        async def taking() -> Message:
            taken.append(await receive())
            return taken[-1]

        async def as_taken() -> Message:
            return taken.pop(0) if taken else await receive()

        unasked = UNASKED.set(self.access.unasked())
        try:
            await self.app(scope, taking, send)
            return
        except AccessChangedError:
            pass
        finally:
            UNASKED.reset(unasked)
        await self.app(again, as_taken, send)
