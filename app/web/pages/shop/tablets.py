"""Tablets: pair this one, and the list of paired ones."""

import secrets
from collections.abc import Mapping
from typing import Annotated

import segno
from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup

from app.shop.commands.access import tablets
from app.shop.commands.access.tablets import LASTS, Admission
from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import new_key
from app.web.context import Form, Page, Pages, ServerNow, Shop
from app.web.display_options import cookie
from app.web.error_responses import status_of
from app.web.security.middleware import TABLET
from app.web.security.origin import at_this_computer
from app.web.security.pairing import Pairing, spaced
from app.wording.program.request_faults import RequestFault
from app.wording.reasons import problems_in_words

router = APIRouter()


def admission(shop: Database) -> Admission:
    """Which tablets have access now."""
    with shop.reading() as session:
        return Admission.of(tablets.let_in(session))


async def only_here(request: Request) -> None:
    """Refuses what is done at the shop computer only. Raises HTTPException."""
    if not at_this_computer(request.scope):
        raise HTTPException(403, RequestFault.SHOP_COMPUTER_ONLY)


Here = Depends(only_here)


async def _pairing(request: Request) -> Pairing:
    pairing: Pairing = request.app.state.pairing
    return pairing


Codes = Annotated[Pairing, Depends(_pairing)]


@router.get("/pair")
def pair_form(page: Page) -> HTMLResponse:
    """The page that asks a tablet for the code shown on the shop computer."""
    return page.show("pair.html", values={"key": new_key()}, problems={})


@router.post("/pair/code")
def show_code(page: Page, codes: Codes) -> Response:
    """Have the shop computer show a code."""
    try:
        codes.asked_over_the_network()
    except RejectedError as refusal:
        return page.show("pair.html", 429, values={"key": new_key()}, problems=problems_in_words(refusal))
    return page.go("/pair")


@router.post("/pair")
def pair(shop: Shop, page: Page, form: Form, request: Request, codes: Codes, now: ServerNow) -> Response:
    """Pair this tablet by the code."""
    token = secrets.token_urlsafe(32)
    try:
        if not form.text("name"):
            raise RejectedError({"name": because(Rejection.NAME_MISSING)})
        codes.take(form.text("code"), request.client.host if request.client else "")
        tablets.pair(shop, form.text("key"), form.text("name"), token, now)
    except RejectedError as refusal:
        return page.show("pair.html", status_of(refusal), values=form.values, problems=problems_in_words(refusal))
    request.app.state.admission = admission(shop)
    answer = page.go("/")
    answer.set_cookie(
        cookie(TABLET, request.url.scheme),
        token,
        max_age=int(LASTS.total_seconds()),
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )
    return answer


@router.get("/tablets")
def show(shop: Shop, page: Page, request: Request, codes: Codes) -> HTMLResponse:
    """The paired tablets; on the shop computer also the code for the next one."""
    return _list(shop, page, request, codes, {})


@router.post("/tablets/code", dependencies=[Here])
def new_code(page: Page, codes: Codes) -> Response:
    """Show a code, on this page and in the terminal."""
    codes.new()
    return page.go("/tablets")


@router.post("/tablets/{tablet_id}/name", dependencies=[Here])
def rename(
    shop: Shop, page: Page, form: Form, request: Request, codes: Codes, tablet_id: int, now: ServerNow
) -> Response:
    """Rename a tablet."""
    try:
        tablets.rename(shop, form.text("key"), tablet_id, form.text("name"), now)
    except RejectedError as refusal:
        return _list(shop, page, request, codes, problems_in_words(refusal), status_of(refusal))
    request.app.state.admission = admission(shop)
    return page.go("/tablets")


@router.post("/tablets/{tablet_id}/remove", dependencies=[Here])
def remove(
    shop: Shop, page: Page, form: Form, request: Request, codes: Codes, tablet_id: int, now: ServerNow
) -> Response:
    """Remove a tablet's access. It is not answered from the next request on."""
    try:
        tablets.remove(shop, form.text("key"), tablet_id, now)
    except RejectedError as refusal:
        return _list(shop, page, request, codes, problems_in_words(refusal), status_of(refusal))
    request.app.state.admission = admission(shop)
    return page.go("/tablets")


@router.post("/tablets/{tablet_id}/room", dependencies=[Here])
def move(
    shop: Shop, page: Page, form: Form, request: Request, codes: Codes, tablet_id: int, now: ServerNow
) -> Response:
    """Have a tablet stand in another room, at this site or at another one. It stays paired."""
    try:
        room = form.whole("room") if form.text("room") else None
        form.raise_problems()
        tablets.move(shop, form.text("key"), tablet_id, room, now)
    except RejectedError as refusal:
        return _list(shop, page, request, codes, problems_in_words(refusal), status_of(refusal))
    request.app.state.admission = admission(shop)
    return page.go("/tablets")


def _list(
    shop: Database, page: Pages, request: Request, codes: Pairing, problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    here = at_this_computer(request.scope)
    with shop.reading() as session:
        rows = tablets.let_in(session)
    elsewhere = shop.shared and not codes.home  # tablets open another server of the same records
    shown = here and (codes.home or elsewhere) and codes.code
    return page.show(
        "tablets.html",
        status,
        tablets=rows,
        rooms=[(room.ident, site.name, room.name) for site in request.app.state.sites.all for room in site.rooms],
        here=here,
        home=codes.home,
        others=codes.homes[1:],
        code=spaced(codes.code) if shown else "",
        drawn=Markup(segno.make(codes.address, error="m").svg_inline(scale=5, border=4, light="#fff"))
        if shown and codes.home
        else "",
        elsewhere=elsewhere,
        problems=problems,
    )
