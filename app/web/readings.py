"""The reading page of a phase: the engine from above, the keypad, the verdict, the one next move."""

from collections.abc import Mapping
from typing import Literal

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop import readings, visits
from app.shop.phases import Phase
from app.shop.readings import NewReading
from app.shop.refusals import NotThereError, RefusedError
from app.shop.story import Story
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.desk import Desk, Wanted
from app.web.drawing import phases
from app.web.refusal import status_of
from app.web.visits import phase_of

router = APIRouter()


@router.get("/visits/{visit_id}/{slug}/readings")
def desk(
    shop: Shop,
    page: Page,
    visit_id: int,
    slug: str,
    bore: int | None = None,
    entry: Literal["", "again", "correct"] = "",
    skip: bool = False,
) -> HTMLResponse:
    """Read the bores. ``bore`` picks one out of turn, ``entry`` says what for, ``skip`` asks why to skip it."""
    with shop.reading() as session:
        story = visits.load(session, visit_id)
    return _desk(page, story, phase_of(slug), Wanted(bore, entry, skip))


@router.post("/visits/{visit_id}/{slug}/readings")
def add(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Keep one reading, or show the page again with what is wrong beside the keypad."""
    here = f"/visits/{visit_id}/{slug}/readings"
    skips = bool(form.text("skip"))
    if skips and not form.text("why"):
        return page.go(f"{here}?bore={form.whole('bore')}&skip=true")
    try:
        new = NewReading(
            phase=slug,
            round_number=form.whole("round"),
            bore=form.whole("bore"),
            kind="skip" if skips else form.text("kind"),
            value=None if skips else form.number("value", "Nothing was typed."),
            by=form.text("by"),
            why=form.text("why"),
            supersedes=form.whole("supersedes") if form.text("supersedes") else None,
        )
        form.raise_problems()
        readings.add(shop, visit_id, form.text("key"), new, now)
    except NotThereError:
        raise
    except RefusedError as refusal:
        with shop.reading() as session:
            story = visits.load(session, visit_id)
        wanted = Wanted.typed(form, skips)
        return _desk(page, story, phase_of(slug), wanted, form.values, refusal.problems, status_of(refusal))
    return page.saved(here)


@router.post("/visits/{visit_id}/{slug}/rounds")
def begin(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Begin one more round."""
    readings.begin_round(shop, visit_id, form.text("key"), slug, now)
    return page.saved(f"/visits/{visit_id}/{slug}/readings")


def _desk(
    page: Pages,
    story: Story,
    phase: Phase,
    wanted: Wanted,
    values: Mapping[str, str] | None = None,
    problems: Mapping[str, str] | None = None,
    status: int = 200,
) -> HTMLResponse:
    shown = Desk(story, phase, wanted, values or {}, problems or {})
    return page.show(
        "visit/readings.html",
        status,
        story=story,
        phase=phase,
        phases=phases(story),
        desk=shown,
        problems=problems or {},
    )
