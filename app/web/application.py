"""Puts the application together: pages, the JSON interface, files, guards, and what a refusal looks like."""

from collections.abc import Callable
from datetime import UTC, datetime

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles

from app import places
from app.shop.database import Database, ShopUnavailableError
from app.shop.refusals import RefusedError
from app.web import (
    audit,
    board,
    correct,
    engines,
    exchange,
    keeping,
    look,
    meters,
    moves,
    offline,
    paper,
    people,
    practice,
    readings,
    settings,
    statistics,
    tablets,
    trust,
    visits,
)
from app.web.api import interface
from app.web.api.problems import either
from app.web.context import Pages, environment
from app.web.guard import protect
from app.web.pairing import Pairing
from app.web.refusal import status_of


def create_app(
    shop: Database,
    *,
    lan_names: frozenset[str] = frozenset(),
    clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    pairing: Pairing | None = None,
    trusting: trust.Trust | None = None,
) -> FastAPI:
    """The application over one shop.

    ``lan_names`` are further host names it answers to; ``clock`` tells the time; ``pairing`` lets tablets in;
    ``trusting`` is what they have to trust, when the server speaks https.
    """
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    app.state.shop = shop
    app.state.clock = clock
    app.state.templates = environment()
    app.state.pairing = pairing or Pairing()
    app.state.trust = trusting
    app.state.admission = tablets.admission(shop)
    for pages in (
        readings,  # asked for most by far, and routes are tried in this order
        board,
        engines,
        meters,
        statistics,
        correct,
        exchange,
        paper,
        practice,
        moves,
        visits,
        keeping,
        people,
        tablets,
        audit,
        settings,
        look,
        trust,
        offline,
    ):
        app.include_router(pages.router)
    app.include_router(interface.router)
    app.mount("/static", StaticFiles(directory=places.static()), name="static")
    app.mount("/lib", StaticFiles(packages=[("js_lib_htmx", "static/htmx")]), name="lib")
    for error, page in (
        (RefusedError, _refused),
        (HTTPException, _http),
        (RequestValidationError, _no_such_page),
        (OverflowError, _no_such_page),  # a number that no table can hold
        (ShopUnavailableError, _unavailable),
    ):
        app.add_exception_handler(error, either(error, page))
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    protect(app, lan_names=lan_names, admits=lambda token: app.state.admission.admits(token, clock()))
    return app


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, RefusedError)
    return Pages(request).show("refused.html", status_of(error), title="Not done", message=str(error))


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    message = "There is no such page here." if error.status_code == 404 else str(error.detail)
    title = "Not found" if error.status_code == 404 else "Not done"
    return Pages(request).show("refused.html", error.status_code, title=title, message=message)


def _no_such_page(request: Request, error: Exception) -> Response:
    return Pages(request).show("refused.html", 404, title="Not found", message="There is no such page here.")


def _unavailable(request: Request, error: Exception) -> Response:
    return Pages(request).show("refused.html", 503, title="Not saved", message=str(error))
