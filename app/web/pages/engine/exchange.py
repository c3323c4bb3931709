"""In: engine files imported, one with a person's answers to what is asked about it, or many at once.

Looking at a file and importing it may take long: the answer then says that it goes on, and the page asks again.
"""

import base64
import binascii
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request, status
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import UploadFile

from app.shop.errors import RejectedError
from app.shop.exchange import several
from app.shop.exchange.imports import LARGEST, Conflict, bring_in, plan, read
from app.shop.exchange.several import Batch, Named
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.stopwatch import Allowance, TookTooLongError
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
def choose(page: Page) -> HTMLResponse:
    """The form that takes files."""
    return page.show("exchange.html", file=None, plan=None)


@router.post("/exchange/look")
def look(request: Request, shop: Shop, page: Page, sent: Sent) -> Response:
    """What the files would add here, before anything is stored."""
    return _begun(request, page, lambda: _looked(shop, page, sent))


@router.post("/exchange")
def bring(request: Request, shop: Shop, page: Page, form: Form) -> Response:
    """Import the file that was looked at, or ask again what is still to be chosen."""
    return _begun(request, page, lambda: _brought(shop, page, form.values))


@router.post("/exchange/several")
def bring_several(request: Request, shop: Shop, page: Page, form: Form) -> Response:
    """Import all files that were looked at and that nothing stands against."""
    return _begun(request, page, lambda: _several_brought(shop, page, form.values))


@router.get("/exchange/answers/{ticket}")
def fetch(request: Request, page: Page, ticket: str) -> Response:
    """What came of files that took longer than one answer; those answers are each given once."""
    return _answer(request, page, ticket)


def _begun(request: Request, page: Pages, work: Callable[[], Response]) -> Response:
    errands: Errands = request.app.state.errands
    try:
        return _answer(request, page, errands.begin(work))
    except TooManyError:
        return _refused(page, RejectedError({"file": because(Rejection.FILE_TAKES_TOO_LONG)}))


def _answer(request: Request, page: Pages, ticket: str) -> Response:
    errands: Errands = request.app.state.errands
    try:
        answer = errands.answer(ticket)
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


def _looked(shop: Database, page: Pages, sent: list[Named]) -> Response:
    try:
        files = [one for name, held in sent for one in several.unzipped(name, held)]
    except RejectedError as refusal:
        return _refused(page, refusal)
    if not files:
        return _refused(page, RejectedError({"file": because(Rejection.FILE_MISSING)}))
    if len(files) == 1:
        return _asked(shop, page, files[0][1], {}, {})
    with shop.reading() as session:
        batch = several.look(session, files, Allowance())
    return _listed(page, batch, files)


def _brought(shop: Database, page: Pages, values: Mapping[str, str]) -> Response:
    try:
        sent = unpacked(values.get("held", ""))
        file = read(sent)
    except RejectedError as refusal:
        return _refused(page, refusal)
    choices = {name: value for name, value in values.items() if name != "held"}
    try:
        engine_id = bring_in(shop, file, choices)
    except TookTooLongError:
        return _refused(page, RejectedError({"file": because(Rejection.FILE_TAKES_TOO_LONG)}))
    except RejectedError as refusal:
        return _asked(shop, page, sent, choices, problems_in_words(refusal), status_of(refusal))
    return page.go(f"/engines/{engine_id}")


def _several_brought(shop: Database, page: Pages, values: Mapping[str, str]) -> Response:
    try:
        files = several.unzipped("", base64.b64decode(values.get("held", ""), validate=True))
    except (RejectedError, binascii.Error, ValueError):
        return _refused(page, RejectedError({"file": because(Rejection.FILE_LOST)}))
    time = Allowance()
    try:
        batch = several.bring_in_all(shop, files, values, time)
    except RejectedError as refusal:
        with shop.reading() as session:
            batch = several.look(session, files, time)
        return _listed(page, batch, files, problems_in_words(refusal), status_of(refusal))
    return page.show("imported.html", lines=[ImportLine.of(one) for one in batch.files])


def packed(sent: bytes) -> str:
    """A file that waits in the page for a person's answer, so that the server keeps nothing."""
    return base64.b64encode(zlib.compress(sent, 6)).decode()


def unpacked(held: str) -> bytes:
    """The file that ``packed`` held. Raises RejectedError when it is none, or longer than any file may be."""
    lost = RejectedError({"file": because(Rejection.FILE_LOST)})
    try:
        squeezed = zlib.decompressobj()
        sent = squeezed.decompress(base64.b64decode(held, validate=True), LARGEST + 1)
        if squeezed.unconsumed_tail or not squeezed.eof:
            raise lost
    except (binascii.Error, zlib.error, ValueError):
        raise lost from None
    return sent


def _refused(page: Pages, refusal: RejectedError) -> HTMLResponse:
    return page.show("exchange.html", status_of(refusal), file=None, plan=None, problems=problems_in_words(refusal))


def _listed(
    page: Pages, batch: Batch, files: list[Named], problems: Mapping[str, str] | None = None, status: int = 200
) -> HTMLResponse:
    return page.show(
        "import_several.html",
        status,
        lines=[ImportLine.of(one) for one in batch.files],
        questions=[Question.of(one) for one in batch.conflicts],
        ready=batch.ready,
        held=base64.b64encode(several.zipped(files)).decode(),
        problems=problems or {},
    )


def _asked(
    shop: Database, page: Pages, sent: bytes, choices: Mapping[str, str], problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    try:
        file = read(sent)
        with shop.reading() as session:
            made = plan(session, file, choices)
    except TookTooLongError:
        return _refused(page, RejectedError({"file": because(Rejection.FILE_TAKES_TOO_LONG)}))
    except RejectedError as refusal:
        return _refused(page, refusal)
    return page.show(
        "exchange.html",
        status,
        file=file,
        plan=made,
        questions=[Question.of(one) for one in made.conflicts],
        adds=held(made.adds),
        held=packed(sent),
        chosen={name: choices[name] for name in choices if name not in {c.name for c in made.conflicts}},
        problems=problems,
    )
