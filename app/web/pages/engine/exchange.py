"""In: engine files imported, one with a person's answers to what is asked about it, or many at once.

Looking at a file and importing it may take long: the answer then says that it goes on, and the page asks again.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request, status
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import UploadFile

from app.shop.apart import Apart, DiedError, GivenUpError, Talk, Wanted
from app.shop.at_site import ASKING, as_asked
from app.shop.errors import RejectedError
from app.shop.exchange import import_work, several
from app.shop.exchange.import_work import OneLooked, SeveralLooked
from app.shop.exchange.imports import Conflict, carry_on
from app.shop.exchange.several import Batch, Named
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.stopwatch import TookTooLongError
from app.shop.store.database import Database
from app.web.context import Form, Page, Pages, Shop
from app.web.errands import Errands, TooManyError
from app.web.error_responses import status_of
from app.wording.office.engines import held
from app.wording.reasons import in_words, problems_in_words

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Question:
    """A conflict as the page asks about it: the field of the answer, what to choose between, and the options."""

    name: str
    question: str
    mine: str
    theirs: str
    options: tuple[tuple[str, str], ...]

    @staticmethod
    def of(one: Conflict) -> "Question":
        """In words."""
        options = tuple((str(option), in_words(because(option))) for option in one.options)
        return Question(one.name, in_words(one.question), in_words(one.mine), in_words(one.theirs), options)


@dataclass(frozen=True, slots=True)
class ImportLine:
    """One of several files as the page lists it: the engine, what it adds or what is wrong, and where it went."""

    name: str
    adds: str
    problem: str
    waits: bool
    href: str

    @staticmethod
    def of(one: several.FileLooked) -> "ImportLine":
        """In words."""
        problem = in_words(one.problem) if one.problem else ""
        href = f"/engines/{one.engine_id}" if one.engine_id else ""
        return ImportLine(one.serial or one.name, ", ".join(held(one.adds)), problem, one.waits, href)


async def _sent(request: Request) -> list[Named]:
    """The files that were sent, as they came."""
    async with request.form(max_files=several.MOST_FILES, max_fields=5) as form:
        sent = [file for file in form.getlist("file") if isinstance(file, UploadFile) and file.size]
        return [(file.filename or "", await file.read()) for file in sent]


Sent = Annotated[list[Named], Depends(_sent)]


@router.get("/exchange")
def choose(request: Request, page: Page) -> HTMLResponse:
    """The form that takes files. A process is made ready for them."""
    _errands(request).apart.make_ready()
    return page.show("exchange.html", looked=None)


@router.post("/exchange/look")
def look(request: Request, shop: Shop, page: Page, sent: Sent) -> Response:
    """What the files would add here, before anything is stored."""
    return _begun(request, shop, page, {}, import_work.look, sent)


@router.post("/exchange")
def bring(request: Request, shop: Shop, page: Page, form: Form) -> Response:
    """Import the file that was looked at, or ask again what is still to be chosen."""
    choices = _choices(form.values)
    return _begun(request, shop, page, choices, import_work.bring, form.values.get("held", ""), choices)


@router.post("/exchange/several")
def bring_several(request: Request, shop: Shop, page: Page, form: Form) -> Response:
    """Import all files that were looked at and that nothing stands against."""
    choices = _choices(form.values)
    return _begun(request, shop, page, choices, import_work.bring_several, form.values.get("held", ""), choices)


@router.get("/exchange/answers/{ticket}")
def fetch(request: Request, page: Page, ticket: str) -> Response:
    """What came of files that took longer than one answer; those answers are each given once."""
    return _answer(request, page, ticket)


def _errands(request: Request) -> Errands:
    errands: Errands = request.app.state.errands
    return errands


def _choices(values: Mapping[str, str]) -> dict[str, str]:
    return {name: value for name, value in values.items() if name != "held"}


def _begun(
    request: Request, shop: Database, page: Pages, choices: Mapping[str, str], work: Callable[..., Talk], *told: object
) -> Response:
    """Have work done in a process of its own, store what it drafts, and show what it returns."""
    errands = _errands(request)
    apart = errands.apart

    def do(wanted: Wanted) -> Response:
        return _done(shop, page, choices, apart, apart.talk(wanted, as_asked, ASKING.get(), work, shop.where, *told))

    try:
        return _answer(request, page, errands.begin(do))
    except TooManyError:
        return _refused(page, RejectedError({"file": because(Rejection.FILE_TAKES_TOO_LONG)}))


def _answer(request: Request, page: Pages, ticket: str) -> Response:
    try:
        answer = _errands(request).answer(ticket)
    except GivenUpError:
        return _refused(page, RejectedError({"file": because(Rejection.FILE_TAKES_TOO_LONG)}))
    except KeyError:
        lost = _refused(page, RejectedError({"file": because(Rejection.FILE_LOST)}))
        lost.status_code = status.HTTP_404_NOT_FOUND
        return lost
    if answer is not None:
        return answer
    again = f"/exchange/answers/{ticket}"
    waiting = page.show("exchange_under_way.html", 202, again=again)
    waiting.headers["Refresh"] = f"1; url={again}"
    return waiting


def _done(shop: Database, page: Pages, choices: Mapping[str, str], apart: Apart, talk: Talk) -> Response:
    try:
        found = carry_on(shop, talk)
    except (TookTooLongError, GivenUpError):
        return _refused(page, RejectedError({"file": because(Rejection.FILE_TAKES_TOO_LONG)}))
    except DiedError:
        return _refused(page, RejectedError({"file": because(Rejection.FILE_NEEDS_MORE_MEMORY)}))
    except RejectedError as refusal:
        return _refused(page, refusal)
    if not isinstance(found, int | Batch):
        apart.make_ready()  # for the person's answer
    match found:
        case OneLooked():
            return _asked(page, found, choices)
        case SeveralLooked():
            return _listed(page, found)
        case Batch():
            return page.show("imported.html", lines=[ImportLine.of(one) for one in found.files])
    return page.go(f"/engines/{found}")


def _refused(page: Pages, refusal: RejectedError) -> HTMLResponse:
    return page.show("exchange.html", status_of(refusal), looked=None, problems=problems_in_words(refusal))


def _listed(page: Pages, found: SeveralLooked) -> HTMLResponse:
    return page.show(
        "import_several.html",
        status_of(found.refusal) if found.refusal else 200,
        lines=[ImportLine.of(one) for one in found.batch.files],
        questions=[Question.of(one) for one in found.batch.conflicts],
        ready=found.batch.ready,
        held=found.held,
        problems=problems_in_words(found.refusal) if found.refusal else {},
    )


def _asked(page: Pages, found: OneLooked, choices: Mapping[str, str]) -> HTMLResponse:
    conflicts = found.plan.conflicts
    return page.show(
        "exchange.html",
        status_of(found.refusal) if found.refusal else 200,
        looked=found,
        questions=[Question.of(one) for one in conflicts],
        adds=held(found.plan.adds),
        chosen={name: choices[name] for name in choices if name not in {one.name for one in conflicts}},
        problems=problems_in_words(found.refusal) if found.refusal else {},
    )
