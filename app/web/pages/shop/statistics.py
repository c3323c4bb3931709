"""Across engines: questions with an answer and a plot each, and each table as a file for a spreadsheet."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.commands.access.sites import read_for
from app.shop.errors import NotFoundError
from app.shop.exchange.tables.tidy import table_csv
from app.shop.queries import statistics
from app.shop.queries.statistics import FEWEST, MOST_ENGINES, Cell, Table, interval
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.web.context import Page, Shop
from app.web.pages.engine.data_out import download
from app.web.pages.shop.printed import edge_of_shop
from app.wording.office import statistics as words

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Bar:
    """One line of a plot: ``at`` a part of the room, of a share with the ends of its interval; None where there is
    nothing to draw, or too little to say."""

    label: str
    words: str
    at: float | None
    ends: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Plot:
    """A table as a question with its answer in words, the reservation to it, and its bars: shares are dots. There are
    none where all of it is too few to say."""

    slug: str
    title: str
    answer: str
    reservation: str
    share: bool
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    bars: tuple[Bar, ...]
    note: str


@router.get("/statistics")
def show(request: Request, shop: Shop, page: Page, site: int | None = None) -> HTMLResponse:
    """What the shop's engines show together, or those of one site."""
    of = read_for(site)
    with shop.reading() as session:
        engines = statistics.gather(session, of)
    made = statistics.tables(engines)
    return page.show(
        "statistics.html",
        plots=[_plot(table) for table in made],
        engines=len(engines),
        most=MOST_ENGINES,
        fewest=FEWEST,
        sites=request.app.state.sites.read_here(),
        site=site,
    )


@router.get("/statistics/print.css", include_in_schema=False)
def print_styles(shop: Shop) -> Response:
    """What stands at the edge of every printed page of the answers."""
    with shop.reading() as session:
        return edge_of_shop(session, words.PRINTED)


@router.get("/statistics/{slug}.csv")
def as_csv(shop: Shop, slug: str, site: int | None = None) -> Response:
    """One of the tables for a spreadsheet."""
    of = read_for(site)
    with shop.reading() as session:
        made = statistics.tables(statistics.gather(session, of))
    table = next((one for one in made if one.slug == slug), None)
    if table is None:
        raise NotFoundError(because(Rejection.NO_SUCH_TABLE))
    rows = [[words.plain(cell) for cell in row] for row in table.rows]
    return download(table_csv(words.columns(table), rows), f"{slug}.csv", "text/csv; charset=utf-8")


def _plot(table: Table) -> Plot:
    lengths = [row[table.bar] for row in table.rows]
    longest = max([float(one) for one in lengths if isinstance(one, int | float)], default=0.0) or 1.0
    answer, reservation = words.answer(table)
    rows = tuple(words.shown(table, row) for row in table.rows)
    bars = () if words.says_too_few(answer) else tuple(_bar(table, row, longest) for row in table.rows)
    return Plot(
        str(table.slug), words.title(table), answer, reservation, table.share, words.columns(table), rows, bars,
        words.note(table),
    )  # fmt: skip


def _bar(table: Table, row: tuple[Cell, ...], longest: float) -> Bar:
    label, said = str(words.plain(row[0])), words.bar_words(table, row)
    if table.share:
        found = interval(*table.counts(row))
        return Bar(label, said, found.share if found else None, (found.low, found.high) if found else None)
    length = row[table.bar]
    return Bar(label, said, length / longest if isinstance(length, int | float) else None, None)
