"""Paper: the handover sheet, one page for the customer."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.shop import visits
from app.shop.phases import DEFER
from app.web.context import Page, Shop
from app.web.sheet import sheet_of

router = APIRouter()


@router.get("/visits/{visit_id}/sheet")
def sheet(request: Request, shop: Shop, page: Page, visit_id: int) -> HTMLResponse:
    """The handover sheet of a visit; marked as a draft until it is signed off."""
    with shop.reading() as session:
        story = visits.load(session, visit_id)
    return page.show(
        "sheet.html",
        story=story,
        sheet=sheet_of(story, f"{request.url.scheme}://{request.url.netloc}/engines/{story.engine.ident}"),
        defer=DEFER,
    )
