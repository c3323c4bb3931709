"""The board: the engines with an open visit, and the search box; all engines in a list; the menu."""

from collections.abc import Sequence
from enum import StrEnum
from typing import TypeVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session

from app.shop.at_site import elsewhere
from app.shop.commands import engines
from app.shop.errors import NotFoundError
from app.shop.queries import search, traits
from app.shop.queries.assessed import assessment_of
from app.shop.queries.engine_list import EngineOrder, engines_in_order
from app.shop.queries.open_visits import Order, VisitFilter, by_filter, in_order, open_visits
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.store.tables import Engine
from app.web.context import Number, Page, Pages, Shop
from app.web.display_options import initials_of
from app.web.pages.engine import first_minute
from app.web.presenters import lists
from app.web.presenters.engine_lines import BoardLine, found, worked_on
from app.web.presenters.lists import PER_PAGE
from app.wording.office.finding import asked

router = APIRouter()

MOST_FOUND = 30

C = TypeVar("C", bound=StrEnum)


@router.get("/")
def board(
    request: Request,
    shop: Shop,
    page: Page,
    find: str = "",
    show: str = "",
    order: str = "",
    number: Number = 1,
) -> Response:
    """The open visits that a filter shows, a page of them; or the engines that ``find`` finds among all on record, of
    which a single one is opened once the words are sent."""
    words = find.strip()[:200]
    if words:
        return _found(request, shop, page, words)
    initials = initials_of(request.cookies, request.url.scheme)
    with shop.reading() as session:
        sorted_in = by_filter(open_visits(session), initials)
        usual = VisitFilter.MINE if sorted_in.get(VisitFilter.MINE) else VisitFilter.ALL
        shown, by = _choice(VisitFilter, show, usual), _choice(Order, order, Order.NEWEST)
        visits = in_order(sorted_in.get(shown, []), by)
        told = {"show": shown if shown is not usual else "", "order": by if by is not Order.NEWEST else ""}
        part = lists.part("/", told, len(visits), number)
        here = visits[part.first : part.first + PER_PAGE]
        records = loader.load_all(session, [one.visit_id for one in here])
        lines = [
            worked_on(assessment_of(session, record), one.age, elsewhere(session, record.visit.site_id))
            for record, one in zip(records, here, strict=True)
        ]
        count = engines.count(session)
    if not count:
        return first_minute.show(shop, page, request.query_params)
    return page.show(
        "board.html",
        find="",
        lines=lines,
        near=[],
        count=count,
        full=False,
        part=part,
        filters=lists.filters(sorted_in, told, shown),
        orders=lists.orders("/", told, by),
        noticed=page.noticed(),
    )


@router.get("/engines")
def all_engines(shop: Shop, page: Page, order: str = "", number: Number = 1) -> HTMLResponse:
    """Every engine on record, in some order, a page of them."""
    by = _choice(EngineOrder, order, EngineOrder.VISITED)
    told = {"order": by if by is not EngineOrder.VISITED else ""}
    with shop.reading() as session:
        part = lists.part("/engines", told, engines.count(session), number)
        here = engines_in_order(session, by, part.first, PER_PAGE)
        lines = _lines(session, here)
    return page.show("engines.html", lines=lines, part=part, orders=lists.orders("/engines", told, by))


@router.get("/menu")
def menu(page: Page) -> HTMLResponse:
    """Where else one can go, as a page of its own for screens without room beside the list."""
    return page.show("menu.html")


@router.get("/tag/{tag}")
def tag(shop: Shop, page: Page, tag: str) -> Response:
    """The engine that carries a tag; the tag's QR code leads here. Of two with the same tag, a person chooses."""
    with shop.reading() as session:
        found = search.by_tag(session, tag)
    if not found:
        raise NotFoundError(because(Rejection.NO_SUCH_TAG, tag=tag[:40]))
    return page.go(f"/engines/{found[0]}" if len(found) == 1 else lists.address("/", {"find": tag}))


def _found(request: Request, shop: Shop, page: Pages, words: str) -> Response:
    typing = "HX-Request" in request.headers and "HX-Boosted" not in request.headers
    with shop.reading() as session:
        hits = _hits(session, words)
        if len(hits.exact) == 1 and not hits.near and not typing:
            return page.go(f"/engines/{hits.exact[0]}")
        lines = _lines(session, engines.among(session, hits.exact))
        near = _lines(session, engines.among(session, hits.near))
        count = engines.count(session)
    return page.show(
        "board.html",
        find=words,
        lines=lines,
        near=near,
        count=count,
        full=len(lines) == MOST_FOUND,
        part=None,
        filters=(),
        orders=(),
        noticed=page.noticed(),
    )


def _lines(session: Session, those: Sequence[Engine]) -> list[BoardLine]:
    """Engines that are listed, each with its newest visit."""
    newest = engines.newest_visits(session, [one.ident for one in those])
    mistaken = engines.why_mistaken(session, newest.values())
    of_each = [(one, newest.get(one.ident)) for one in those]
    return [found(one, visit, mistaken.get(visit.ident, "") if visit else "") for one, visit in of_each]


def _hits(session: Session, words: str) -> search.Hits:
    """What is found by the words as they are, then by the traits that they name with the other words."""
    hits, of_it = search.find(session, words, MOST_FOUND), asked(words)
    having = traits.engines_of(session, of_it.traits, of_it.bores)
    if not having:
        return hits
    rest = set(search.find(session, of_it.rest, MOST_FOUND).exact) if of_it.rest else set(having)
    exact = dict.fromkeys((*hits.exact, *(one for one in having if one in rest)))
    return search.Hits(tuple(exact)[:MOST_FOUND], ())


def _choice(kind: type[C], sent: str, usual: C) -> C:
    return kind(sent) if sent in set(kind) else usual
