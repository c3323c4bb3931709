"""The page shown instead of every other while the shop's records are damaged: what was found, and how to restore."""

import sqlite3
from collections.abc import Callable, Container
from datetime import datetime
from gettext import NullTranslations

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, Response
from starlette.staticfiles import StaticFiles

from app import places
from app.shop.reasons import because
from app.shop.store.backup import restore
from app.shop.store.codes import Unavailable
from app.shop.store.database import ShopUnavailableError
from app.shop.store.upgrade import DamagedShopError
from app.web.context import Pages, environment
from app.web.security.middleware import protect
from app.web.security.origin import PublicAddress, at_this_computer
from app.web.spoken import Spoken
from app.wording.language import ENGLISH
from app.wording.message import say
from app.wording.program.store import ONLY_HERE
from app.wording.reasons import in_words


def create_damaged_app(
    damage: DamagedShopError,
    *,
    start_again: Callable[[], None],
    clock: Callable[[], datetime],
    lan_names: Container[str] = frozenset(),
    public: PublicAddress | None = None,
    language: NullTranslations = ENGLISH,
) -> FastAPI:
    """The application over a shop that cannot be opened.

    The newest sound backup can be restored from the shop computer itself; ``start_again`` is called after that. The
    page is in ``language``.
    """
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    app.state.templates = environment()
    app.mount("/static", StaticFiles(directory=places.static()), name="static")
    app.mount("/lib", StaticFiles(packages=[("js_lib_htmx", "static/htmx")]), name="lib")

    def page(request: Request, status: int, problem: str = "") -> HTMLResponse:
        here = at_this_computer(request.scope)
        found = in_words(damage.found)
        return Pages(request).show("damaged.html", status, damage=damage, found=found, here=here, problem=problem)

    @app.post("/put-back")
    def put_back(request: Request) -> Response:
        if not at_this_computer(request.scope):
            return page(request, 403, say(ONLY_HERE))
        try:
            aside = restore(damage.folder, damage.newest.file if damage.newest else None, clock())
        except ShopUnavailableError as error:
            return page(request, 503, in_words(error.reason))
        except sqlite3.Error as error:
            found = because(Unavailable.SYSTEM_MESSAGE, text=str(error))
            return page(request, 503, in_words(because(Unavailable.RESTORE_FAILED, found=found)))
        start_again()
        return Pages(request).show("put_back.html", aside=aside, copy=damage.newest)

    @app.api_route("/{path:path}", methods=["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"])
    def anything(request: Request) -> HTMLResponse:
        return page(request, 503)

    protect(app, lan_names=lan_names, public=public)
    app.add_middleware(Spoken, tablet=language)
    return app
