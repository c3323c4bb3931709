"""The engine itself: the screen of a stop, word that it was stopped, and the list before it is started again."""

from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.shop.commands import checks, running
from app.shop.commands.live import filling
from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.limits import ITEMS, open_stops
from app.shop.procedure.phases import FIRST_FIRE
from app.shop.queries.assessed import assessed
from app.shop.store.database import Database
from app.shop.store.idempotency import new_key
from app.web.context import Form, Now, Page, Pages, ServerNow, Shop
from app.web.error_responses import status_of
from app.web.presenters.drawing import phases
from app.web.presenters.engine_runs import causes, start_view, stop_views
from app.web.presenters.steps import resume_url
from app.wording.reasons import problems_in_words
from app.wording.work.safety import deferral

router = APIRouter()


@router.get("/visits/{visit_id}/stop")
def stop_screen(shop: Shop, page: Page, visit_id: int) -> Response:
    """The figures that stopped the engine, and what ends the stop; the visit itself where none is open."""
    return _stop(shop, page, visit_id, {"key": new_key()}, {})


@router.post("/visits/{visit_id}/stop")
def end_stop(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """End the stop with its cause and its remedy."""
    cause, words, remedy, by = (form.text(name) for name in ("cause", "cause_text", "remedy", "by"))
    try:
        running.end_stop(shop, visit_id, form.text("key"), cause, words, remedy, by, now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _stop(shop, page, visit_id, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/start")


@router.post("/visits/{visit_id}/stop/corrected")
def correct_stop(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """End the stop of figures that were mistyped, with those that the gauges show."""
    with shop.reading() as session:
        stops = [stop.check for stop in open_stops(assessed(session, visit_id).record)]
    try:
        figures = {
            one.ident: ITEMS[one.phase, one.item].kept(form.number(f"check-{one.ident}"), form.units) for one in stops
        }
        form.raise_problems()
        key, by, ran_on = form.text("key"), form.text("by"), bool(form.text("ran_on"))
        checks.correct_stop(shop, visit_id, key, figures, by, now, form.units, ran_on=ran_on)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _stop(shop, page, visit_id, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/start")


@router.post("/visits/{visit_id}/stopped")
def stopped(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Record that the engine was stopped."""
    running.stop(shop, visit_id, form.text("key"), form.text("by"), now)
    return page.saved(f"/visits/{visit_id}/start")


@router.post("/visits/{visit_id}/instruments")
def instruments(shop: Shop, page: Page, form: Form, request: Request, visit_id: int, now: ServerNow) -> Response:
    """Say that the instruments are at this engine and fill in what they show, or that they are no longer."""
    filling.say(shop, visit_id, form.text("key"), form.text("by"), now, active=form.text("active") == "1")
    request.app.state.gauges.know()
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    return page.saved(resume_url(assessment))


@router.get("/visits/{visit_id}/start")
def start_list(shop: Shop, page: Page, visit_id: int) -> Response:
    """What is checked before the engine is started; the visit itself while it may be running."""
    return _start(shop, page, visit_id, {"key": new_key()}, {})


@router.post("/visits/{visit_id}/start")
def start(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Record that the engine was started, with what was checked for it."""
    ticks = {item.slug for item in FIRST_FIRE.items if form.text(item.slug)}
    try:
        running.start(shop, visit_id, form.text("key"), ticks, form.text("by"), now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _start(shop, page, visit_id, form.values, problems_in_words(refusal), status_of(refusal))
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    return page.saved(resume_url(assessment))


def _stop(
    shop: Database,
    page: Pages,
    visit_id: int,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> Response:
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    record = assessment.record
    if not open_stops(record):
        return page.go(resume_url(assessment))
    return page.show(
        "visit/stop.html",
        status,
        record=record,
        stops=stop_views(record),
        causes=causes(record),
        aloud=record.visit.place == "telephone",
        defer=deferral(),
        values={"by": record.visit.by, **values},
        problems=problems,
    )


def _start(
    shop: Database,
    page: Pages,
    visit_id: int,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> Response:
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    record = assessment.record
    if open_stops(record):
        return page.go(f"/visits/{visit_id}/stop")
    shown = start_view(assessment, frozenset(name for name, value in values.items() if value), dict(problems))
    if shown is None:
        return page.go(f"/visits/{visit_id}")
    return page.show(
        "visit/start.html",
        status,
        record=record,
        phases=phases(assessment),
        start=shown,
        defer=deferral(),
        values={"by": record.visit.by, **values},
        problems=problems,
    )
