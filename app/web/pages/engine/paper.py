"""Paper: the handover sheet and its page of readings, the tag, the blank worksheet, and what else can be taken away."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.at_site import customer
from app.shop.commands import engines
from app.shop.commands.corrections import issue_of
from app.shop.cross_check.weighing import cross_check
from app.shop.queries import history_cache
from app.shop.queries.assessed import assessed, issued
from app.shop.queries.hours import of_job
from app.shop.queries.search import tag_of
from app.shop.record import stored_settings
from app.shop.record.entries import EngineEntry
from app.shop.record.fittings import layout_from_json
from app.shop.record.meter_studies import provenance_of
from app.shop.store.tables import Engine
from app.web.context import Now, Page, Shop
from app.web.presenters.paper.edge import printed_edge, sheet_edge
from app.web.presenters.paper.file_page import file_page
from app.web.presenters.paper.sheet import Printing, qr_code, sheet_of
from app.web.presenters.paper.worksheet import worksheet_of
from app.wording.message import say
from app.wording.office.engines import ENGINE
from app.wording.work.safety import deferral

router = APIRouter()

LONGEST_FOOT = 400
"""Characters at the foot of a page, more than the longest serial takes."""

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")


@router.get("/engines/{engine_id}/paper")
def papers(shop: Shop, page: Page, engine_id: int) -> HTMLResponse:
    """Everything of an engine that can be printed or taken away."""
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        memory = history_cache.of_engine(session, engine_id)
    visits = tuple(one for one in reversed(memory.visits) if not one.mistaken)
    return page.show("paper.html", engine=engine, tag=tag_of(engine.key), visits=visits)


@router.get("/engines/{engine_id}/print.css")
def print_styles(shop: Shop, engine_id: int) -> Response:
    """What stands at the edge of every printed page of an engine: whose it is, and which page of how many."""
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
    return Response(printed_edge(say(ENGINE, serial=engine.serial), customer(engine)), media_type="text/css")


@router.get("/engines/{engine_id}/tag")
def tag(request: Request, shop: Shop, page: Page, engine_id: int) -> HTMLResponse:
    """The tag that hangs on the engine: its QR code opens the engine on any tablet of the shop."""
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        layout = layout_from_json(engines.fitting_now(session, engine_id).layout)
    address = _address(request, engine)
    return page.show(
        "tag.html",
        engine=engine,
        layout=layout,
        tag=tag_of(engine.key),
        address=address,
        qr=qr_code(address),
        only_here=request.url.hostname in LOOPBACK,
    )


@router.get("/engines/{engine_id}/worksheet")
def worksheet(request: Request, shop: Shop, page: Page, engine_id: int) -> HTMLResponse:
    """A blank sheet for a visit away from the shop, with this engine's layout, last figures and order of steps."""
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        memory = history_cache.of_engine(session, engine_id)
        _, held = stored_settings.now(session)
    return page.show(
        "worksheet.html",
        engine=engine,
        sheet=worksheet_of(memory, engine, held),
        qr=qr_code(_address(request, engine)),
        defer=deferral(),
    )


@router.get("/visits/{visit_id}/sheet")
def sheet(shop: Shop, page: Page, now: Now, visit_id: int, issue: int = 0, rounds: bool = False) -> Response:
    """The handover sheet of a visit, its newest issue or an earlier one; marked as a draft until it is signed off.

    It is two pages; with ``rounds`` every round that was read follows. A visit that was opened by mistake hands nothing
    over: the engine's page says what it was.
    """
    with shop.reading() as session:
        newest = assessed(session, visit_id)
        if newest.record.mistaken is not None:
            return page.go(f"/engines/{newest.record.engine.ident}")
        setup, held = stored_settings.now(session)
        signed = newest.record.sign_off
        until = newest.record.studied if signed is None else signed.after_study or 0
        meter = provenance_of(session, newest.record.meter, until)
        found = cross_check(session, newest.record)
        job = of_job(session, visit_id, newest.record.settings.gap)
    shown = issued(newest, issue)
    address = tuple(held.shop_address.splitlines())
    return page.show(
        "sheet.html",
        record=shown.record,
        sheet=sheet_of(shown, Printing(now, held.shop_name, address, dict(held.people), meter, job, found)),
        setup=setup,
        rounds=rounds,
        file=file_page(shown),
        issue=issue_of(shown.record),
        newest=issue_of(newest.record),
        defer=deferral(),
    )


@router.get("/page-numbers.css", include_in_schema=False)
def page_numbers(foot: Annotated[str, Query(max_length=LONGEST_FOOT)] = "") -> Response:
    """The style that numbers printed pages, in the customer's language: only a browser knows how many there are. Beside
    the number of a handover sheet stands ``foot``."""
    return Response(sheet_edge(foot), media_type="text/css")


def _address(request: Request, engine: Engine | EngineEntry) -> str:
    """Where an engine's code leads: to its tag, which is the same in every shop."""
    return f"{request.url.scheme}://{request.url.netloc}/tag/{tag_of(engine.key)}"
