"""Adjustments: done as the card said, with one tap, or differently, with a form; taken back or changed afterwards."""

from collections.abc import Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.at_site import may_write
from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.codes import CautionCode
from app.shop.procedure.parts import needs_power_off
from app.shop.queries.assessed import PhaseSeen, phase_seen
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.idempotency import new_key
from app.sync.engine.adjusters.registry import kind_of, kinds
from app.sync.engine.events import Place
from app.sync.engine.units import THOU
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.web.presenters.adjusters import place_from, signed
from app.web.presenters.drawing import phases
from app.web.presenters.reading.recorded import move_as_typed
from app.wording.reasons import problems_in_words
from app.wording.work import adjusters
from app.wording.work.safety import safety_words

router = APIRouter()


@router.get("/visits/{visit_id}/{slug}/moves/new")
def made_otherwise(shop: Shop, page: Page, visit_id: int, slug: str, kind: str = "", place: str = "") -> Response:
    """The form for an adjustment done differently, started from what the card said; the readings where another site
    records."""
    shown = phase_seen(shop, visit_id, slug)
    if not may_write(shown.judged.record.visit.site_id):
        return page.go(f"/visits/{visit_id}/{slug}/readings")
    if shown.assessment.stopped:
        return page.go(f"/visits/{visit_id}/stop")
    values = {"key": new_key(), "kind": kind, "place": place, "amount": "", "leaf": "", "second_leaf": "", "way": ""}
    return _form(page, shown, values, {})


@router.get("/visits/{visit_id}/{slug}/moves/change")
def made_differently(shop: Shop, page: Page, visit_id: int, slug: str, move: int = 0) -> Response:
    """The same form for an adjustment that was recorded wrong, filled with what was recorded; a plate set cold is
    corrected in the list of plates, and nothing where another site records."""
    shown = phase_seen(shop, visit_id, slug)
    record = shown.judged.record
    if not may_write(record.visit.site_id):
        return page.go(f"/visits/{visit_id}/{slug}/recorded")
    if any(row.ident == move for row in record.cold_settings):
        return page.go(f"/visits/{visit_id}/cold-preset/plates")
    typed = move_as_typed(record, shown.judged.phase, move, record.units.on_screen)
    if typed is None:
        raise NotFoundError(because(Rejection.NO_SUCH_MOVE))
    return _form(page, shown, {"key": new_key(), "changes": str(move), **typed}, {})


@router.post("/visits/{visit_id}/{slug}/moves")
def make(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Save the adjustment as it was done, or how one was really done that was recorded wrong."""
    here, key = f"/visits/{visit_id}/{slug}", form.text("key")
    try:
        seen = form.whole("seen") if form.text("seen") else None
        if form.text("changes"):
            moves.change(shop, visit_id, key, form.whole("changes"), _new_move(form, slug), now)
            return page.saved(f"{here}/recorded")
        made = moves.make(shop, visit_id, key, _new_move(form, slug), now, seen)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        shown = phase_seen(shop, visit_id, slug)
        return _form(page, shown, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"{here}/readings?saved=move-{made}")


@router.post("/visits/{visit_id}/{slug}/moves/taken-back")
def take_back(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Save that an adjustment was not made, or undo how it was changed. A tablet names one by its key while it does not
    know its number."""
    named, key, by = form.text("move"), form.text("key"), form.text("by")
    move = int(named) if named.isdecimal() and len(named) < 19 else moves.stored_under(shop, visit_id, named)
    (moves.undo if form.text("undo") else moves.take_back)(shop, visit_id, key, slug, move, by, now)
    return page.saved(f"/visits/{visit_id}/{slug}/{'recorded' if form.text('listed') else 'readings'}")


def _new_move(form: Typed, slug: str) -> NewMove:
    name, text = form.text("kind"), form.text("place")
    kind = next((one for one in kinds() if one.slug == name), None)
    place = place_from(kind, text) if kind is not None else Place(text)
    feeler = form.units.of("blade")
    leaves = tuple(feeler.kept(form.number(name)) * THOU for name in ("leaf", "second_leaf") if form.text(name))
    amount = 0.0
    if kind is not None and kind.unit != "leaves":
        amount = signed(kind, form.number("amount", Rejection.TURNS_MISSING), form.text("way"))
    form.raise_problems()
    advised, by = bool(form.text("advised")), form.text("by")
    off = bool(form.text("power_off"))
    return NewMove(slug, name, place.bank, place.near, place.far, amount, leaves, advised, by, off)


def _form(
    page: Pages, shown: PhaseSeen, values: Mapping[str, str], problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    record, phase = shown.judged.record, shown.judged.phase
    made_here = phase.moves_for(record.layout)
    return page.show(
        "visit/move.html",
        status,
        record=record,
        units=Typed(values).units if "leaf" in values and status != 200 else record.units.on_screen,
        phase=phase,
        phases=phases(shown.assessment),
        values=values,
        problems=problems,
        kinds=made_here,
        places=adjusters.places(record.layout, made_here),
        ways=adjusters.ways(made_here),
        turned=adjusters.turned(made_here),
        asks_power_off=any(needs_power_off(record.layout, kind_of(kind)) for kind in made_here),
        motor_caution=safety_words(CautionCode.MOTOR_SHUTS_PLATE),
    )
