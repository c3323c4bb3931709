"""The page on which a tablet's look is chosen."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.web.context import Form, Page
from app.web.display_options import CHOICES, belongs_to, chosen, initials_of, keep
from app.wording.message import say
from app.wording.office.settings import DISPLAY

router = APIRouter()


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
    for choice, value in chosen(form.values).items():
        keep(answer, choice, value, request.url.scheme)
    belongs_to(answer, form.text("initials"), request.url.scheme)
    return answer
