"""The cross-check of a visit: the one next test with its form, what still stands, and the drawn table."""

from collections.abc import Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, Shown
from app.shop.cross_check.logger_file import read_logger
from app.shop.cross_check.units import takes_words
from app.shop.cross_check.weighing import cross_check
from app.shop.errors import NotFoundError, RejectedError
from app.shop.record import loader
from app.shop.store.database import Database
from app.shop.store.idempotency import new_key
from app.sync.diagnosis.measurements import Measure
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.web.presenters.cross_check import view
from app.wording.reasons import problems_in_words
from app.wording.work.safety import deferral

router = APIRouter()


@router.get("/visits/{visit_id}/why")
def show(shop: Shop, page: Page, visit_id: int, test: str = "") -> HTMLResponse:
    """The next test, or the ``test`` that was asked for."""
    return _page(shop, page, visit_id, test, {"key": new_key()}, {})


@router.post("/visits/{visit_id}/why")
def add(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Store what a test showed; fields left empty were not read. ``cannot`` says that it cannot be made here."""
    test = form.text("test")
    try:
        if form.text("cannot"):
            findings.cannot(shop, visit_id, form.text("key"), test, form.text("by"), now)
        else:
            findings.add(shop, visit_id, form.text("key"), _sent(form, test), now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _page(shop, page, visit_id, test, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/why")


@router.post("/visits/{visit_id}/why/file")
def add_file(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Store the steady stretch of a logger's file, pasted as text."""
    try:
        with shop.reading() as session:
            bores = loader.load(session, visit_id).layout.bores
        told = read_logger(form.values.get("file", ""), bores, form.text("by"))
        findings.add_all(shop, visit_id, form.text("key"), told, now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _page(shop, page, visit_id, "", form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/why")


def _sent(form: Typed, test: str) -> NewFindings:
    words = test in set(Measure) and takes_words(Measure(test))
    shown = []
    for name in form.values:
        kind, _, place = name.partition("-")
        if kind not in ("bore", "bank", "engine") or not form.text(name):
            continue
        bore = int(place) if kind == "bore" and place.isdecimal() else None
        value = None if words else form.number(name)
        word = form.text(name) if words else ""
        shown.append(Shown(bore, place if kind == "bank" else "", value, word))
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
    return page.show(
        "visit/why.html",
        status,
        record=record,
        why=view(told, test),
        defer=deferral(),
        values=values,
        problems=problems,
    )
