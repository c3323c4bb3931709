"""Across engines: tables with a plot each, and each as a file for a spreadsheet."""

from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.errors import NotFoundError
from app.shop.exchange.tables.tidy import table_csv
from app.shop.queries import statistics
from app.shop.queries.statistics import MOST_ENGINES, Table
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.web.context import Page, Shop
from app.web.pages.engine.data_out import download
from app.wording.office import statistics as words

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Bar:
    """One line of a plot: ``length`` is a part of the longest bar's room."""

    label: str
    length: float
    words: str


@dataclass(frozen=True, slots=True)
class Plot:
    """A table with its bars, in words."""

    slug: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    bars: tuple[Bar, ...]
    note: str


@router.get("/statistics")
def show(shop: Shop, page: Page) -> HTMLResponse:
    """What the shop's engines show together."""
    with shop.reading() as session:
        engines = statistics.gather(session)
    made = statistics.tables(engines)
    return page.show("statistics.html", plots=[_plot(table) for table in made], engines=len(engines), most=MOST_ENGINES)


@router.get("/statistics/{slug}.csv")
def as_csv(shop: Shop, slug: str) -> Response:
    """One of the tables for a spreadsheet."""
    with shop.reading() as session:
        made = statistics.tables(statistics.gather(session))
    table = next((one for one in made if one.slug == slug), None)
    if table is None:
        raise NotFoundError(because(Rejection.NO_SUCH_TABLE))
    rows = [[words.plain(cell) for cell in row] for row in table.rows]
    return download(table_csv(words.columns(table), rows), f"{slug}.csv", "text/csv; charset=utf-8")


def _plot(table: Table) -> Plot:
    lengths = [_length(row[table.bar]) for row in table.rows]
    longest = 1.0 if table.share else max(lengths, default=0.0) or 1.0
    bars = tuple(
        Bar(str(words.plain(row[0])), length / longest, words.bar_words(table, row))
        for row, length in zip(table.rows, lengths, strict=True)
    )
    rows = tuple(words.shown(table, row) for row in table.rows)
    return Plot(str(table.slug), words.title(table), words.columns(table), rows, bars, words.note(table))


def _length(cell: object) -> float:
    return float(cell) if isinstance(cell, int | float) else 0.0
