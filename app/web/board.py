"""The board: the engines in the shop, and the one search box."""

from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from app.shop import engines, visits
from app.shop.story import Story
from app.shop.tables import Engine, Visit
from app.web.context import Page, Shop
from app.web.drawing import phases, small_rows
from app.web.steps import next_step
from app.web.views import PhaseView, SmallRow

router = APIRouter()


@dataclass(frozen=True, slots=True)
class BoardRow:
    """One engine in the shop."""

    story: Story
    rows: tuple[SmallRow, ...]
    phases: tuple[PhaseView, ...]
    phase: str
    step: str
    href: str


@dataclass(frozen=True, slots=True)
class FoundRow:
    """One engine that the search found, with its newest visit."""

    engine: Engine
    visit: Visit | None
    open: bool


@router.get("/")
def board(shop: Shop, page: Page, q: str = "") -> HTMLResponse:
    """The engines in the shop, or those that ``q`` finds among all that have ever been here."""
    words = q.strip()[:200]
    with shop.reading() as session:
        stories = visits.in_the_shop(session) if not words else []
        found = [_found(session, engine) for engine in engines.find(session, words)] if words else []
        count = engines.count(session)
    return page.show("board.html", q=words, rows=[_row(s) for s in stories], found=found, count=count)


def _found(session: engines.Session, engine: Engine) -> FoundRow:
    newest = engines.newest_visit(session, engine.ident)
    still_open = engines.open_visit(session, engine.ident) is not None
    return FoundRow(engine, newest, still_open)


def _row(story: Story) -> BoardRow:
    shown = phases(story, None)
    current = next((p.title for p in shown if p.state == "current"), shown[-1].title)
    return BoardRow(story, small_rows(story), shown, current, next_step(story), f"/visits/{story.visit.ident}")
