"""How each kind of adjuster is drawn, found by its slug, and how forms carry its place and its amount."""

from dataclasses import dataclass

from app.sync.engine.adjusters.kind import AdjusterKind
from app.sync.engine.events import Place
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice
from app.web import forms
from app.web.presenters.views import ScrewMark
from app.wording.message import say
from app.wording.work.adjusters import ADJUSTERS


@dataclass(frozen=True, slots=True)
class Drawing:
    """One kind of adjuster as it is drawn.

    ``mark`` names the mark beside a card's title; its thin lines are ``path`` and ``circles`` (x, y, radius) in a box
    of 24 by 46. ``corner`` is where a screw of a single bore sits in the square of its tile, 6 to 114 either way.
    """

    mark: str
    path: str
    circles: tuple[tuple[float, float, float], ...] = ()
    corner: tuple[float, float] = (103, 17)


_DRAWINGS: dict[str, Drawing] = {
    "stop": Drawing("stop", "M7 15h10v9h-10zM12 15v25M8 29h8M8 34h8"),
    "blade": Drawing("coupler", "M9 17v14M15 17v14M5 24h14"),
    "screw": Drawing("screw", "M9 22v14M15 22v14M9 17l6 -6", ((12, 14, 4.5),)),
    "link": Drawing("link", "M12 15v20", ((12, 13, 3), (12, 37, 3))),
    "bypass": Drawing("bypass", "M8 22l8 -8M12 24v12M6 36h12", ((12, 18, 6),), corner=(103, 103)),
}


def register(slug: str, drawing: Drawing) -> None:
    """Let a further kind of adjuster be drawn. Raises ValueError where one of that slug is drawn already."""
    if slug in _DRAWINGS:
        raise ValueError(f"{slug} is drawn already")
    _DRAWINGS[slug] = drawing


def unregister(slug: str) -> None:
    """Forget how a kind of adjuster is drawn. Raises KeyError where none is."""
    del _DRAWINGS[slug]


def drawing_of(slug: str) -> Drawing:
    """How a kind of adjuster is drawn. Raises KeyError for a kind without a drawing."""
    return _DRAWINGS[slug]


def drawn(mark: str) -> Drawing | None:
    """The drawing of a card's mark; None where the mark is no adjuster's."""
    return next((drawing for drawing in _DRAWINGS.values() if drawing.mark == mark), None)


def further_fields() -> list[tuple[str, str]]:
    """The fields of the engine form for screws of further kinds, each with its label."""
    return [(field, say(ADJUSTERS[kind].name)) for field, kind in forms.further_fields().items()]


def screw_mark(kind: AdjusterKind, turned: bool) -> ScrewMark:
    """A screw of a single bore as its tile shows it; ``turned`` when the next step turns it."""
    return ScrewMark(kind.slug, *drawing_of(kind.slug).corner, turned)


def moved_coupler(step: Advice) -> frozenset[int | None]:
    """The two bores between which the next step resets or turns a coupler; empty where it moves none."""
    at_coupler = step.adjuster is not None and step.adjuster.sits == "coupler"
    return frozenset((step.near, step.far)) if at_coupler else frozenset()


def place_text(place: Place) -> str:
    """A place as forms carry it: ``A``, ``2-3``, ``4``."""
    if place.far is not None:
        return f"{place.near}-{place.far}"
    return place.bank or str(place.near)


def place_from(kind: AdjusterKind, text: str) -> Place:
    """The place of an adjuster of that kind from the text of a form; an empty one where the text is none."""
    if kind.sits == "bank":
        return Place(text)
    ends = [int(end) for end in text.split("-") if end.isdecimal()]
    if kind.sits == "bore":
        return Place(near=ends[0]) if len(ends) == 1 else Place()
    return Place(near=ends[0], far=ends[1]) if len(ends) == 2 else Place()


def amount_fields(kind: AdjusterKind, advice: Advice) -> dict[str, str]:
    """How far a move goes, as the form carries it: one or two leaves [thou], or an amount and which way."""
    if kind.unit == "leaves":
        thou = [f"{leaf / THOU:g}" for leaf in advice.leaves]
        return {"leaf": thou[0], "second_leaf": thou[1] if len(thou) > 1 else ""}
    inward = (advice.amount > 0) == (kind.positive == "in")
    return {"amount": f"{abs(advice.amount):g}", "way": "in" if inward else "out"}


def signed(kind: AdjusterKind, size: float, way: str) -> float:
    """The amount of a move of that kind, from how far and which way (``in`` or ``out``) it was turned."""
    return size if (way == "out") == (kind.positive == "out") else -size
