"""What a tablet stores to start without a connection: a page of its own, and the script that shows it.

Browsers run such a script (a service worker) on secure origins only, so it is offered under https alone.
"""

import json
from functools import cache
from hashlib import sha256

from fastapi import APIRouter
from fastapi.responses import HTMLResponse
from starlette.requests import Request
from starlette.responses import Response

from app import places
from app.web.context import Page
from app.web.security.middleware import WORKER
from app.wording.program.scripts import bundle

router = APIRouter()


@router.get("/offline")
def offline(page: Page) -> HTMLResponse:
    """The page that a tablet shows while the shop computer does not answer. It holds nothing of the shop."""
    return page.show("offline.html", look="", hand="", front="")


async def worker(request: Request) -> Response:
    """The worker, opening with a number that differs when anything it keeps does, so that a browser takes it anew."""
    text = f'const VERSION = "{version()}";\n' + (places.static() / "worker.js").read_text(encoding="utf-8")
    return Response(text, media_type="text/javascript")


router.add_route(WORKER, worker)


@cache
def version() -> str:
    """A hash of the program's own files and of the page that is kept, with the texts that it carries."""
    kept = sorted(file for file in places.static().rglob("*") if file.is_file())
    pages = [places.templates() / name for name in ("offline.html", "plain.html", "pieces/top.html")]
    parts = [file.read_bytes() for file in (*kept, *pages)]
    return sha256(b"".join([*parts, json.dumps(bundle()).encode()])).hexdigest()[:16]
