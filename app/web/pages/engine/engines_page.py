"""The board: the engines in the shop, and the one search box."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.commands import engines
from app.shop.errors import NotFoundError
from app.shop.queries import search
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.tables import Engine, Visit
from app.web.context import Page, Shop
from app.web.presenters.drawing import phases, small_rows
from app.web.presenters.filters import day, layout_in_words, litres, moment
from app.web.presenters.steps import wanted_next
from app.web.presenters.views import PhaseView, SmallRow

router = APIRouter()

MOST_FOUND = 30


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One engine as the board shows it; the whole line leads to ``href``."""

    href: str
    number: str
    what: str
    detail: str
    rows: Sequence[SmallRow]
    phases: Sequence[PhaseView]
    phase: str
    next: str
    where: str


@router.get("/")
def board(shop: Shop, page: Page, find: str = "") -> HTMLResponse:
    """The engines in the shop, or those that ``find`` finds among all that have ever been here."""
    words = find.strip()[:200]
    near: list[BoardLine] = []
    with shop.reading() as session:
        if words:
            hits = search.find(session, words, MOST_FOUND)
            newest = engines.newest_visits(session, (*hits.exact, *hits.near))
            lines = [_found(e, newest.get(e.ident)) for e in engines.among(session, hits.exact)]
            near = [_found(e, newest.get(e.ident)) for e in engines.among(session, hits.near)]
        else:
            lines = [_worked_on(record) for record in loader.in_the_shop(session)]
        count = engines.count(session)
    return page.show("board.html", find=words, lines=lines, near=near, count=count, full=len(lines) == MOST_FOUND)


@router.get("/tag/{tag}")
def tag(shop: Shop, page: Page, tag: str) -> Response:
    """The engine that carries a tag; the tag's QR code leads here. Of two with the same tag, a person chooses."""
    with shop.reading() as session:
        found = search.by_tag(session, tag)
    if not found:
        raise NotFoundError(because(Rejection.NO_SUCH_TAG, tag=tag[:40]))
    return page.go(f"/engines/{found[0]}" if len(found) == 1 else f"/?find={quote(tag)}")


def _worked_on(record: VisitRecord) -> BoardLine:
    shown = phases(record)
    return BoardLine(
        href=f"/visits/{record.visit.ident}",
        number=record.engine.serial,
        what=f"{layout_in_words(record.layout)}, {litres(record.engine)}",
        detail=_joined(
            f"Job {record.visit.job}" if record.visit.job else "", record.engine.vehicle, record.engine.customer
        ),
        rows=small_rows(record),
        phases=shown,
        phase=next((p.title for p in shown if p.state == "current"), "Ready to sign off"),
        next=wanted_next(record),
        where=_joined(record.visit.place.capitalize(), record.visit.by, moment(record.visit.opened_at)),
    )


def _found(engine: Engine, newest: Visit | None) -> BoardLine:
    return BoardLine(
        href=f"/engines/{engine.ident}",
        number=engine.serial,
        what=engine.description or litres(engine),
        detail=_joined(engine.vehicle, engine.customer),
        rows=(),
        phases=(),
        phase=f"Visit {newest.number}, {day(newest.opened_at)}" if newest else "Never visited",
        next=newest.why if newest else "",
        where=_joined(newest.place.capitalize(), f"job {newest.job}" if newest.job else "") if newest else "",
    )


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)
