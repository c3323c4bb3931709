"""Live values: the channels that instruments send, the programs that may send them, and whether sensors agree."""

import secrets
from collections.abc import Mapping
from typing import get_args

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.commands.live import channel_checks, feeds
from app.shop.errors import RejectedError
from app.shop.procedure.codes import CautionCode
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.signals.comparison import Held
from app.web.context import Form, Page, Pages, ServerNow, Shop
from app.web.error_responses import status_of
from app.web.live.doors import Live
from app.web.live.hub import Hub
from app.web.pages.shop.tablets import Here
from app.web.presenters.instruments import shown
from app.web.security.origin import at_this_computer
from app.wording.reasons import problems_in_words
from app.wording.work.safety import deferral, safety_lines

router = APIRouter()

AT_A_HOSE = (CautionCode.FAN_AND_BELTS, CautionCode.HOT_ENGINE, CautionCode.EXHAUST_GAS)
"""What is dangerous where a hose is taken off at an idling engine."""


@router.get("/live")
def show(shop: Shop, page: Page, request: Request, now: ServerNow) -> HTMLResponse:
    """The channels as they are now, and the feeds."""
    return _list(shop, page, request, now, {})


@router.post("/feeds", dependencies=[Here])
def let_in(shop: Shop, page: Page, form: Form, request: Request, now: ServerNow) -> HTMLResponse:
    """Let a program send live values, and show its token once."""
    token = secrets.token_urlsafe(32)
    try:
        feeds.add(shop, form.text("key"), form.text("name"), token, now)
    except RejectedError as refusal:
        return _list(shop, page, request, now, problems_in_words(refusal), status_of(refusal))
    request.app.state.feeders = feeds.feeders(shop)
    return _list(shop, page, request, now, {}, token=token)


@router.post("/feeds/{feed_id}/withdraw", dependencies=[Here])
def withdraw(shop: Shop, page: Page, form: Form, request: Request, feed_id: int, now: ServerNow) -> Response:
    """Let a program send no more; what it sent is no longer shown."""
    try:
        feeds.withdraw(shop, form.text("key"), feed_id, now)
    except RejectedError as refusal:
        return _list(shop, page, request, now, problems_in_words(refusal), status_of(refusal))
    request.app.state.feeders = left = feeds.feeders(shop)
    request.app.state.live.forget(left.tokens.__contains__)
    return page.go("/live")


@router.post("/live/checks")
def compare(shop: Shop, page: Page, form: Form, request: Request, live: Live, now: ServerNow) -> Response:
    """Compare the sensors at bores with each other: all open to the air, or on one tee."""
    held = next((one for one in get_args(Held) if one == form.text("held")), None)
    try:
        if held is None:
            raise RejectedError({"held": because(Rejection.NOT_ONE_OF, choices=get_args(Held))})
        channel_checks.compare(shop, form.text("key"), live.array(), held, form.text("by"), now)
    except RejectedError as refusal:
        return _list(shop, page, request, now, problems_in_words(refusal), status_of(refusal), values=form.values)
    return page.go("/live#sensors")


@router.post("/live/wiggles")
def ask(shop: Shop, page: Page, form: Form, request: Request, live: Live, now: ServerNow) -> Response:
    """Ask for the hose of a bore; without one, no longer."""
    try:
        live.ask_for_wiggle(form.whole("bore") if form.text("bore") else None)
        form.raise_problems()
    except RejectedError as refusal:
        return _list(shop, page, request, now, problems_in_words(refusal), status_of(refusal), values=form.values)
    return page.go("/live#sensors")


@router.post("/live/wiggles/done")
def wiggled(shop: Shop, page: Page, form: Form, request: Request, live: Live, now: ServerNow) -> Response:
    """Store which channel moved, where it was the one of the bore whose hose was asked for."""
    bore = live.wiggling
    try:
        if bore is None:
            raise RejectedError({"": because(Rejection.STALE_FORM)})
        array, begun = live.wiggled()
        channel_checks.wiggle(shop, form.text("key"), array, bore, begun, form.text("by"), now)
    except RejectedError as refusal:
        return _list(shop, page, request, now, problems_in_words(refusal), status_of(refusal), values=form.values)
    live.ask_for_wiggle(None)
    return page.go("/live#sensors")


def _list(
    shop: Database,
    page: Pages,
    request: Request,
    now: str,
    problems: Mapping[str, str],
    status: int = 200,
    token: str = "",
    values: Mapping[str, str] | None = None,
) -> HTMLResponse:
    live: Hub = request.app.state.live
    with shop.reading() as session:
        rows = feeds.let_in(session)
        instruments = shown(session, live, now)
    return page.show(
        "instruments/live.html",
        status,
        feeds=rows,
        instruments=instruments,
        wiggling=live.wiggling,
        cautions_here=safety_lines(AT_A_HOSE),
        deferral=deferral(),
        here=at_this_computer(request.scope),
        token=token,
        values=values or {},
        problems=problems,
    )
