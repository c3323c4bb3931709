"""Putting right, after the sign-off, what was typed wrong: the form, and the new issue of the sheet it makes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.at_site import may_write
from app.shop.commands.corrections import NewCorrection, correct
from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import PHASES
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.measures import Units
from app.shop.record.rounds import Round
from app.shop.record.superseding import current
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.idempotency import new_key
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.web.presenters.drawing import shown
from app.wording.message import say
from app.wording.office import paper
from app.wording.quantities import feeler as feeler_words
from app.wording.reasons import problems_in_words
from app.wording.work.phases import item_label, phase_title, unit_label

router = APIRouter()


@dataclass(frozen=True, slots=True)
class CorrectableFigure:
    """One figure that stands: the field it is typed into, what it is, and its value as it would be typed."""

    field: str
    ident: int
    label: str
    value: str
    unit: str


@dataclass(frozen=True, slots=True)
class Group:
    """The figures of one round, or those of the checks."""

    title: str
    figures: tuple[CorrectableFigure, ...]


@router.get("/visits/{visit_id}/correct")
def correction_form(shop: Shop, page: Page, visit_id: int) -> Response:
    """Every figure of a visit that was signed off, to type the right one over the wrong one; the sheet where another
    site records."""
    with shop.reading() as session:
        record = loader.load(session, visit_id)
    if record.sign_off is None:
        raise NotFoundError(because(Rejection.NOT_SIGNED_OFF))
    if not may_write(record.visit.site_id):
        return page.go(f"/visits/{visit_id}/sheet")
    return _correction(page, record, {"key": new_key(), "why": "", "by": ""}, {})


@router.post("/visits/{visit_id}/correct")
def correction(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Store a correction; the sheet is shown as a new issue."""
    with shop.reading() as session:
        record = loader.load(session, visit_id)
    if record.sign_off is None:
        raise NotFoundError(because(Rejection.NOT_SIGNED_OFF))
    try:
        new = NewCorrection(
            form.text("why"),
            form.text("by"),
            dict(_changed(form, "reading", [f for group in _rounds(record) for f in group.figures])),
            _in_their_own(form, dict(_changed(form, "check", _checks(record, form.units).figures)), record),
        )
        form.raise_problems()
        correct(shop, visit_id, form.text("key"), new, now, form.units)
    except RejectedError as refusal:
        with shop.reading() as session:
            record = loader.load(session, visit_id)
        return _correction(page, record, dict(form.values), problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/sheet")


def _rounds(record: VisitRecord) -> list[Group]:
    groups = []
    for one in record.rounds:
        figures = tuple(
            CorrectableFigure(
                f"reading-{r.ident}",
                r.ident,
                say(paper.CORRECT_AGAIN if r.kind in ("closing", "again") else paper.CORRECT_BORE, bore=r.bore),
                shown(r.value, record.meter),
                r.unit,
            )
            for r in current(one.entered)
            if r.value is not None
        )
        if figures:
            groups.append(Group(_title(record, one), figures))
    return groups


def _title(record: VisitRecord, one: Round) -> str:
    values = {"number": one.row.number, "phase": phase_title(one.row.phase)}
    if not one.row.opening:
        return say(paper.CORRECT_ROUND, **values)
    message = paper.CORRECT_ROUND_FROM_OPEN if one.row.from_above else paper.CORRECT_ROUND_AT_OPENING
    return say(message, feeler=feeler_words(one.row.opening, record.units), **values)


def _checks(record: VisitRecord, units: Units) -> Group:
    """The checks with a figure, in ``units``."""
    items = {(p.slug, i.slug): (phase_title(p), i) for p in PHASES for i in p.items}
    figures = []
    for place, check in record.checks.items():
        if check.number is not None and place in items:
            phase, item = items[place]
            label = say(paper.CORRECT_ITEM, phase=phase, item=item_label(item, parts_of(record.layout)))
            shown = item.shown(check.number, units)
            figures.append(
                CorrectableFigure(f"check-{check.ident}", check.ident, label, shown, unit_label(item.unit_in(units)))
            )
    return Group(say(paper.CORRECT_ITEMS), tuple(figures))


def _changed(form: Typed, kind: str, figures: Sequence[CorrectableFigure]) -> Iterator[tuple[int, float]]:
    """What was typed over a figure; a field that came back as it was, or empty, changes nothing.

    Figures that no longer stand are passed on too, so that the store can reject them as corrected before.
    """
    known = {figure.field: figure for figure in figures}
    for name in form.values:
        start, _, ident = name.partition("-")
        if start == kind and ident.isdecimal() and len(ident) < 19 and form.text(name):
            if name in known and form.text(name) == known[name].value:
                continue
            yield int(ident), form.number(name)


def _in_their_own(form: Typed, typed: Mapping[int, float], record: VisitRecord) -> dict[int, float]:
    """Figures of checks as they are recorded, out of the units that stood beside the boxes."""
    items = {i.slug: i for p in PHASES for i in p.items}
    of = {check.ident: items.get(check.item) for check in record.all_checks}
    return {i: item.kept(value, form.units) if (item := of.get(i)) else value for i, value in typed.items()}


def _correction(
    page: Pages, record: VisitRecord, values: Mapping[str, str], problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    units = Typed(values).units if values.get("units") else record.units.on_screen
    return page.show(
        "visit/correct.html",
        status,
        record=record,
        units=units,
        groups=[*_rounds(record), _checks(record, units)],
        values=values,
        problems=problems,
    )
