"""Setting every plate of the cold engine on one feeler: the list, one plate after the other, a tap for each."""

from collections.abc import Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.commands import checks, cold_settings
from app.shop.commands.cold_settings import NewSetting
from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import COLD_PRESET
from app.shop.queries.assessed import PhaseSeen, phase_seen
from app.shop.store.idempotency import new_key
from app.sync.engine.units import THOU
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.web.presenters.cold_setting import cold_page
from app.web.presenters.drawing import phases
from app.wording.reasons import problems_in_words
from app.wording.work.phases import item_label
from app.wording.work.safety import deferral, safety_lines

router = APIRouter(prefix="/visits/{visit_id}/cold-preset/plates")

BEFORE = ("cold-and-off", "hand-gauged")
"""The items that are recorded before the first plate."""

FACTS = ("hand-gauged", "couplers-new")
"""Those that say how much it saves."""


@router.get("")
def plates(shop: Shop, page: Page, visit_id: int) -> Response:
    """The plates with the one to set next; the cold preset where nothing is set cold any more."""
    shown = phase_seen(shop, visit_id, COLD_PRESET.slug)
    if shown.judged.cold is None:
        return page.go(f"/visits/{visit_id}/cold-preset")
    return _page(page, shown, {}, {})


@router.post("/start")
def start(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Record what comes before the first plate."""
    return _record(shop, page, form, visit_id, now, BEFORE, "/plates")


@router.post("/facts")
def facts(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Record what the hand and the couplers are like, and show the offer anew."""
    return _record(shop, page, form, visit_id, now, FACTS, "")


def _record(
    shop: Shop, page: Pages, form: Typed, visit_id: int, now: str, items: tuple[str, ...], then: str
) -> Response:
    ticked = {item: None for item in items if form.text(item)}
    try:
        checks.record(shop, visit_id, form.text("key"), COLD_PRESET.slug, ticked, form.text("by"), now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _refused(shop, page, form, visit_id, refusal)
    return page.saved(f"/visits/{visit_id}/cold-preset{then}")


@router.post("")
def set_plate(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Save that a plate was set and checked, or on which feeler it was really set."""
    try:
        cold_settings.set_plate(shop, visit_id, form.text("key"), _setting(form), now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _refused(shop, page, form, visit_id, refusal)
    return page.saved(f"/visits/{visit_id}/cold-preset/plates")


def _setting(form: Typed) -> NewSetting:
    feeler = form.units.of("blade")
    leaves = tuple(feeler.kept(form.number(name)) * THOU for name in ("leaf", "second_leaf") if form.text(name))
    bore = form.whole("bore")
    corrects = form.whole("supersedes") if form.text("supersedes") else None
    form.raise_problems()
    return NewSetting(bore, leaves, form.text("by"), corrects)


def _refused(shop: Shop, page: Pages, form: Typed, visit_id: int, refusal: RejectedError) -> HTMLResponse:
    shown = phase_seen(shop, visit_id, COLD_PRESET.slug)
    if shown.judged.cold is None:
        raise refusal
    problems = problems_in_words(refusal)
    return _page(page, shown, form.values, problems, status_of(refusal))


def _page(
    page: Pages, shown: PhaseSeen, values: Mapping[str, str], problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    record, work = shown.judged.record, shown.judged.cold
    assert work is not None
    return page.show(
        "visit/plates.html",
        status,
        record=record,
        phase=COLD_PRESET,
        phases=phases(shown.assessment),
        work=work,
        cold=cold_page(work),
        units=record.units.on_screen,
        cautions_here=safety_lines(shown.judged.cautions),
        defer=deferral(),
        items=[(slug, item_label(slug, parts_of(record.layout))) for slug in BEFORE],
        values={"by": record.visit.by, "key": new_key(), **values},
        problems=problems,
    )
