"""People: who may sign off."""

from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.commands import people
from app.shop.errors import RejectedError
from app.shop.store.database import Database
from app.web.context import Form, Page, Pages, ServerNow, Shop
from app.web.error_responses import status_of
from app.web.pages.shop.tablets import Here
from app.web.security.origin import at_this_computer
from app.wording.reasons import problems_in_words

router = APIRouter()


@router.get("/people")
def show(shop: Shop, page: Page, request: Request) -> HTMLResponse:
    """Who may sign off; on the shop computer also the forms to change that."""
    return _list(shop, page, request, {}, {})


@router.post("/people", dependencies=[Here])
def add(shop: Shop, page: Page, form: Form, request: Request, now: ServerNow) -> Response:
    """Add a person."""
    try:
        people.add(shop, form.text("key"), form.text("name"), form.text("pin"), form.text("again"), now)
    except RejectedError as refusal:
        return _list(
            shop, page, request, {"name": form.values.get("name", "")}, problems_in_words(refusal), status_of(refusal)
        )
    return page.go("/people")


@router.post("/people/{person_id}/pin", dependencies=[Here])
def change_pin(shop: Shop, page: Page, form: Form, request: Request, person_id: int, now: ServerNow) -> Response:
    """Change a person's PIN."""
    try:
        people.change_pin(shop, form.text("key"), person_id, form.text("pin"), form.text("again"), now)
    except RejectedError as refusal:
        words = {"": " ".join(problems_in_words(refusal).values())}
        return _list(shop, page, request, {}, words, status_of(refusal))
    return page.go("/people")


@router.post("/people/{person_id}/remove", dependencies=[Here])
def remove(shop: Shop, page: Page, form: Form, person_id: int, now: ServerNow) -> Response:
    """Take a person off the list of those who may sign off."""
    people.remove(shop, form.text("key"), person_id, now)
    return page.go("/people")


def _list(
    shop: Database,
    page: Pages,
    request: Request,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    with shop.reading() as session:
        rows = people.everyone(session)
    here = at_this_computer(request.scope)
    return page.show("people.html", status, people=rows, here=here, values=values, problems=problems)
