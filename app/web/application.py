"""Puts the application together: pages, the JSON interface, files, guards, and what a refusal looks like."""

from collections.abc import AsyncIterator, Callable, Container
from contextlib import asynccontextmanager, suppress
from datetime import datetime
from functools import partial
from gettext import NullTranslations

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import Receive, Scope, Send

from app import places
from app.shop.apart import Apart
from app.shop.commands.access.dry_run import DryRunEnded
from app.shop.commands.access.programs import naming, watched
from app.shop.commands.live.feeds import feeders
from app.shop.errors import ElsewhereError, NotFoundError, RejectedError
from app.shop.record.loader import in_the_shop
from app.shop.store.database import Database, ShopUnavailableError
from app.shop.store.postgres.codes import ServerProblem
from app.web.api import interface
from app.web.api.answers.dry_run import told
from app.web.api.problems import either
from app.web.context import Pages, environment
from app.web.errands import Errands
from app.web.error_responses import fault_of, status_of
from app.web.kept_files import HTMX, KeptFiles
from app.web.live import doors
from app.web.live.gauges import GaugeWatch, watching
from app.web.live.hub import Hub
from app.web.pages.engine import data_out, engines, engines_page, exchange, first_minute, paper, training
from app.web.pages.group import hand_over, sites
from app.web.pages.instruments import live_values
from app.web.pages.shop import (
    activity,
    display_page,
    meters,
    offline,
    people,
    programs,
    settings,
    shop_page,
    statistics,
    tablets,
    trust,
)
from app.web.pages.visit import (
    cold_setting,
    corrections,
    cross_check,
    job_time,
    moves,
    readings,
    recorded,
    running,
    visits,
)
from app.web.security.feed_door import FeedDoor, is_own
from app.web.security.known_access import KnownAccess
from app.web.security.middleware import SAFE_METHODS, protect
from app.web.security.origin import PublicAddress
from app.web.security.pairing import Pairing
from app.web.spoken import Spoken
from app.web.steady_clock import SteadyClock
from app.wording.language import ENGLISH
from app.wording.message import say
from app.wording.program.request_faults import ELSEWHERE, NOT_FOUND, NOT_KNOWN, NOT_SAVED, RequestFault, notice_of
from app.wording.reasons import in_words, sentence_of


class Gzip(GZipMiddleware):
    """Shortens what is read. A write is answered by a line: looking whether to shorten that takes longer than it."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        shortens = scope["type"] == "http" and scope["method"] in SAFE_METHODS
        await (super().__call__ if shortens else self.app)(scope, receive, send)


PAGES = (
    readings,  # asked for most by far
    engines_page,
    first_minute,
    engines,
    meters,
    statistics,
    corrections,
    job_time,
    cross_check,
    recorded,
    data_out,
    exchange,
    paper,
    training,
    moves,
    cold_setting,
    running,
    visits,
    shop_page,
    people,
    tablets,
    sites,
    live_values,
    programs,
    hand_over,
    activity,
    settings,
    display_page,
    trust,
    offline,
)
"""The pages, in the order in which their routes are tried."""


def create_app(
    shop: Database,
    *,
    lan_names: Container[str] = frozenset(),
    clock: Callable[[], datetime] | None = None,
    pairing: Pairing | None = None,
    trusting: trust.Trust | None = None,
    language: NullTranslations = ENGLISH,
    customer_language: NullTranslations | None = None,
    own_feed: str = "",
    public: PublicAddress | None = None,
) -> FastAPI:
    """The application over one shop.

    ``lan_names`` are further host names it answers to; ``clock`` tells the time, by default this computer's;
    ``pairing`` lets tablets in; ``trusting`` is what they have to trust, when the server speaks https. Pages are in
    ``language``; what is printed for the customer is in ``customer_language``, by default the same.
    ``own_feed`` is the token of the instruments that are read beside it, good while it runs. ``public`` is where a
    proxy in front answers.
    """
    clock = clock or SteadyClock()
    shop.clock = lambda: clock().timestamp()
    app = FastAPI(
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=_awake,
        telemetry={"tracing": False, "metrics": False, "logs": False, "auto_configure": False},  # nothing is told on
    )
    app.state.shop = shop
    app.state.clock = clock
    app.state.templates = environment()
    app.state.pairing = pairing or Pairing()
    app.state.trust = trusting
    _know_others(app, shop)
    _know_instruments(app, shop, clock)
    app.state.errands = Errands(Apart(ahead=("app.shop.exchange.import_work",)))
    for pages in PAGES:
        app.include_router(pages.router)
    app.include_router(interface.router)
    app.include_router(doors.now)
    app.mount("/static", KeptFiles(directory=places.static()), name="static")
    app.mount("/lib", KeptFiles(packages=[HTMX]), name="lib")
    for error, page in (
        (RejectedError, _refused),
        (HTTPException, _http),
        (RequestValidationError, _no_such_page),
        (OverflowError, _no_such_page),  # a number that no table can hold
        (ShopUnavailableError, _unavailable),
        (ElsewhereError, _elsewhere),
    ):
        app.add_exception_handler(error, either(error, page))
    app.add_middleware(Gzip, minimum_size=1000)
    _guard(app, shop, clock, lan_names, own_feed, public)
    app.add_middleware(Spoken, tablet=language, customer=customer_language)
    return app


def _guard(
    app: FastAPI,
    shop: Database,
    clock: Callable[[], datetime],
    lan_names: Container[str],
    own_feed: str,
    public: PublicAddress | None,
) -> None:
    """Who is answered, and from which site a tablet or a program asks."""
    state = app.state
    protect(
        app,
        lan_names=lan_names,
        admits=lambda token: state.admission.admits(token, clock()),
        further=[partial(FeedDoor, admits=lambda token: is_own(token, own_feed) or state.feeders.admits(token))],
        programs=lambda token: state.programs.named_by(token, clock()),
        asks=lambda token: state.sites.asking_in(state.admission.room(token)),
        asks_by=lambda program: None if program.site is None else state.sites.asking(program.site),
        access=KnownAccess(app, shop) if shop.shared else None,
        public=public,
    )


def _know_others(app: FastAPI, shop: Database) -> None:
    """Who has access, how many streams are open, and that rows written through a program name it."""
    app.state.admission = tablets.admission(shop)
    app.state.programs = programs.known(shop)
    app.state.sites = sites.known(shop)
    app.state.streams = 0
    app.state.stopping = lambda: False  # the server says when
    shop.around_writes = naming
    shop.watched = watched
    app.add_exception_handler(DryRunEnded, told)


def _know_instruments(app: FastAPI, shop: Database, clock: Callable[[], datetime]) -> None:
    """Which programs may send live values, what they send, and which visit that fills."""
    app.state.feeders = feeders(shop)
    app.state.live = Hub()
    app.state.gauges = GaugeWatch(shop, app.state.live, clock)
    app.state.gauges.know()


@asynccontextmanager
async def _awake(app: FastAPI) -> AsyncIterator[None]:
    """Have the visits under way in mind before the first request: all tablets may be waiting to send what they hold."""
    shop: Database = app.state.shop
    with suppress(ShopUnavailableError), shop.reading() as session:
        in_the_shop(session)
    try:
        async with watching(app.state.gauges):
            yield
    finally:
        app.state.errands.apart.close()


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, RejectedError)
    title = NOT_FOUND if isinstance(error, NotFoundError) and request.method == "GET" else NOT_SAVED
    return Pages(request).show("refused.html", status_of(error), title=say(title), message=sentence_of(error))


def _elsewhere(request: Request, error: Exception) -> Response:
    assert isinstance(error, ElsewhereError)
    title = ELSEWHERE if request.method in SAFE_METHODS else NOT_SAVED
    return Pages(request).show("refused.html", 403, title=say(title), message=in_words(error.reason))


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return _notice(request, error.status_code, fault_of(error))


def _no_such_page(request: Request, error: Exception) -> Response:
    return _notice(request, 404, RequestFault.NOT_FOUND)


def _notice(request: Request, status: int, fault: RequestFault) -> Response:
    title, sentence = notice_of(fault)
    return Pages(request).show("refused.html", status, title=say(title), message=say(sentence))


def _unavailable(request: Request, error: Exception) -> Response:
    assert isinstance(error, ShopUnavailableError)
    title = NOT_KNOWN if error.reason.code is ServerProblem.UNKNOWN_IF_SAVED else NOT_SAVED
    return Pages(request).show("refused.html", 503, title=say(title), message=in_words(error.reason))
