"""Moves: made as the card said, with one tap, or differently, with a form."""

from collections.abc import Collection, Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.items import MoveKind, Phase
from app.shop.procedure.parts import parts_of
from app.shop.record import loader
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.idempotency import new_key
from app.sync.engine.layout import Layout
from app.sync.engine.units import THOU
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.web.pages.visit.visits import phase_of
from app.web.presenters.drawing import phases
from app.wording.reasons import problems_in_words

router = APIRouter()


@router.get("/visits/{visit_id}/{slug}/moves/new")
def made_otherwise(shop: Shop, page: Page, visit_id: int, slug: str, kind: str = "", place: str = "") -> HTMLResponse:
    """The form for a move made differently, started from what the card said."""
    with shop.reading() as session:
        record = loader.load(session, visit_id)
    values = {"key": new_key(), "kind": kind, "place": place, "amount": "", "leaf": "", "second_leaf": "", "way": ""}
    return _form(page, record, phase_of(slug), values, {})


@router.post("/visits/{visit_id}/{slug}/moves")
def make(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Keep the move as made."""
    try:
        seen = form.whole("seen") if form.text("seen") else None
        moves.make(shop, visit_id, form.text("key"), _new_move(form, slug), now, seen)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        with shop.reading() as session:
            record = loader.load(session, visit_id)
        return _form(page, record, phase_of(slug), form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/{slug}/readings")


def place_name(kind: str, bank: str | None, near: int | None, far: int | None) -> str:
    """Where a move sits, as the form says it: ``A``, ``2-3``, ``4``."""
    if kind in ("blade", "screw"):
        return f"{near}-{far}"
    return str(near) if kind == "bypass" else bank or ""


def _new_move(form: Typed, slug: str) -> NewMove:
    kind, place = form.text("kind"), form.text("place")
    bank, near, far = "", None, None
    if kind in ("blade", "screw"):
        ends = [int(end) for end in place.split("-") if end.isdecimal()]
        near, far = (ends[0], ends[1]) if len(ends) == 2 else (None, None)
    elif kind == "bypass":
        near = int(place) if place.isdecimal() else None
    else:
        bank = place
    blade = form.units.of("blade")
    leaves = tuple(blade.kept(form.number(name)) * THOU for name in ("leaf", "second_leaf") if form.text(name))
    amount = 0.0
    if kind != "blade":
        amount = form.number("amount", Rejection.TURNS_MISSING)
        if (form.text("way") == "out") != (kind == "bypass"):
            amount = -amount
    form.raise_problems()
    return NewMove(slug, kind, bank, near, far, amount, leaves, bool(form.text("advised")), form.text("by"))


def _form(
    page: Pages,
    record: VisitRecord,
    phase: Phase,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    return page.show(
        "visit/move.html",
        status,
        record=record,
        units=Typed(values).units if "leaf" in values and status != 200 else record.units,
        phase=phase,
        phases=phases(record),
        values=values,
        problems=problems,
        kinds=phase.moves_for(parts_of(record.layout)),
        places=_places(record.layout, phase.moves_for(parts_of(record.layout))),
        ways=_ways(phase.moves_for(parts_of(record.layout))),
    )


def _places(layout: Layout, kinds: Collection[MoveKind]) -> list[tuple[str, str]]:
    """Every place that a move of these kinds can sit at, as choices."""
    found: list[tuple[str, str]] = []
    if "blade" in kinds or "screw" in kinds:
        found += [(f"{c.near}-{c.far}", f"Coupler {c.near}–{c.far}") for c in layout.couplers()]
    if "stop" in kinds or "link" in kinds:
        found += [(bank.name, f"Bank {bank.name}") for bank in layout.banks]
    if "bypass" in kinds:
        found += [(str(screw.bore), f"Bore {screw.bore}") for screw in layout.bypass_screws]
    return found


def _ways(kinds: Collection[MoveKind]) -> tuple[tuple[str, str], tuple[str, str]]:
    """Which way a screw was turned, with what that does where all of them do it alike."""
    if "link" in kinds:
        return ("in", "in, opens more or earlier"), ("out", "out, opens less or later")
    if "bypass" in kinds or "screw" in kinds:
        return ("in", "in"), ("out", "out")
    return ("in", "in, opens"), ("out", "out, closes")
