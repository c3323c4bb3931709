"""What a request was given access by, where the records are asked for it together with the first thing it wants.

Another server of the same records may have ended that access. So each read and each write asks for it first, and a row
that goes there by one message takes the question along: nothing is told or stored before it is answered.
"""

from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass

from app.shop.store.both.records import Answers


class AccessChangedError(Exception):
    """Who has access changed since the request was judged: it is to be judged again. Nothing was told or stored."""


@dataclass(frozen=True, slots=True)
class Unasked:
    """``answers`` hold while access is as it was; ``ask`` raises AccessChangedError where it is not."""

    answers: Answers
    ask: Callable[[], None]


UNASKED: ContextVar[Unasked | None] = ContextVar("UNASKED", default=None)
"""None where it was asked."""


def ask_now() -> None:
    """Ask, before anything else is asked of the records. Raises AccessChangedError."""
    if (unasked := UNASKED.get()) is not None:
        UNASKED.set(None)
        unasked.ask()


def with_unasked(answers: Answers) -> Answers:
    """What a write supposes, with what its request was given access by."""
    unasked = UNASKED.get()
    return answers if unasked is None else {**answers, **unasked.answers}
