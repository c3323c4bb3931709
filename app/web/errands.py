"""Work that may take longer than one answer: begun in a thread of its own, its answer fetched as soon as it is there.

One piece goes on at a time, so that several do not share the memory and the processor that the shop needs. What is
heavy of it is done apart, in a process that is ended once the answer is no longer asked for.
"""

import secrets
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from contextvars import copy_context
from dataclasses import dataclass, field

from fastapi.responses import Response

from app.shop.apart import Apart, GivenUpError, Wanted

PATIENCE = 1.2
"""How long one answer waits for the work [s]; sending the file and drawing the page take the rest of two seconds."""

MOST = 4
"""How many may be under way, waiting, or not fetched yet (our judgement)."""

LET_GO = 20.0
"""How long after it was last asked for an answer is still wanted [s]: a page asks each second (our judgement)."""

Work = Callable[[Wanted], Response]
"""What is to be done; it asks whether it is still wanted."""


class TooManyError(Exception):
    """Enough is under way already."""


@dataclass(slots=True)
class _Errand:
    """One piece of work, and when it was last asked for by a clock that cannot be set [s]."""

    future: Future[Response] = field(default_factory=Future)
    asked: float = field(default_factory=time.monotonic)


class Errands:
    """The work of one shop that is under way, and what came of it until it is fetched.

    Parameters: ``patience``, how long an answer is waited for [s]; ``let_go``, after how long without being asked for
    work is given up [s]; ``apart`` is where heavy work is done. Nothing goes on while ``turn`` is held.
    """

    def __init__(self, apart: Apart | None = None, patience: float = PATIENCE, let_go: float = LET_GO) -> None:
        self.apart = apart or Apart()
        self.patience = patience
        self.let_go = let_go
        self.turn = threading.Lock()
        self._begun: dict[str, _Errand] = {}
        self._counting = threading.Lock()

    def begin(self, work: Work) -> str:
        """The ticket of ``work``, begun. Raises TooManyError."""
        errand = _Errand()
        ticket = secrets.token_urlsafe()
        with self._counting:
            self._forget_one()
            self._begun[ticket] = errand
        context = copy_context()
        # A thread that the end of the program does not wait for: what it was storing is stored whole or not at all.
        threading.Thread(target=context.run, args=(self._do, work, errand), daemon=True).start()
        return ticket

    def answer(self, ticket: str) -> Response | None:
        """What came of the work, once; None while it goes on. Raises KeyError for no such ticket, GivenUpError for work
        that was not asked for, and as the work."""
        errand = self._begun[ticket]
        errand.asked = time.monotonic() + self.patience
        future = errand.future
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

    def _do(self, work: Work, errand: _Errand) -> None:
        with self.turn:
            try:
                if not self._wanted(errand):
                    raise GivenUpError
                errand.future.set_result(work(lambda: self._wanted(errand)))
            except BaseException as error:
                errand.future.set_exception(error)

    def _wanted(self, errand: _Errand) -> bool:
        return time.monotonic() - errand.asked < self.let_go

    def _forget_one(self) -> None:
        """Make room for one more by what was done and never fetched."""
        if len(self._begun) >= MOST:
            done = next((ticket for ticket, one in self._begun.items() if one.future.done()), None)
            if done is None:
                raise TooManyError
            del self._begun[done]
