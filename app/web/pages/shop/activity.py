"""The activity log: who did what, when."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.commands.access.sites import read_for
from app.shop.queries import activity
from app.shop.queries.activity import ActivityEntry
from app.shop.record import stored_settings
from app.shop.record.measures import Units
from app.web.context import Page, Shop
from app.web.pages.shop.printed import edge_of_shop
from app.wording.office.activity import PRINTED, done

router = APIRouter()

A_PAGE = 100
FARTHEST = 10_000


@dataclass(frozen=True, slots=True)
class LogLine:
    """One line of the log in words; ``visit`` and ``engine`` are 0 where it belongs to none."""

    at: str
    who: str
    what: str
    visit: int
    engine: int
    serial: str

    @staticmethod
    def of(line: ActivityEntry, units: Units) -> "LogLine":
        """In the units that the shop shows."""
        return LogLine(line.at, line.who, done(line.what, units), line.visit, line.engine, line.serial)


@router.get("/audit")
def show(
    request: Request,
    shop: Shop,
    page: Page,
    number: Annotated[int, Query(alias="page", ge=1, le=FARTHEST)] = 1,
    visit: int | None = None,
    site: int | None = None,
) -> HTMLResponse:
    """What was done last, a hundred lines a page, of one visit, of one site, or of everything."""
    of = None if visit is not None else read_for(site)
    with shop.reading() as session:
        lines = activity.lines(session, A_PAGE + 1, (number - 1) * A_PAGE, visit, of)
        units = stored_settings.now(session)[1].units
    return page.show(
        "audit.html",
        lines=[LogLine.of(line, units) for line in lines[:A_PAGE]],
        more=len(lines) > A_PAGE,
        page=number,
        visit=visit,
        site=site,
        sites=request.app.state.sites.read_here(),
    )


@router.get("/audit/print.css", include_in_schema=False)
def print_styles(shop: Shop) -> Response:
    """What stands at the edge of every printed page of the log."""
    with shop.reading() as session:
        return edge_of_shop(session, PRINTED)
