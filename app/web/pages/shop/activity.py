"""Who did what when."""

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse

from app.shop.queries import activity
from app.web.context import Page, Shop

router = APIRouter()

A_PAGE = 100
FARTHEST = 10_000


@router.get("/audit")
def show(
    shop: Shop, page: Page, number: Annotated[int, Query(alias="page", ge=1, le=FARTHEST)] = 1, visit: int | None = None
) -> HTMLResponse:
    """What was done last, a hundred lines a page, of one visit or of everything."""
    with shop.reading() as session:
        lines = activity.lines(session, A_PAGE + 1, (number - 1) * A_PAGE, visit)
    return page.show("audit.html", lines=lines[:A_PAGE], more=len(lines) > A_PAGE, page=number, visit=visit)
