"""Live values: the channels that instruments send, and the programs that may send them."""

import secrets
from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.commands.live import feeds
from app.shop.errors import RejectedError
from app.shop.store.database import Database
from app.web.context import Form, Page, Pages, ServerNow, Shop
from app.web.error_responses import status_of
from app.web.pages.shop.tablets import Here
from app.web.security.origin import at_this_computer
from app.wording.message import say
from app.wording.reasons import problems_in_words
from app.wording.work.live_values import STATES

router = APIRouter()


@router.get("/live")
def show(shop: Shop, page: Page, request: Request) -> HTMLResponse:
    """The channels as they are now, and the feeds."""
    return _list(shop, page, request, {})


@router.post("/feeds", dependencies=[Here])
def let_in(shop: Shop, page: Page, form: Form, request: Request, now: ServerNow) -> HTMLResponse:
    """Let a program send live values, and show its token once."""
    token = secrets.token_urlsafe(32)
    try:
        feeds.add(shop, form.text("key"), form.text("name"), token, now)
    except RejectedError as refusal:
        return _list(shop, page, request, problems_in_words(refusal), status_of(refusal))
    request.app.state.feeders = feeds.feeders(shop)
    return _list(shop, page, request, {}, token=token)


@router.post("/feeds/{feed_id}/withdraw", dependencies=[Here])
def withdraw(shop: Shop, page: Page, form: Form, request: Request, feed_id: int, now: ServerNow) -> Response:
    """Let a program send no more; what it sent is no longer shown."""
    try:
        feeds.withdraw(shop, form.text("key"), feed_id, now)
    except RejectedError as refusal:
        return _list(shop, page, request, problems_in_words(refusal), status_of(refusal))
    request.app.state.feeders = left = feeds.feeders(shop)
    request.app.state.live.forget(left.tokens.__contains__)
    return page.go("/live")


def _list(
    shop: Database, page: Pages, request: Request, problems: Mapping[str, str], status: int = 200, token: str = ""
) -> HTMLResponse:
    with shop.reading() as session:
        rows = feeds.let_in(session)
    channels = request.app.state.live.channels()
    return page.show(
        "shop/live.html",
        status,
        feeds=rows,
        channels=[(name, one, say(STATES[str(one["state"])])) for name, one in sorted(channels.items())],
        here=at_this_computer(request.scope),
        token=token,
        problems=problems,
    )
