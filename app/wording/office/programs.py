"""What a program of others may do, on the page that gives it access."""

from collections.abc import Iterable, Mapping

from app.shop.commands.access.scopes import AccessScope
from app.wording.message import Message, say
from app.wording.reasons import TABLES

SCOPES: Mapping[AccessScope, Message] = {
    AccessScope.READ: Message("Read all records"),
    AccessScope.RECORD: Message("Open visits and record in them, register meters, change settings"),
    AccessScope.ENGINES: Message("Register engines and change what is known of them"),
    AccessScope.HAND_OVER: Message("Hand over the engines of another shop"),
    AccessScope.EVENTS: Message("Learn at once that something was recorded"),
}
"""What each scope lets a program do."""

TABLES[AccessScope] = SCOPES  # type: ignore[assignment]


def may(scopes: Iterable[AccessScope]) -> str:
    """What a program may do, in a line."""
    return " · ".join(say(SCOPES[scope]) for scope in AccessScope if scope in set(scopes))
