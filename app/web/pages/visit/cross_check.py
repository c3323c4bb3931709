"""The cross-check of a visit: the one next test with its form, what still stands, the drawn table, every entry."""

from collections.abc import Callable, Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.cross_check.logger_file import LoggerColumn, columns_of, quantities, read_logger, role_at
from app.shop.cross_check.units import takes_words
from app.shop.cross_check.weighing import cross_check
from app.shop.errors import NotFoundError, RejectedError
from app.shop.record import loader
from app.shop.store.database import Database
from app.shop.store.idempotency import new_key
from app.shop.training import rough
from app.sync.diagnosis.measurements import FindingKind
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.web.presenters.cross_check import view
from app.web.presenters.logger_columns import logger_columns, logger_quantities
from app.wording.reasons import problems_in_words
from app.wording.work.safety import deferral

router = APIRouter()


@router.get("/visits/{visit_id}/why")
def show(shop: Shop, page: Page, visit_id: int, test: str = "") -> HTMLResponse:
    """The next test, or the ``test`` that was asked for."""
    return _page(shop, page, visit_id, test, {"key": new_key()}, {})


@router.post("/visits/{visit_id}/why")
def add(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Store what a test showed; fields left empty were not read. ``cannot`` says that it cannot be made here,
    ``practice`` makes it at the training engine, with its cautions taken where ``safe`` is ticked."""
    test, key, by = form.text("test"), form.text("key"), form.text("by")

    def kept() -> None:
        if form.text("cannot"):
            findings.cannot(shop, visit_id, key, test, by, now)
        elif form.text("practice"):
            rough.read(shop, visit_id, key, test, by, now, safe=bool(form.text("safe")))
        else:
            findings.add(shop, visit_id, key, _sent(form, test), now)

    return _saved(shop, page, form, visit_id, kept, test)


@router.post("/visits/{visit_id}/why/taken-back")
def take_back(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Take an entry back: it does not count from now on."""

    def taken() -> None:
        findings.take_back(shop, visit_id, form.text("key"), form.whole("finding"), form.text("by"), now)

    return _saved(shop, page, form, visit_id, taken)


@router.post("/visits/{visit_id}/why/repaired")
def repair(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Store that a cause was repaired at a bore, at a bank, or of the engine."""
    kind, _, place = form.text("place").partition("-")
    bore = int(place) if kind == "bore" and place.isdecimal() else None
    one = ShownAt(bore, place if kind == "bank" else "", word=form.text("cause"))
    new = NewFindings(findings.REPAIRED, (one,), "", form.text("by"))
    return _saved(shop, page, form, visit_id, lambda: findings.add(shop, visit_id, form.text("key"), new, now))


def _saved(
    shop: Database, page: Pages, form: Typed, visit_id: int, save: Callable[[], None], test: str = ""
) -> Response:
    """Store what a form says, or show the page again with why not."""
    try:
        save()
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _page(shop, page, visit_id, test, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/why")


@router.post("/cross-check/{visit_id}/columns")
def look_at_columns(shop: Shop, page: Page, form: Form, visit_id: int) -> Response:
    """Show the columns of a logger's file with the role of each; nothing is stored."""
    try:
        columns = columns_of(form.values.get("file", ""))
    except RejectedError as refusal:
        values = {**form.values, "key": new_key()}
        return _page(shop, page, visit_id, "", values, problems_in_words(refusal), status_of(refusal))
    return _columns_page(shop, page, visit_id, columns, {**form.values, "key": new_key()}, {})


@router.post("/visits/{visit_id}/why/file")
def add_file(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Store the steady stretch of a logger's file, pasted as text; columns without a role in the form keep their names'
    own."""
    text = form.values.get("file", "")
    try:
        with shop.reading() as session:
            bores = loader.load(session, visit_id).layout.bores
        told = read_logger(text, bores, form.text("by"), _roles(form, text) if "role-0" in form.values else None)
        findings.add_all(shop, visit_id, form.text("key"), told, now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        problems = problems_in_words(refusal)
        if "role-0" in form.values:
            return _columns_page(shop, page, visit_id, columns_of(text), form.values, problems, status_of(refusal))
        return _page(shop, page, visit_id, "", form.values, problems, status_of(refusal))
    return page.saved(f"/visits/{visit_id}/why")


def _roles(form: Typed, text: str) -> dict[str, str]:
    """The role of each column by its name, as the form has them: a quantity of a bore, time, speed, or left out."""
    roles = {}
    for number, column in enumerate(columns_of(text)):
        quantity, bore = form.text(f"role-{number}"), form.text(f"bore-{number}")
        of_bore = quantity in quantities() and bore.isdecimal()
        roles[column.name] = role_at(quantity, int(bore)) if of_bore else quantity
    return roles


def _columns_page(
    shop: Database,
    page: Pages,
    visit_id: int,
    columns: tuple[LoggerColumn, ...],
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    with shop.reading() as session:
        record = loader.load(session, visit_id)
    return page.show(
        "visit/why_columns.html",
        status,
        record=record,
        columns=logger_columns(columns, values),
        quantities=logger_quantities(),
        bores=sorted(record.layout.bores),
        values=values,
        problems=problems,
    )


def _sent(form: Typed, test: str) -> NewFindings:
    words = test in set(FindingKind) and takes_words(FindingKind(test))
    shown = []
    for name in form.values:
        kind, _, place = name.partition("-")
        if kind not in ("bore", "bank", "engine") or not form.text(name):
            continue
        bore = int(place) if kind == "bore" and place.isdecimal() else None
        value = None if words else form.number(name)
        word = form.text(name) if words else ""
        shown.append(ShownAt(bore, place if kind == "bank" else "", value, word))
    form.raise_problems()
    return NewFindings(test, tuple(shown), form.text("unit"), form.text("by"))


def _page(
    shop: Database,
    page: Pages,
    visit_id: int,
    test: str,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        told = cross_check(session, record)
        simulated = rough.rough_engine(session, record) is not None
    return page.show(
        "visit/why.html",
        status,
        record=record,
        simulated=simulated,
        why=view(told, test),
        defer=deferral(),
        values=values,
        problems=problems,
    )
