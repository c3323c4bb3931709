"""The shop's meters: what each repeats, a guided study of it, two compared, and the day of the next check."""

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session

from app.shop.commands import meters
from app.shop.commands.meters import REFERENCES, UNITS_OF, NewMeter
from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.codes import CautionCode
from app.shop.record import meter_studies
from app.shop.record.meter_studies import PAIRS, READINGS, KnownMeter
from app.shop.rejections import Rejection
from app.shop.store.idempotency import new_key
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.wording.message import say
from app.wording.names import day
from app.wording.office import meters as words
from app.wording.quantities import percent, unit_of
from app.wording.reasons import problems_in_words
from app.wording.work.safety import safety_lines

router = APIRouter()

HAZARDS = (CautionCode.EXHAUST_GAS, CautionCode.BACKFIRE, CautionCode.ROTATING_PARTS)
"""What to beware of while a running engine is read."""


@dataclass(frozen=True, slots=True)
class MeterLine:
    """A meter as the list shows it, every figure in words; ``due`` is a day as it is stored."""

    number: int
    name: str
    reads: str
    repeats: str
    known_from: str
    due: str
    due_day: str
    overdue: bool


@router.get("/meters")
def show_all(shop: Shop, page: Page, now: Now) -> HTMLResponse:
    """The meters of the shop, and the form for one more."""
    return _all(shop, page, now, {"key": new_key()}, {})


@router.post("/meters")
def register(shop: Shop, page: Page, form: Form, now: Now) -> Response:
    """Register a meter."""
    try:
        step, low, high = (form.number(name) for name in ("step", "low", "high"))
        reference = form.text("reference") or REFERENCES[0]
        new = NewMeter(form.text("name"), form.text("unit"), step, low, high, reference)
        chosen = {name: why for name, why in new.problems().items() if name in ("name", "unit", "reference")}
        form.raise_problems(chosen if form.problems else {})
        meter_id = meters.register(shop, form.text("key"), new)
    except RejectedError as refusal:
        return _all(shop, page, now, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/meters/{meter_id}")


@router.get("/meters/{meter_id}")
def show(shop: Shop, page: Page, meter_id: int, now: Now) -> HTMLResponse:
    """One meter with its studies."""
    return _one(shop, page, meter_id, now, {}, {})


@router.post("/meters/{meter_id}/studies")
def begin(shop: Shop, page: Page, form: Form, meter_id: int, now: Now) -> Response:
    """Begin a repeatability study, or a comparison with another meter."""
    try:
        other = form.whole("other") if form.text("other") else None
        form.raise_problems()
        where, by = form.text("where"), form.text("study_by")
        second = (form.text("second_where"), form.text("second_by"))
        study_id = meters.begin_study(shop, meter_id, form.text("key"), other, where, by, now, second)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _one(shop, page, meter_id, now, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/studies/{study_id}")


@router.post("/meters/{meter_id}/due")
def due(shop: Shop, page: Page, form: Form, meter_id: int, now: Now) -> Response:
    """Say when the meter is to be checked next."""
    try:
        why, by = form.text("due_why"), form.text("due_by")
        meters.set_due(shop, meter_id, form.text("key"), form.text("due"), why, by, now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _one(shop, page, meter_id, now, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/meters/{meter_id}")


@router.get("/studies/{study_id}")
def study(shop: Shop, page: Page, study_id: int, again: int | None = None) -> HTMLResponse:
    """The next reading of a study; ``again`` corrects one that was mistyped."""
    return _study(shop, page, study_id, {"supersedes": str(again or "")}, {})


@router.post("/studies/{study_id}")
def read(shop: Shop, page: Page, form: Form, study_id: int, now: Now) -> Response:
    """Keep the next reading of a study."""
    try:
        value = form.number("value", Rejection.METER_VALUE_MISSING)
        supersedes = form.whole("supersedes") if form.text("supersedes") else None
        form.raise_problems()
        meters.read(shop, study_id, form.text("key"), value, form.text("by"), now, supersedes)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _study(shop, page, study_id, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/studies/{study_id}")


def line_of(meter: KnownMeter, today: str) -> MeterLine:
    """A meter in words."""
    return MeterLine(
        meter.row.ident,
        meter.row.name,
        words.reads(meter),
        percent(meter.repeatability, 1),
        words.known_from(meter),
        meter.due.due if meter.due else "",
        day(meter.due.due) if meter.due else "",
        meter.overdue(today),
    )


def meter_choices(session: Session, today: str) -> list[tuple[int, str]]:
    """The meters to choose from when a visit is opened, with word of a check that is overdue."""
    return [(meter.row.ident, words.choice(meter, today)) for meter in meter_studies.all_of(session)]


def _all(
    shop: Shop, page: Pages, now: str, values: Mapping[str, str], problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    with shop.reading() as session:
        lines = [line_of(meter, now[:10]) for meter in meter_studies.all_of(session)]
    units = [(unit, words.unit(unit, quantity)) for quantity, names in UNITS_OF.items() for unit in names]
    references = [(one, say(words.REFERENCES[one])) for one in REFERENCES]
    return page.show(
        "shop/meters.html", status, lines=lines, units=units, references=references, values=values, problems=problems
    )


def _one(
    shop: Shop,
    page: Pages,
    meter_id: int,
    now: str,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    with shop.reading() as session:
        meter = meter_studies.known(session, meter_id)
        others = [
            m.row
            for m in meter_studies.all_of(session)
            if m.row.unit_name == meter.row.unit_name and m.row.ident != meter_id
        ]
    return page.show(
        "shop/meter.html",
        status,
        meter=meter,
        line=line_of(meter, now[:10]),
        shown=words.shown(meter),
        same=words.same(meter),
        others=[(o.ident, o.name) for o in others],
        studies=[(s, words.result_of(s)) for s in reversed(meter.studies)],
        readings=READINGS,
        pairs=PAIRS,
        values=values,
        problems=problems,
    )


def _study(
    shop: Shop,
    page: Pages,
    study_id: int,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    with shop.reading() as session:
        told = meter_studies.study_of(session, study_id)
        meter = meter_studies.known(session, told.meter.ident)
    old = next((r for r in told.readings if str(r.ident) == values.get("supersedes", "")), None)
    reads_with = told.next_meter
    if old is not None and told.other is not None and old.meter_id == told.other.ident:
        reads_with = told.other
    unit = unit_of(told.meter)
    return page.show(
        "shop/study.html",
        status,
        study=told,
        old=old,
        reads_with=reads_with,
        shown=[(r, f"{r.value:.{unit.decimals}f}") for r in told.readings],
        said=words.result_of(told),
        line=line_of(meter, ""),
        cautions_here=safety_lines(HAZARDS),
        values={"key": new_key(), **values},
        problems=problems,
    )
