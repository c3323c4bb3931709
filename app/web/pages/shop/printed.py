"""The edges of what is printed of a shop rather than of one engine."""

from fastapi.responses import Response
from sqlmodel import Session

from app.shop.record import stored_settings
from app.web.presenters.paper.edge import printed_edge
from app.wording.message import Message, say


def edge_of_shop(session: Session, what: Message) -> Response:
    """The style sheet of the edge of every printed page: what is printed, the shop, and which page of how many."""
    _, held = stored_settings.now(session)
    return Response(printed_edge(say(what), held.shop_name), media_type="text/css")
