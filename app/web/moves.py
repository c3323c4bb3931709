"""Moves: made as the card said, with one tap, or differently, with a form."""

from collections.abc import Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop import moves, visits
from app.shop.keys import new_key
from app.shop.moves import NewMove
from app.shop.phases import Phase
from app.shop.refusals import NotThereError, RefusedError
from app.shop.story import Story
from app.sync.units import THOU
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.drawing import phases
from app.web.forms import Typed
from app.web.refusal import status_of
from app.web.visits import phase_of

router = APIRouter()


@router.get("/visits/{visit_id}/{slug}/moves/new")
def made_otherwise(shop: Shop, page: Page, visit_id: int, slug: str, kind: str = "", place: str = "") -> HTMLResponse:
    """The form for a move made differently, started from what the card said."""
    with shop.reading() as session:
        story = visits.load(session, visit_id)
    values = {"key": new_key(), "kind": kind, "place": place, "amount": "", "leaf": "", "second_leaf": "", "way": ""}
    return _form(page, story, phase_of(slug), values, {})


@router.post("/visits/{visit_id}/{slug}/moves")
def make(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Keep the move as made."""
    try:
        seen = form.whole("seen") if form.text("seen") else None
        moves.make(shop, visit_id, form.text("key"), _new_move(form, slug), now, seen)
    except NotThereError:
        raise
    except RefusedError as refusal:
        with shop.reading() as session:
            story = visits.load(session, visit_id)
        return _form(page, story, phase_of(slug), form.values, refusal.problems, status_of(refusal))
    return page.saved(f"/visits/{visit_id}/{slug}/readings")


def place_name(kind: str, bank: str | None, near: int | None, far: int | None) -> str:
    """Where a move sits, as the form says it: ``A``, ``2-3``, ``4``."""
    if kind == "blade":
        return f"{near}-{far}"
    return str(near) if kind == "bypass" else bank or ""


def _new_move(form: Typed, slug: str) -> NewMove:
    kind, place = form.text("kind"), form.text("place")
    bank, near, far = "", None, None
    if kind == "blade":
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
        amount = form.number("amount", "How far it was turned.")
        if form.text("way") == "out":
            amount = -amount
    form.raise_problems()
    return NewMove(slug, kind, bank, near, far, amount, leaves, bool(form.text("advised")), form.text("by"))


def _form(
    page: Pages,
    story: Story,
    phase: Phase,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    return page.show(
        "visit/move.html",
        status,
        story=story,
        units=Typed(values).units if "leaf" in values and status != 200 else story.units,
        phase=phase,
        phases=phases(story),
        values=values,
        problems=problems,
        places=_places(story, phase),
        ways=_ways(phase),
    )


def _places(story: Story, phase: Phase) -> list[tuple[str, str]]:
    """Every place a move of this phase can sit at, as choices."""
    layout = story.layout
    found: list[tuple[str, str]] = []
    if "blade" in phase.moves:
        found += [(f"{c.near}-{c.far}", f"Coupler {c.near}–{c.far}") for c in layout.couplers()]
    if "stop" in phase.moves or "link" in phase.moves:
        found += [(bank.name, f"Bank {bank.name}") for bank in layout.banks]
    if "bypass" in phase.moves:
        found += [(str(bore), f"Bore {bore}") for bore in layout.bores]
    return found


def _ways(phase: Phase) -> tuple[tuple[str, str], tuple[str, str]]:
    if "link" in phase.moves:
        return ("in", "in, opens more or earlier"), ("out", "out, opens less or later")
    return ("in", "in, opens"), ("out", "out, closes")
