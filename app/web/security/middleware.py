"""What stands between the network and the pages: whom the server answers, what it refuses, and how long it waits.

Each guard is plain ASGI and does one thing. ``protect`` puts them on in the order in which they matter. None knows a
page; each refusal is a small page of its own, or a problem document for a program, that says in a sentence what to do.
"""

import asyncio
import re
import socket
from collections.abc import Callable, Container, MutableMapping, Sequence
from functools import partial
from typing import Any

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.requests import cookie_parser
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.shop.at_site import ASKING, Asker
from app.shop.commands.access.programs import Program
from app.shop.json_bounds import Bounds
from app.shop.reasons import because
from app.shop.store.both.unasked import ask_now
from app.web.display_options import cookie
from app.web.error_responses import for_programs, not_taken
from app.web.security.behind_proxy import BehindProxy
from app.web.security.known_access import AccessRenewed, KnownAccess
from app.web.security.origin import FEED, PublicAddress, at_this_computer, ip_of, sent
from app.web.security.programs import BEARER, PROGRAM, KnownProgram
from app.wording import language
from app.wording.message import say
from app.wording.program.request_faults import TO_ENGINES, RequestFault, notice_of

BODY_LIMIT = 1024 * 1024
"""The largest form taken [bytes]. The largest real one is a few thousand."""

FILE_LIMIT = 16 * 1024 * 1024
HAND_OVER = "/api/hand-over"
FILES_TAKEN = frozenset({"/exchange", "/exchange/look", "/exchange/several", HAND_OVER})
"""Where whole engines may be sent as files, and the largest one taken there [bytes]."""

JSON_BOUNDS = Bounds(depth=16, parts=2000, fields=200, values=4000)
"""The most that a program sends at once: the largest real one, a phase's checks, has some fifty fields."""

DRAIN_LIMIT = 64 * 1024 * 1024
"""How much of a form that is too large is read and dropped, so that its sender gets the answer [bytes]."""

TIME_LIMIT = 30.0
"""The longest one request may take, from its first line to the answer [s]."""

FILES = ("/static/", "/lib/")
"""Where the files of the program and of the packages it uses are handed out."""

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
    "connect-src 'self'; worker-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'; object-src 'none'"
)

HEADERS = {
    b"content-security-policy": POLICY.encode(),
    b"x-content-type-options": b"nosniff",
    b"referrer-policy": b"same-origin",  # no-referrer would make forms send "Origin: null"
    b"cross-origin-opener-policy": b"same-origin",
}
"""As they are sent."""

TABLET = "evenbore_tablet"
"""The cookie that a paired tablet keeps its token in."""

TRUST_FILE, WORKER = "/evenbore.crt", "/worker.js"
"""The certificate that a tablet takes in, and the script that lets it start without a connection."""

TO_BE_PAIRED = frozenset({"/pair", "/pair/code", "/trust", TRUST_FILE, "/offline", WORKER})
"""What a tablet may ask for before it is paired, besides FILES. None of it holds anything of the shop."""

FEED_LIMIT = 64 * 1024
"""The most that one push of live values holds [bytes]."""

HOST = re.compile(r"(?P<name>\[[0-9a-f:.]+\]|[a-z0-9_.-]+)(?::[0-9]{1,5})?")


def protect(
    app: FastAPI,
    *,
    lan_names: Container[str] = frozenset(),
    admits: Callable[[str], bool] = lambda token: True,
    further: Sequence[Callable[[ASGIApp], ASGIApp]] = (),
    programs: Callable[[str], Program | None] = lambda token: None,
    asks: Callable[[str], Asker | None] = lambda token: None,
    asks_by: Callable[[Program], Asker | None] = lambda program: None,
    access: KnownAccess | None = None,
    public: PublicAddress | None = None,
) -> None:
    """Put every guard on ``app``, the last one added being the first to see a request.

    Parameters: ``lan_names``, the names besides its own that this computer is called by on its network, in small
    letters, which may change meanwhile; ``admits``, whether a token is that of a paired tablet; ``further``
    guards, which see a request before its body is read; ``programs``, which program a token is of;
    ``asks``, from which site a tablet asks, by its token, and ``asks_by`` a
    program; ``access`` brings that up to date for each request, where another server may change it; ``public`` is
    where a proxy in front answers, None where there is none.
    """
    guards: tuple[Callable[..., ASGIApp], ...] = (
        LimitedBody,
        *further,
        partial(Paired, admits=admits, asks=asks),
        partial(KnownProgram, programs=programs, asks=asks_by),
        *([partial(AccessRenewed, access=access, spared=FILES)] if access is not None else []),
        SameOrigin,
        partial(KnownHost, own=own_names() | ({public.name} if public else set()), others=lan_names),
        LimitedTime,
        Headers,
        *([partial(BehindProxy, public=public)] if public else []),
    )
    for guard in guards:
        app.add_middleware(guard)


def refusal(scope: Scope, status: int, fault: RequestFault, **values: int) -> Response:
    """A page that needs nothing else, or a problem document where programs ask. Nothing that was sent is in it."""
    if for_programs(scope):
        return not_taken(status, because(fault, **values))
    title, sentence = (say(message, **values) for message in notice_of(fault))
    return HTMLResponse(
        f'<!doctype html><html lang="{language.tag()}"><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width">'
        f'<title>{title}</title><main><h1>{title}</h1><p>{sentence}</p><p><a href="/">{say(TO_ENGINES)}</a></p></main>',
        status_code=status,
    )


def own_names() -> frozenset[str]:
    """What this computer calls itself: its name, the first part of it, and that part on the local network."""
    name = socket.gethostname().lower()
    first = name.partition(".")[0]
    return frozenset({"localhost", name, first, f"{first}.local"})


def _tokens(scope: Scope) -> list[str]:
    kept = [cookie_parser(line) for line in sent(scope, b"cookie")]
    return [cookies[name] for cookies in kept for name in (TABLET, cookie(TABLET, "https")) if name in cookies]


class Headers:
    """Every answer carries the headers that keep a page to itself. Answers to a mishap inside carry them too.

    Pages are not to be kept by the browser: they are personal and soon out of date. Static files may be kept, but
    are asked about each time, so that a new version of the program is never shown with the old one's style; under a
    path that carries the version they say themselves how long.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                theirs = [header for header in message["headers"] if header[0] not in HEADERS]
                message["headers"] = [*theirs, *HEADERS.items()]
                if not any(name == b"cache-control" for name, _ in theirs):
                    kept = b"no-cache" if scope["path"].startswith(FILES) else b"no-store"
                    message["headers"].append((b"cache-control", kept))
            await send(message)

        try:
            await self.app(scope, receive, with_headers)
        except Exception:
            if not started:
                page = refusal(scope, 500, RequestFault.INTERNAL_ERROR)
                await page(scope, receive, with_headers)
            raise  # the server writes it to its log


class LimitedTime:
    """A request that takes longer than ``seconds`` gets a 503; the rest of the shop is not held up by it."""

    def __init__(self, app: ASGIApp, seconds: float = TIME_LIMIT) -> None:
        self.app = app
        self.seconds = seconds

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def noting(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        try:
            async with asyncio.timeout(self.seconds) as limit:
                await self.app(scope, receive, noting)
        except TimeoutError:
            if started or not limit.expired():
                raise
            page = refusal(scope, 503, RequestFault.TIMED_OUT)
            await page(scope, receive, send)


class KnownHost:
    """Only requests to an IP address or to one of its names are answered.

    Another site's name that was made to point here (DNS rebinding) would otherwise run its scripts against the shop.
    It needs a name for that, so any address is safe to answer, and a new one from the router does not lock anyone out.
    """

    def __init__(self, app: ASGIApp, own: frozenset[str], others: Container[str] = frozenset()) -> None:
        self.app = app
        self.own = own
        self.others = others

    def knows(self, host: str) -> bool:
        """Whether ``host``, a Host header's whole value, is one of ours."""
        match = HOST.fullmatch(host.lower())
        if match is None:
            return False
        name = match["name"].rstrip(".")
        return name in self.own or name in self.others or _is_address(match["name"])

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            hosts = sent(scope, b"host")
            if len(hosts) != 1 or not self.knows(hosts[0]):
                page = refusal(scope, 400, RequestFault.UNKNOWN_HOST)
                await page(scope, receive, send)
                return
        await self.app(scope, receive, send)


def _is_address(name: str) -> bool:
    """Whether a host's name is an IP address, in brackets when it is one of version 6."""
    address = ip_of(name.strip("[]"))
    return address is not None and (address.version == 6) == name.startswith("[")


class SameOrigin:
    """A request that may change something must come from a page of this very server, or from a program."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        safe = scope["type"] != "http" or scope["method"] in SAFE_METHODS
        if not safe and not self.ours(scope) and not self.by_a_program(scope):
            page = refusal(scope, 403, RequestFault.FOREIGN_ORIGIN)
            await page(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def ours(self, scope: MutableMapping[str, Any]) -> bool:
        """Browsers send Origin with every POST; on plain http only some of them send Sec-Fetch-Site."""
        origins, hosts, sites = (sent(scope, name) for name in (b"origin", b"host", b"sec-fetch-site"))
        return (
            len(hosts) == 1
            and [origin.lower() for origin in origins] == [f"{scope['scheme']}://{hosts[0]}".lower()]
            and sites in ([], ["same-origin"])
        )

    def by_a_program(self, scope: Scope) -> bool:
        """Browsers name the origin with every such request; programs do not, and are answered where JSON is taken.

        What a foreign page could send without asking first, a form or plain text, is not taken there.
        """
        return for_programs(scope) and not sent(scope, b"origin") and not sent(scope, b"sec-fetch-site")


class Paired:
    """Over the network, only a paired tablet, or a program by its token, is answered. The shop computer needs neither.

    A person at the shop computer could read the file itself; a tablet shows by its cookie that it was paired before
    that computer's screen.
    """

    def __init__(
        self, app: ASGIApp, admits: Callable[[str], bool], asks: Callable[[str], Asker | None] = lambda token: None
    ) -> None:
        self.app = app
        self.admits = admits
        self.asks = asks

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or self.may(scope):
            await self.app(scope, receive, send)
            return
        token = next((token for token in _tokens(scope) if self.admits(token)), None)
        if token is not None:
            asking = ASKING.set(self.asks(token))
            try:
                await self.app(scope, receive, send)
            finally:
                ASKING.reset(asking)
            return
        await run_in_threadpool(ask_now)  # another server may have paired it since
        if scope["method"] in SAFE_METHODS and not for_programs(scope) and scope["path"] == "/":
            await RedirectResponse("/pair", 303)(scope, receive, send)
            return
        page = refusal(scope, 401, RequestFault.NOT_PAIRED)
        page.headers["WWW-Authenticate"] = BEARER
        await page(scope, receive, send)

    def may(self, scope: Scope) -> bool:
        """Whether a request is answered whatever tablet it comes from."""
        path: str = scope["path"]
        return (
            at_this_computer(scope)
            or PROGRAM in scope.get("state", {})
            or path in TO_BE_PAIRED
            or path == FEED
            or path.startswith(FILES)
        )


class LimitedBody:
    """A form larger than ``limit`` bytes gets a 413, whether or not it said beforehand how large it is.

    JSON that holds more than any request has to is refused too: it is not to be built only to be found wrong.

    It is read to the end, up to ``DRAIN_LIMIT``, before it is refused: a browser that is still sending when the
    server hangs up shows a broken connection instead of the answer.
    """

    def __init__(self, app: ASGIApp, limit: int = BODY_LIMIT) -> None:
        self.app = app
        self.limit = limit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        limit = FILE_LIMIT if scope["path"] in FILES_TAKEN else FEED_LIMIT if scope["path"] == FEED else self.limit
        body = bytearray()
        size = 0
        more = True
        while more and size <= DRAIN_LIMIT:
            message = await receive()
            if message["type"] == "http.disconnect":
                return
            chunk: bytes = message.get("body", b"")
            size += len(chunk)
            if size <= limit:
                body += chunk
            more = message.get("more_body", False)
        if size > limit:
            page = refusal(scope, 413, RequestFault.TOO_LARGE, most=limit // 1024)
            await page(scope, receive, send)
            return
        whole = bytes(body)
        body.clear()
        if for_programs(scope) and scope["path"] != HAND_OVER and not JSON_BOUNDS.hold(whole):
            page = refusal(scope, 422, RequestFault.WRONG_SHAPE)
            await page(scope, receive, send)
            return
        waiting: list[Message] = [{"type": "http.request", "body": whole, "more_body": False}]
        del whole

        async def again() -> Message:
            return waiting.pop() if waiting else await receive()

        await self.app(scope, again, send)
