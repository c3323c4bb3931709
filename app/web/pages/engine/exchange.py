"""In and out: one engine as a file for another shop, its readings for a spreadsheet, and a file imported."""

import base64
import binascii
import codecs
import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import UploadFile

from app.shop.commands import engines
from app.shop.errors import RejectedError
from app.shop.exchange.exports import engine_file, readings_csv, written
from app.shop.exchange.imports import LARGEST, Conflict, bring_in, plan, read
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.wording.office.engines import held
from app.wording.reasons import in_words, problems_in_words
from app.wording.stored import as_stored

router = APIRouter()

STEP = 1024 * 1024
"""How much of a file is looked at together [bytes]."""


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


async def _sent(request: Request) -> bytes | None:
    """The file that was sent, as far as one may be long; None when there is none or it is no text."""
    async with request.form(max_files=1, max_fields=5) as form:
        file = form.get("file")
        if not isinstance(file, UploadFile) or not file.size:
            return None
        sent = await file.read(LARGEST + 1)
    return sent if _is_text(sent) else None


@router.get("/engines/{engine_id}/export.json")
def export(shop: Shop, engine_id: int, now: Now) -> Response:
    """One engine with its whole history, for another shop."""
    with shop.reading() as session:
        file = engine_file(session, engine_id, now)
    return download(written(file), f"{file.engine.serial}.json", "application/json")


@router.get("/engines/{engine_id}/readings.csv")
def readings(shop: Shop, engine_id: int) -> Response:
    """Every reading of an engine, for a spreadsheet."""
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        records = list(reversed(loader.of_engine(session, engine_id)))
    table = readings_csv(records, partial(as_stored, column="reading.why"))
    return download(table, f"{engine.serial} readings.csv", "text/csv; charset=utf-8")


@router.get("/exchange")
def choose(page: Page) -> HTMLResponse:
    """The form that takes a file."""
    return page.show("exchange.html", file=None, plan=None)


@router.post("/exchange/look")
def look(shop: Shop, page: Page, sent: Annotated[bytes | None, Depends(_sent)]) -> HTMLResponse:
    """What a file would add here, before anything is stored."""
    if sent is None:
        return _refused(page, RejectedError({"file": because(Rejection.FILE_MISSING)}))
    return _asked(shop, page, sent, {}, {})


@router.post("/exchange")
def bring(shop: Shop, page: Page, form: Form) -> Response:
    """Import the file that was looked at, or ask again what is still to be chosen."""
    try:
        sent = unpacked(form.values.get("held", ""))
        file = read(sent)
    except RejectedError as refusal:
        return _refused(page, refusal)
    choices = {name: value for name, value in form.values.items() if name != "held"}
    try:
        engine_id = bring_in(shop, file, choices)
    except RejectedError as refusal:
        return _asked(shop, page, sent, choices, problems_in_words(refusal), status_of(refusal))
    return page.go(f"/engines/{engine_id}")


def _is_text(sent: bytes) -> bool:
    """Whether a file is in UTF-8, looked at in steps: one letter of a far script makes a text four times as long."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for start in range(0, len(sent), STEP):
            decoder.decode(sent[start : start + STEP], start + STEP >= len(sent))
    except UnicodeDecodeError:
        return False
    return True


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


def download(text: str, name: str, kind: str) -> Response:
    """A file to keep, under a name that every system takes."""
    safe = re.sub(r"[^A-Za-z0-9 ._()-]+", "_", name).strip(". ") or "file"
    return Response(text.encode(), media_type=kind, headers={"Content-Disposition": f'attachment; filename="{safe}"'})


def _refused(page: Pages, refusal: RejectedError) -> HTMLResponse:
    return page.show("exchange.html", status_of(refusal), file=None, plan=None, problems=problems_in_words(refusal))


def _asked(
    shop: Database, page: Pages, sent: bytes, choices: Mapping[str, str], problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    try:
        file = read(sent)
        with shop.reading() as session:
            made = plan(session, file, choices)
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
