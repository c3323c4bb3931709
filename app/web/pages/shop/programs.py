"""Programs of others: give one access, the list of them, and the end of one's access."""

from collections.abc import Mapping
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.commands.access import programs
from app.shop.commands.access.programs import Program, Programs
from app.shop.commands.access.scopes import AccessScope
from app.shop.errors import RejectedError
from app.shop.store.database import Database
from app.web.context import Form, Page, Pages, ServerNow, Shop
from app.web.error_responses import status_of
from app.web.pages.shop.tablets import Here
from app.web.security.origin import at_this_computer, behind_a_proxy
from app.wording.message import say
from app.wording.office.programs import SCOPES, may
from app.wording.reasons import problems_in_words

router = APIRouter()


def known(shop: Database) -> Programs:
    """Which programs have access now."""
    with shop.reading() as session:
        return Programs.of(programs.let_in(session))


@router.get("/programs")
def show(shop: Shop, page: Page, request: Request, now: ServerNow) -> HTMLResponse:
    """The programs with access; on the shop computer also the form for the next one."""
    return _list(shop, page, request, now, {AccessScope.READ: "1"}, {})


@router.post("/programs", dependencies=[Here])
def let_in(shop: Shop, page: Page, form: Form, request: Request, now: ServerNow) -> Response:
    """Give a program access, and show its token on this one answer."""
    scopes = {scope for scope in AccessScope if form.text(scope)}
    try:
        days = form.whole("days")
        form.raise_problems()
        moment = datetime.fromisoformat(now)
        site = form.whole("site") if form.text("site") else None
        form.raise_problems()
        token = programs.let_one_in(shop, form.text("key"), form.text("name"), scopes, days, moment, site)
    except RejectedError as refusal:
        return _list(shop, page, request, now, form.values, problems_in_words(refusal), status=status_of(refusal))
    request.app.state.programs = known(shop)
    return _list(shop, page, request, now, {AccessScope.READ: "1"}, {}, token, form.text("name"))


@router.post("/programs/{program_id}/remove", dependencies=[Here])
def shut_out(shop: Shop, page: Page, form: Form, request: Request, program_id: int, now: ServerNow) -> Response:
    """End a program's access. It is not answered from the next request on."""
    try:
        programs.shut_out(shop, form.text("key"), program_id, now)
    except RejectedError as refusal:
        return _list(shop, page, request, now, {}, problems_in_words(refusal), status=status_of(refusal))
    request.app.state.programs = known(shop)
    return page.go("/programs")


def _list(
    shop: Database,
    page: Pages,
    request: Request,
    now: str,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    token: str = "",
    token_of: str = "",
    status: int = 200,
) -> HTMLResponse:
    with shop.reading() as session:
        rows = programs.let_in(session)
    return page.show(
        "shop/programs.html",
        status,
        programs=[
            {"id": row.id, "name": row.name, "can": may(Program.of(row).scopes), "until": row.good_until}
            | {"site": request.app.state.sites.named(row.site_id)}
            | {"over": row.good_until <= now}
            for row in rows
        ],
        here=at_this_computer(request.scope),
        behind=behind_a_proxy(request.scope),
        scopes=[(scope.value, say(label)) for scope, label in SCOPES.items()],
        sites=[(one.ident, one.name) for one in request.app.state.sites.all],
        token=token,
        token_of=token_of,
        values=values,
        problems=problems,
    )
