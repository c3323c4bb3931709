"""How a tablet comes to trust the shop computer: a page that says it, and the file that it takes in.

Under https a tablet that does not trust yet sees a warning in place of any page, so the same page is also served on
plain http, by an application of its own that has nothing else.
"""

from collections.abc import Container
from dataclasses import dataclass
from gettext import NullTranslations

import segno
from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.staticfiles import StaticFiles

from app import places
from app.web.context import Page, environment
from app.web.security.middleware import TRUST_FILE, protect
from app.web.security.origin import behind_a_proxy
from app.web.spoken import Spoken
from app.wording.language import ENGLISH
from app.wording.message import say
from app.wording.program.request_faults import NO_TLS

router = APIRouter()


@dataclass(frozen=True)
class Trust:
    """What a tablet takes in, and where.

    ``authority`` is the certificate to trust, as DER, ``fingerprint`` its SHA-256 as shown to people; ``home`` is the
    address of the program on https, ``page`` that of the page about it on plain http.
    """

    authority: bytes
    fingerprint: str
    home: str
    page: str


@router.get("/trust")
def explain(page: Page, request: Request) -> HTMLResponse:
    """What to do on the tablet; without https, what to do before it."""
    trust: Trust | None = getattr(request.app.state, "trust", None)
    drawn = Markup(segno.make(trust.page, error="m").svg_inline(scale=5, border=4, light="#fff")) if trust else ""
    behind = behind_a_proxy(request.scope)
    return page.show("trust.html", trust=trust, file=TRUST_FILE, drawn=drawn, behind=behind)


async def authority(request: Request) -> Response:
    """The certificate as DER, in the kind that iPadOS and Android take for one to be installed."""
    trust: Trust | None = getattr(request.app.state, "trust", None)
    if trust is None:
        return PlainTextResponse(say(NO_TLS), 404)
    named = {"Content-Disposition": f'attachment; filename="{TRUST_FILE.strip("/")}"'}
    return Response(trust.authority, media_type="application/x-x509-ca-cert", headers=named)


router.add_route(TRUST_FILE, authority)


def create_trust_app(
    trust: Trust, *, lan_names: Container[str] = frozenset(), language: NullTranslations = ENGLISH
) -> FastAPI:
    """The page in ``language``, its style and the file, and nothing of the shop."""
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    app.state.templates = environment()
    app.state.trust = trust
    app.include_router(router)
    app.mount("/static", StaticFiles(directory=places.static()), name="static")
    app.add_route("/", lambda request: RedirectResponse("/trust", 303))
    protect(app, lan_names=lan_names)
    app.add_middleware(Spoken, tablet=language)
    return app
