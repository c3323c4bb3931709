"""Adjustments: done as the card said, with one tap, or differently, with a form."""

from collections.abc import Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.errors import NotFoundError, RejectedError
from app.shop.queries.assessed import PhaseSeen, phase_seen
from app.shop.rejections import Rejection
from app.shop.store.idempotency import new_key
from app.sync.engine.adjusters.registry import kinds
from app.sync.engine.events import Place
from app.sync.engine.units import THOU
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.web.presenters.adjusters import place_from, signed
from app.web.presenters.drawing import phases
from app.wording.reasons import problems_in_words
from app.wording.work import adjusters

router = APIRouter()


@router.get("/visits/{visit_id}/{slug}/moves/new")
def made_otherwise(shop: Shop, page: Page, visit_id: int, slug: str, kind: str = "", place: str = "") -> Response:
    """The form for an adjustment done differently, started from what the card said."""
    shown = phase_seen(shop, visit_id, slug)
    if shown.assessment.stopped:
        return page.go(f"/visits/{visit_id}/stop")
    values = {"key": new_key(), "kind": kind, "place": place, "amount": "", "leaf": "", "second_leaf": "", "way": ""}
    return _form(page, shown, values, {})


@router.post("/visits/{visit_id}/{slug}/moves")
def make(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Save the adjustment as it was done."""
    try:
        seen = form.whole("seen") if form.text("seen") else None
        moves.make(shop, visit_id, form.text("key"), _new_move(form, slug), now, seen)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        shown = phase_seen(shop, visit_id, slug)
        return _form(page, shown, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/{slug}/readings")


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
    return NewMove(slug, name, place.bank, place.near, place.far, amount, leaves, advised, by)


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
    )
