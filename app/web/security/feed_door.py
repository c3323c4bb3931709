"""The door for live values: a token of its own, asked for from the shop computer too, and no more than so often."""

import secrets
import time
from collections.abc import Callable

from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.security.middleware import refusal
from app.web.security.origin import FEED, bearer
from app.web.security.programs import BEARER
from app.web.security.rate import Rate
from app.wording.program.request_faults import RequestFault

MOST_A_SECOND = 20
"""Pushes that one feed may send in a second."""


def is_own(token: str, own: str) -> bool:
    """Whether a token is that of the instruments which the program reads itself; no token is."""
    return bool(own) and secrets.compare_digest(token.encode(), own.encode())


class FeedDoor:
    """Answers at ``FEED`` only who carries the token of a feed, and only ``MOST_A_SECOND`` times a second.

    The cookie of a tablet, and being the shop computer, open nothing here; the token opens nothing else.
    """

    def __init__(
        self, app: ASGIApp, admits: Callable[[str], bool], ticks: Callable[[], float] = time.monotonic
    ) -> None:
        self.app = app
        self.admits = admits
        self.rate = Rate(MOST_A_SECOND, ticks)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"] != FEED:
            await self.app(scope, receive, send)
            return
        token = bearer(scope) or ""
        if not self.admits(token):
            answer = refusal(scope, 401, RequestFault.NO_FEED)
            answer.headers["WWW-Authenticate"] = BEARER
            await answer(scope, receive, send)
        elif not self.rate.takes(token):
            await refusal(scope, 429, RequestFault.TOO_OFTEN, most=MOST_A_SECOND)(scope, receive, send)
        else:
            await self.app(scope, receive, send)
