"""Setting all plates cold, as its offer and its page show it."""

from dataclasses import dataclass

from app.shop.assessment.cold_setting import ColdStep, ColdWork
from app.shop.record.measures import Units
from app.shop.record.visit_record import cold_setting_of
from app.sync.engine.units import THOU
from app.web.presenters.filters import clock
from app.wording.cold_setting import CHECK, how, reasons, set_by, standing
from app.wording.message import say
from app.wording.quantities import feeler
from app.wording.work.phases import item_label


@dataclass(frozen=True, slots=True)
class ColdOffer:
    """The offer on the page of the cold preset: how far it is, with its reasons.

    ``first``: it stands before the checklist, where it pays. ``begun`` and ``done`` tell which way on is named.
    ``asks`` are the items, each with its label, that would make it save more.
    """

    words: str
    reasons: tuple[str, ...]
    first: bool
    begun: bool
    done: bool
    asks: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ColdLine:
    """One plate in the list: what it is set by, and once set on which feeler, by whom and when.

    ``move`` is the row that says so, ``leaf`` and ``second_leaf`` its feelers as they are typed.
    """

    bore: int
    title: str
    stands: bool
    made: str = ""
    who: str = ""
    move: int = 0
    leaf: str = ""
    second_leaf: str = ""


@dataclass(frozen=True, slots=True)
class ColdPage:
    """The list of plates with the one to set next: ``how`` and how to check it. Empty once all are set.

    ``leaf`` and ``second_leaf`` are what the boxes of the feeler begin with.
    """

    lines: tuple[ColdLine, ...]
    words: str
    bore: int | None
    title: str
    how: str
    check: str
    leaf: str
    second_leaf: str


def cold_offer(work: ColdWork | None) -> ColdOffer | None:
    """The offer; None where nothing is set cold, and once it was declined before a plate was set."""
    if work is None or (work.declined and not work.begun):
        return None
    done = work.next is None
    said = () if work.begun else reasons(work.foreseen)
    words = standing(work, work.record.units)
    open_ones = {"hand-gauged": not work.gauged, "couplers-new": not work.assembled}
    asks = tuple((slug, item_label(slug, ())) for slug, asked in open_ones.items() if asked)
    return ColdOffer(words, said, not work.begun and work.foreseen.pays, work.begun, done, asks)


def cold_page(work: ColdWork) -> ColdPage:
    """The page of a cold setting."""
    record, step = work.record, work.next
    leaf, second_leaf = _boxes(work.leaves, record.units)
    return ColdPage(
        lines=tuple(_line(work, one) for one in work.steps),
        words=standing(work, record.units),
        bore=step.bore if step is not None else None,
        title=set_by(step, record.layout) if step is not None else "",
        how=how(step, record.layout, sum(work.leaves), record.units) if step is not None else "",
        check=say(CHECK),
        leaf=leaf,
        second_leaf=second_leaf,
    )


def _line(work: ColdWork, step: ColdStep) -> ColdLine:
    record, row = work.record, step.made
    title = set_by(step, record.layout)
    if row is None:
        return ColdLine(step.bore, title, step.stands)
    made = cold_setting_of(row, record.layout)
    size, who = feeler(made.gap, record.units), f"{row.by}, {clock(row.at)}"
    return ColdLine(step.bore, title, step.stands, size, who, row.ident, *_boxes(made.leaves, record.units))


def _boxes(leaves: tuple[float, ...], units: Units) -> tuple[str, str]:
    """One or two leaves [m] as they are typed, the way they are marked."""
    shown = [units.on_screen.of("blade").shown(leaf / THOU) for leaf in leaves]
    return shown[0], shown[1] if len(shown) > 1 else ""
