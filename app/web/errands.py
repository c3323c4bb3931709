"""Work that may take longer than one answer: begun in a thread of its own, its answer fetched as soon as it is there.

One piece goes on at a time, so that several do not share the memory and the processor that the shop needs.
"""

import secrets
import threading
from collections.abc import Callable
from concurrent.futures import Future
from contextvars import copy_context

from fastapi.responses import Response

PATIENCE = 1.2
"""How long one answer waits for the work [s]; sending the file and drawing the page take the rest of two seconds."""

MOST = 4
"""How many may be under way, waiting, or not fetched yet (our judgement)."""


class TooManyError(Exception):
    """Enough is under way already."""


class Errands:
    """The work of one shop that is under way, and what came of it until it is fetched.

    Parameters: ``patience``, how long an answer is waited for [s]. Nothing goes on while ``turn`` is held.
    """

    def __init__(self, patience: float = PATIENCE) -> None:
        self.patience = patience
        self.turn = threading.Lock()
        self._begun: dict[str, Future[Response]] = {}
        self._counting = threading.Lock()

    def begin(self, work: Callable[[], Response]) -> str:
        """The ticket of ``work``, begun. Raises TooManyError."""
        future: Future[Response] = Future()
        ticket = secrets.token_urlsafe()
        with self._counting:
            self._forget_one()
            self._begun[ticket] = future
        context = copy_context()
        # A thread that the end of the program does not wait for: what it was storing is stored whole or not at all.
        threading.Thread(target=context.run, args=(self._do, work, future), daemon=True).start()
        return ticket

    def answer(self, ticket: str) -> Response | None:
        """What came of the work, once; None while it goes on. Raises KeyError for no such ticket, and as the work."""
        future = self._begun[ticket]
        try:
            answer = future.result(self.patience)
        except TimeoutError:
            if not future.done():
                return None
            raise
        finally:
            if future.done():
                self._begun.pop(ticket, None)
        return answer

    def _do(self, work: Callable[[], Response], future: Future[Response]) -> None:
        with self.turn:
            try:
                future.set_result(work())
            except BaseException as error:
                future.set_exception(error)

    def _forget_one(self) -> None:
        """Make room for one more by what was done and never fetched."""
        if len(self._begun) >= MOST:
            done = next((ticket for ticket, future in self._begun.items() if future.done()), None)
            if done is None:
                raise TooManyError
            del self._begun[done]
