"""The page on which a tablet's look is chosen."""

from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.web.context import Form, Page
from app.web.display_options import CHOICES, INITIALS, LONGEST_INITIALS, chosen, cookie, initials_of
from app.wording.message import say
from app.wording.office.settings import DISPLAY

router = APIRouter()

YEAR = 365 * 24 * 3600


@router.get("/look")
def look(page: Page, request: Request) -> HTMLResponse:
    """The choices, with those made on this tablet before."""
    options = {name: [(way, say(DISPLAY[name][way])) for way in ways] for name, ways in CHOICES.items()}
    initials = initials_of(request.cookies, request.url.scheme)
    return page.show("look.html", choices_of=options, initials=initials)


@router.post("/look")
def choose(page: Page, form: Form, request: Request) -> Response:
    """Keep the choices on this tablet."""
    answer = page.go("/look")
    scheme = request.url.scheme
    initials = quote(form.text("initials")[:LONGEST_INITIALS])
    for choice, value in {**chosen(form.values), INITIALS: initials}.items():
        name = cookie(choice, scheme)
        answer.set_cookie(name, value, max_age=YEAR, httponly=True, samesite="lax", secure=scheme == "https")
    return answer
