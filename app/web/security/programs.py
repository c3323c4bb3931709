"""Programs of others: known by a token, each held to its rate."""

import time
from collections.abc import Callable

from starlette.types import ASGIApp, Receive, Scope, Send

from app.shop.at_site import ASKING, Asker
from app.shop.commands.access.programs import THROUGH, Program
from app.shop.reasons import because
from app.web.error_responses import for_programs, not_taken
from app.web.security.origin import FEED, at_this_computer, bearer
from app.web.security.rate import Rate
from app.wording.program.request_faults import RequestFault

PROGRAM = "program"
"""Where the state of a request has the program that sent it."""

BEARER = 'Bearer realm="evenbore"'
"""How a program proves itself (RFC 6750, section 3)."""

MOST_A_SECOND = 20


class KnownProgram:
    """A request that carries a token is that program's, or is refused: wherever it comes from, a wrong one is not
    ignored. Over the network a token is taken by https only."""

    def __init__(
        self,
        app: ASGIApp,
        programs: Callable[[str], Program | None],
        asks: Callable[[Program], Asker | None] = lambda program: None,
        ticks: Callable[[], float] = time.monotonic,
    ) -> None:
        self.app = app
        self.programs = programs
        self.asks = asks
        self.rate = Rate(MOST_A_SECOND, ticks)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        token = bearer(scope) if scope["type"] == "http" and for_programs(scope) and scope["path"] != FEED else None
        if token is None:
            await self.app(scope, receive, send)
            return
        if scope["scheme"] != "https" and not at_this_computer(scope):
            await not_taken(403, because(RequestFault.HTTPS_ONLY))(scope, receive, send)
            return
        program = self.programs(token)
        if program is None:
            headers = {"WWW-Authenticate": f'{BEARER}, error="invalid_token"'}
            await not_taken(401, because(RequestFault.TOKEN_UNKNOWN), headers)(scope, receive, send)
            return
        if not self.rate.takes(program.ident):
            fault = because(RequestFault.TOO_MANY_REQUESTS, most=MOST_A_SECOND)
            await not_taken(429, fault, {"Retry-After": "1"})(scope, receive, send)
            return
        scope.setdefault("state", {})[PROGRAM] = program
        through, asking = THROUGH.set(program.ident), ASKING.set(self.asks(program))
        try:
            await self.app(scope, receive, send)
        finally:
            THROUGH.reset(through)
            ASKING.reset(asking)
