"""The Engines page: the engines with an open visit, and the search box."""

from urllib.parse import quote

from fastapi import APIRouter
from fastapi.responses import Response

from app.shop.commands import engines
from app.shop.errors import NotFoundError
from app.shop.queries import search
from app.shop.queries.assessed import assessment_of
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.web.context import Page, Shop
from app.web.presenters.engine_lines import BoardLine, found, worked_on

router = APIRouter()

MOST_FOUND = 30


@router.get("/")
def board(shop: Shop, page: Page, find: str = "") -> Response:
    """The engines with an open visit, or those that ``find`` finds among all on record; a scanned code opens the one
    that it is of."""
    words = find.strip()[:200]
    near: list[BoardLine] = []
    with shop.reading() as session:
        if words:
            hits = search.find(session, words, MOST_FOUND)
            if search.scanned(words) and len(hits.exact) == 1:
                return page.go(f"/engines/{hits.exact[0]}")
            newest = engines.newest_visits(session, (*hits.exact, *hits.near))
            lines = [found(e, newest.get(e.ident)) for e in engines.among(session, hits.exact)]
            near = [found(e, newest.get(e.ident)) for e in engines.among(session, hits.near)]
        else:
            lines = [worked_on(assessment_of(session, record)) for record in loader.in_the_shop(session)]
        count = engines.count(session)
    return page.show(
        "board.html",
        find=words,
        lines=lines,
        near=near,
        count=count,
        full=len(lines) == MOST_FOUND,
        noticed=page.noticed(),
    )


@router.get("/tag/{tag}")
def tag(shop: Shop, page: Page, tag: str) -> Response:
    """The engine that carries a tag; the tag's QR code leads here. Of two with the same tag, a person chooses."""
    with shop.reading() as session:
        found = search.by_tag(session, tag)
    if not found:
        raise NotFoundError(because(Rejection.NO_SUCH_TAG, tag=tag[:40]))
    return page.go(f"/engines/{found[0]}" if len(found) == 1 else f"/?find={quote(tag)}")
