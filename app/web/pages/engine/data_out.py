"""Data out: an engine as a file for another shop and as tables for a spreadsheet, and the whole shop as either."""

import re
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from functools import partial
from typing import IO

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import Response, StreamingResponse

from app.shop.apart import DiedError, GivenUpError, Talk
from app.shop.commands import engines
from app.shop.exchange import export_work
from app.shop.exchange.exports import engine_file, written
from app.shop.exchange.tables import columns, tidy
from app.shop.exchange.tables.tidy import CellWords, table_csv
from app.shop.record import loader
from app.shop.stopwatch import TookTooLongError
from app.web.context import Now, Shop
from app.web.errands import Errands
from app.web.pages.shop.tablets import Here
from app.wording.program.request_faults import RequestFault
from app.wording.stored import as_stored
from app.wording.work.phases import choice_words, item_short

router = APIRouter()

WORDS = CellWords(partial(as_stored, column="reading.why"), item_short, choice_words)

ZIP, PIECE = "application/zip", 64 * 1024
"""What a zip is called, and by how much it is sent at once [bytes]."""

TABLES: dict[str, tuple[tuple[columns.Column, ...], Callable[..., Iterator[tidy.Row]]]] = {
    "readings": (columns.READINGS, lambda record: tidy.readings(record, WORDS)),
    "moves": (columns.MOVES, tidy.moves),
    "checks": (columns.CHECKS, lambda record: tidy.checks(record, WORDS)),
}


@router.get("/engines/{engine_id}/export.json")
def export(shop: Shop, engine_id: int, now: Now) -> Response:
    """One engine with its whole history, for another shop."""
    with shop.reading() as session:
        file = engine_file(session, engine_id, now)
    return download(written(file), f"{file.engine.serial}.json", "application/json")


@router.get("/engines/{engine_id}/{table}.csv")
def table(shop: Shop, engine_id: int, table: str) -> Response:
    """Every reading, adjustment or check of an engine, for a spreadsheet."""
    if table not in TABLES:
        raise HTTPException(404, RequestFault.NOT_FOUND)
    of, rows = TABLES[table]
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        records = list(reversed(loader.of_engine(session, engine_id)))
    text = table_csv(columns.names(of), (row for record in records for row in rows(record)))
    return download(text, f"{engine.serial} {table}.csv", "text/csv; charset=utf-8")


@router.get("/shop/tables.zip", dependencies=[Here])
def all_tables(request: Request, shop: Shop, now: Now) -> Response:
    """Every table of the whole shop with its data dictionary."""
    return _zip(request, "tables.zip", export_work.tables, shop.where, WORDS, now)


@router.get("/shop/engine-files.zip", dependencies=[Here])
def all_engine_files(request: Request, shop: Shop, now: Now) -> Response:
    """The engine file of every engine."""
    return _zip(request, "engine-files.zip", export_work.engine_files, shop.where, now)


def download(text: str, name: str, kind: str) -> Response:
    """A file to keep, under a name that every system takes."""
    return Response(text.encode(), media_type=kind, headers=_kept_as(name))


def _zip(request: Request, name: str, work: Callable[..., Talk], *told: object) -> Response:
    """A zip that grows on the disk, made by ``work`` in a process of its own; given up once it has taken too long."""
    errands: Errands = request.app.state.errands
    with ExitStack() as unless_sent:
        made = unless_sent.enter_context(tempfile.TemporaryFile())
        try:
            for piece in errands.apart.talk(_wanted, work, *told):
                made.write(piece)
        except (TookTooLongError, GivenUpError, DiedError):
            raise HTTPException(503, RequestFault.TIMED_OUT) from None
        size = made.tell()
        made.seek(0)
        unless_sent.pop_all()
    return StreamingResponse(_read(made), headers={**_kept_as(name), "Content-Length": f"{size}"}, media_type=ZIP)


def _wanted() -> bool:
    """Nothing says that a person no longer waits; the work keeps its own time."""
    return True


def _read(made: IO[bytes]) -> Iterator[bytes]:
    with made:
        yield from iter(partial(made.read, PIECE), b"")


def _kept_as(name: str) -> dict[str, str]:
    safe = re.sub(r"[^A-Za-z0-9 ._()-]+", "_", name).strip(". ") or "file"
    return {"Content-Disposition": f'attachment; filename="{safe}"'}
