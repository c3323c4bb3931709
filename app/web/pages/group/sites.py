"""The sites of a group with their rooms, and whether each keeps its customers to itself."""

from collections.abc import Mapping
from dataclasses import replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.commands import settings_versions
from app.shop.commands.access import sites
from app.shop.commands.access.sites import Sites
from app.shop.errors import RejectedError
from app.shop.record import stored_settings
from app.shop.store.database import Database
from app.web.context import Form, Page, Pages, ServerNow, Shop
from app.web.error_responses import status_of
from app.web.pages.shop.tablets import Here
from app.web.security.origin import at_this_computer
from app.wording.reasons import problems_in_words

router = APIRouter()


def known(shop: Database) -> Sites:
    """The sites that there are now."""
    with shop.reading() as session:
        return sites.sites_of(session)


@router.get("/sites")
def show(shop: Shop, page: Page, request: Request) -> HTMLResponse:
    """The sites; on the shop computer also the forms to change them."""
    return _list(shop, page, request, {}, {}, "")


@router.post("/sites", dependencies=[Here])
def add(shop: Shop, page: Page, form: Form, request: Request, now: ServerNow) -> Response:
    """Add a site."""
    try:
        head_office = bool(form.text("head_office"))
        sites.add(shop, form.text("key"), form.text("name"), form.text("by"), now, head_office=head_office)
    except RejectedError as refusal:
        return _list(shop, page, request, form.values, problems_in_words(refusal), "new", status_of(refusal))
    return _saved(shop, page, request)


@router.post("/sites/customers", dependencies=[Here])
def hide_customers(shop: Shop, page: Page, form: Form, request: Request, now: ServerNow) -> Response:
    """Keep from each site the customers of the others, or show them again: another version of the settings."""
    try:
        with shop.reading() as session:
            held = stored_settings.of_site(session, None)[1]
        new = replace(held, hide_customers=bool(form.text("hide_customers")))
        version = form.whole("version")
        form.raise_problems()
        settings_versions.change(shop, form.text("key"), version, new, "", form.text("by"), now)
    except RejectedError as refusal:
        return _list(shop, page, request, form.values, problems_in_words(refusal), "customers", status_of(refusal))
    return _saved(shop, page, request)


@router.post("/sites/{row_id}", dependencies=[Here])
def change(shop: Shop, page: Page, form: Form, request: Request, row_id: int, now: ServerNow) -> Response:
    """Name a site otherwise, mark it as head office or not, or close it."""
    given = {"head_office": bool(form.text("head_office")), "active": not form.text("close")}
    try:
        sites.change(shop, form.text("key"), row_id, form.text("name"), form.text("by"), now, **given)
    except RejectedError as refusal:
        return _list(shop, page, request, form.values, problems_in_words(refusal), f"site-{row_id}", status_of(refusal))
    return _saved(shop, page, request)


@router.post("/sites/{site_id}/rooms", dependencies=[Here])
def add_room(shop: Shop, page: Page, form: Form, request: Request, site_id: int, now: ServerNow) -> Response:
    """Add a room to a site, by the id that the site has for good."""
    try:
        sites.add_room(shop, form.text("key"), site_id, form.text("name"), form.text("by"), now)
    except RejectedError as refusal:
        where = f"rooms-{site_id}"
        return _list(shop, page, request, form.values, problems_in_words(refusal), where, status_of(refusal))
    return _saved(shop, page, request)


@router.post("/rooms/{row_id}", dependencies=[Here])
def change_room(shop: Shop, page: Page, form: Form, request: Request, row_id: int, now: ServerNow) -> Response:
    """Name a room otherwise, or close it."""
    try:
        active = not form.text("close")
        sites.change_room(shop, form.text("key"), row_id, form.text("name"), form.text("by"), now, active=active)
    except RejectedError as refusal:
        return _list(shop, page, request, form.values, problems_in_words(refusal), f"room-{row_id}", status_of(refusal))
    return _saved(shop, page, request)


def _saved(shop: Database, page: Pages, request: Request) -> Response:
    request.app.state.sites = known(shop)
    return page.go("/sites")


def _list(
    shop: Database,
    page: Pages,
    request: Request,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    at: str,
    status: int = 200,
) -> HTMLResponse:
    """The page; ``values`` and ``problems`` are of the form ``at``."""
    with shop.reading() as session:
        found = sites.sites_of(session)
        version, held = stored_settings.of_site(session, None)
    return page.show(
        "group/sites.html",
        status,
        sites=found.all,
        hides=held.hide_customers,
        version=version,
        here=at_this_computer(request.scope),
        at=at,
        values=values,
        problems=problems,
    )
