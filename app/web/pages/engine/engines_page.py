"""The Engines page: the engines with an open visit, and the search box."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.assessment.assessment import Assessment
from app.shop.commands import engines
from app.shop.errors import NotFoundError
from app.shop.queries import search
from app.shop.queries.assessed import assessment_of
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.store.tables import Engine, Visit
from app.web.context import Page, Shop
from app.web.presenters.drawing import phases, small_rows
from app.web.presenters.filters import day, litres, moment
from app.web.presenters.steps import wanted_next
from app.web.presenters.views import PhaseView, SmallRow
from app.wording import names
from app.wording.message import say
from app.wording.office import engines as engine_words

router = APIRouter()

MOST_FOUND = 30


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One engine as the page shows it; the whole line leads to ``href``."""

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
    """The engines with an open visit, or those that ``find`` finds among all on record."""
    words = find.strip()[:200]
    near: list[BoardLine] = []
    with shop.reading() as session:
        if words:
            hits = search.find(session, words, MOST_FOUND)
            newest = engines.newest_visits(session, (*hits.exact, *hits.near))
            lines = [_found(e, newest.get(e.ident)) for e in engines.among(session, hits.exact)]
            near = [_found(e, newest.get(e.ident)) for e in engines.among(session, hits.near)]
        else:
            lines = [_worked_on(assessment_of(session, record)) for record in loader.in_the_shop(session)]
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


def _worked_on(assessment: Assessment) -> BoardLine:
    record, shown = assessment.record, phases(assessment)
    return BoardLine(
        href=f"/visits/{record.visit.ident}",
        number=record.engine.serial,
        what=f"{names.layout(record.layout)}, {litres(record.engine)}",
        detail=_joined(_job(record.visit.job), record.engine.vehicle, record.engine.customer),
        rows=small_rows(record),
        phases=shown,
        phase=next((p.title for p in shown if p.state == "current"), say(engine_words.READY)),
        next=wanted_next(assessment),
        where=_joined(names.choice(record.visit.place), record.visit.by, moment(record.visit.opened_at)),
    )


def _found(engine: Engine, newest: Visit | None) -> BoardLine:
    return BoardLine(
        href=f"/engines/{engine.ident}",
        number=engine.serial,
        what=engine.description or litres(engine),
        detail=_joined(engine.vehicle, engine.customer),
        rows=(),
        phases=(),
        phase=_last_visit(newest),
        next=newest.why if newest else "",
        where=_place_and_job(newest) if newest else "",
    )


def _last_visit(newest: Visit | None) -> str:
    if newest is None:
        return say(engine_words.NO_VISIT)
    return say(engine_words.VISIT, number=newest.number, day=day(newest.opened_at))


def _place_and_job(visit: Visit) -> str:
    return _joined(names.choice(visit.place), _job(visit.job))


def _job(job: str) -> str:
    return say(engine_words.JOB, job=job) if job else ""


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)
