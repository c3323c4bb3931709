"""The shop: the state of its records, their backups, and the way to people, tablets and the activity log."""

from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.exchange.handing import receiving
from app.shop.reasons import because
from app.shop.store import backup, copies, health
from app.shop.store.database import Database, FileDatabase, ShopUnavailableError
from app.shop.store.postgres.codes import ServerProblem
from app.web.context import Now, Page, Pages, Shop
from app.web.pages.shop.tablets import Here
from app.web.security.origin import at_this_computer
from app.wording.program.store import health_facts, health_problems

router = APIRouter()

MOST_SHOWN = 20


@router.get("/shop")
def show(request: Request, shop: Shop, page: Page) -> HTMLResponse:
    """The state of the records, and their backups. Sites are led to where there are some, or may be soon."""
    grouped = bool(request.app.state.sites.all) or (shop.shared and at_this_computer(request.scope))
    with shop.reading() as session:
        asked = len(receiving.open_questions(session))
    if not isinstance(shop, FileDatabase):
        return _on_a_server(shop, page, grouped=grouped, asked=asked)
    folder = copies.folder_of(shop.folder)
    found = health.look(shop.folder)
    return page.show(
        "shop.html",
        noticed=page.noticed(),
        health_problems=health_problems(found),
        health_facts=health_facts(found),
        copies=copies.listed(folder)[:MOST_SHOWN],
        folder=folder,
        grouped=grouped,
        asked=asked,
    )


def _on_a_server(shop: Database, page: Pages, *, grouped: bool, asked: int) -> HTMLResponse:
    """The same of records whose backups are not ours to make."""
    from app.shop.store.postgres import proof
    from app.wording.program.server_records import facts_of, problems_of

    found = proof.look(shop)
    facts, problems = facts_of(found), problems_of(found)
    return page.show(
        "shop.html",
        noticed=page.noticed(),
        health_problems=problems,
        health_facts=facts,
        copies=(),
        folder=None,
        grouped=grouped,
        asked=asked,
    )


@router.post("/shop/copies", dependencies=[Here])
def copy(shop: Shop, page: Page, now: Now) -> Response:
    """Make a backup now."""
    if not isinstance(shop, FileDatabase):
        raise ShopUnavailableError(because(ServerProblem.NOT_A_FOLDER))
    folder = copies.folder_of(shop.folder)
    backup.back_up(shop.folder, copies.named(folder, copies.BY_HAND, datetime.fromisoformat(now)))
    return page.go("/shop")
