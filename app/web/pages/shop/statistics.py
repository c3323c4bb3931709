"""Across engines: tables with a plot each, and each as a file for a spreadsheet."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.errors import NotFoundError
from app.shop.exchange.exports import table_csv
from app.shop.queries import statistics
from app.shop.queries.statistics import MOST_ENGINES, Table
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.web.context import Page, Shop
from app.web.pages.engine.exchange import download

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Bar:
    """One line of a plot: ``length`` is a part of the longest bar's room."""

    label: str
    length: float
    words: str


@dataclass(frozen=True, slots=True)
class Plot:
    """A table with its bars."""

    table: Table
    bars: tuple[Bar, ...]


@router.get("/statistics")
def show(shop: Shop, page: Page) -> HTMLResponse:
    """What the shop's engines say together."""
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
    return download(table_csv(table.columns, table.rows), f"{slug}.csv", "text/csv; charset=utf-8")


def _plot(table: Table) -> Plot:
    values = [float(row[table.bar] or 0) for row in table.rows]
    longest = 1.0 if table.share else max(values, default=0.0) or 1.0
    bars = []
    for row, value in zip(table.rows, values, strict=True):
        bars.append(Bar(str(row[0]), value / longest, _words(table, row, value)))
    return Plot(table, tuple(bars))


def _words(table: Table, row: Sequence[object], value: float) -> str:
    if not table.share:
        return f"{value:g}"
    if table.of and not row[table.of]:
        return "none"
    return f"{100 * value:.0f} %" + (f" of {row[table.of]}" if table.of else "")
