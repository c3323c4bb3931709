"""The door for live values: a token of its own, asked for from the shop computer too, and no more than so often."""

import secrets
import time
from collections import deque
from collections.abc import Callable

from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.security.middleware import refusal
from app.web.security.origin import FEED, bearer
from app.wording.program.request_faults import RequestFault

MOST_A_SECOND = 20
"""Pushes that one feed may send in a second."""

MOST_TOKENS = 100
"""Tokens of which the last pushes are known; only those with access are."""


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
        self.ticks = ticks
        self.pushed: dict[str, deque[float]] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"] != FEED:
            await self.app(scope, receive, send)
            return
        token = bearer(scope) or ""
        if not self.admits(token):
            await refusal(scope, 401, RequestFault.NO_FEED)(scope, receive, send)
        elif not self.may(token):
            await refusal(scope, 429, RequestFault.TOO_OFTEN, most=MOST_A_SECOND)(scope, receive, send)
        else:
            await self.app(scope, receive, send)

    def may(self, token: str) -> bool:
        """Whether a feed has not sent too often within the last second."""
        now = self.ticks()
        if len(self.pushed) > MOST_TOKENS:
            self.pushed.clear()
        times = self.pushed.setdefault(token, deque(maxlen=MOST_A_SECOND))
        if len(times) == MOST_A_SECOND and now - times[0] < 1.0:
            return False
        times.append(now)
        return True
