"""What a program of others may do, on the page that gives it access."""

from collections.abc import Iterable, Mapping

from app.shop.commands.access.scopes import Scope
from app.wording.message import Message, say
from app.wording.reasons import TABLES

SCOPES: Mapping[Scope, Message] = {
    Scope.READ: Message("Read all records"),
    Scope.RECORD: Message("Open visits and record in them, register meters, change settings"),
    Scope.ENGINES: Message("Register engines and change what is known of them"),
    Scope.EVENTS: Message("Learn at once that something was recorded"),
}
"""What each scope lets a program do."""

TABLES[Scope] = SCOPES  # type: ignore[assignment]


def may(scopes: Iterable[Scope]) -> str:
    """What a program may do, in a line."""
    return " · ".join(say(SCOPES[scope]) for scope in Scope if scope in set(scopes))
