"""What a shop's records are to the rest of the program, whichever engine holds them.

``app.shop.store.database`` has the one for a file, ``app.shop.store.postgres.server`` the one for a database server.
"""

import threading
from abc import ABC, abstractmethod
from collections.abc import Callable, Hashable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, nullcontext
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from sqlalchemy import Engine
from sqlmodel import Session

from app.shop.reasons import Reason
from app.shop.stopwatch import Stopwatch
from app.shop.store.folder.forgetting import TAKEN_OUT
from app.shop.store.lru import LruCache

TURN_SECONDS = 10.0
"""How long a write waits for the writes before it. One takes milliseconds, so a longer wait means that one is stuck."""


class Statement(NamedTuple):
    """A statement that changes nothing, and its values."""

    sql: str
    values: tuple[Any, ...] = ()


ANSWERED = "answered"
"""Where a session keeps what was supposed and is otherwise with the row that it stored, as ``Answers``."""

Answers = Mapping[Statement, tuple[Any, ...] | None]
"""The one row that each statement finds, None for none."""


class SupposedWrongError(Exception):
    """What a write supposed does not hold, or it is more than one row. Nothing was stored; it is decided anew."""


class Rows(Protocol):
    """What a statement found."""

    @property
    def lastrowid(self) -> int | None:
        """The id of the row that was added."""

    @property
    def description(self) -> Any:
        """The columns, each with its name first."""

    def fetchone(self) -> Any:
        """The next row, None after the last."""

    def fetchall(self) -> list[Any]:
        """All rows that are left."""

    def __iter__(self) -> Iterator[Any]: ...


class Wire(Protocol):
    """The driver's own connection under a session: SQLite's itself, or one that takes the same statements.

    Statements are written as SQLite reads them, with ``?`` or ``:name`` for values.
    """

    def execute(self, sql: str, parameters: Any = ..., /) -> Rows:
        """Run one statement."""

    def executemany(self, sql: str, parameters: Any, /) -> object:
        """Run one statement for each set of values."""


class Database(ABC):
    """One shop's records, held open by this process until ``close``.

    ``folder`` is where this computer keeps what belongs to the shop and is no record: traces, its certificate, its
    name; and the records themselves where they are a file.
    """

    shared = False
    """Whether other processes may have the records open too, so that what this one knows of them may be out of date."""

    most_in_mind = 200
    """How many things are kept in mind: of each visit that is worked on its record, what stands before its phases, and
    what is judged of it, half a megabyte together (our judgement)."""

    def __init__(self, folder: Path, reads: Engine, writes: Engine) -> None:
        self.clock: Callable[[], float] | None = None
        """The time of the shop computer [s], by which what runs out is judged. Without one time stands still at the
        newest row of a visit."""
        self.around_writes: Callable[[Session], AbstractContextManager[None]] = lambda _: nullcontext()
        """What stands around the block of every write, inside its transaction."""
        self.watched: Callable[[], bool] = lambda: False
        """Whether what stands there does more in this request than a visit's own record is asked for by it."""
        self.folder = folder
        self.noticed: list[Reason] = []  # each a Noticed
        self.writes = 0
        self.stopwatch = Stopwatch()
        self._turn = threading.Lock()
        self._memory = LruCache(self.most_in_mind)
        self._reads = reads
        self._writes = writes

    @abstractmethod
    def reading(self) -> AbstractContextManager[Session]:
        """A session that sees one moment of the records. Writing in it raises; nothing is committed."""

    @abstractmethod
    def writing(self, *first: Statement) -> AbstractContextManager[Session]:
        """A session whose changes are on the disk, all of them, once the block is left; none if anything raises.

        ``first`` are the statements that the block asks before it writes: where the records are on a server, they go
        there together with the beginning. Raises ShopUnavailableError when that cannot be.
        """

    @contextmanager
    def supposing(self, _answers: Answers, _of_one: Answers) -> Iterator[Session]:
        """A session for a write that stores one row, whose key is supposed to be new, and that asks nothing but what
        is supposed to have these answers: as soon as the block stores the row it is on the disk.

        ``of_one`` are the answers about the one thing that it is a row of: they change with rows that programs are
        told of, and no row changes those about several things. The block leaves in ``session.info[ANSWERED]`` what
        they are with the row.

        Raises SupposedWrongError, in the block or after it, where that is not so, and nothing was stored then. What
        stands around the block of a write does not stand around this one. Raises ShopUnavailableError.
        """
        raise SupposedWrongError
        yield  # only records on a server gain by it

    @property
    @abstractmethod
    def where(self) -> Path | str:
        """Where a child of this process finds the records: their file, or the address of their database."""

    @abstractmethod
    def still_there(self) -> bool:
        """Whether the records are those that were opened. Once they were not, nothing is written any more."""

    @abstractmethod
    def close(self) -> bool:
        """Let the write under way finish, and no other begin. Closing again does nothing.

        False where something of the records is left beside them.
        """

    @abstractmethod
    def answer(self, asked: Statement) -> Any:
        """The first row of what one statement finds now, None for none. Raises ShopUnavailableError."""

    def written(self) -> int:
        """A number that grows with what programs are told of, whichever process wrote it."""
        return self.writes

    @contextmanager
    def alone(self, _task: int) -> Iterator[bool]:
        """Whether a task is this process's alone until the block is left, among all that have the records open."""
        yield True

    @contextmanager
    def _scribing(self, wire: Wire) -> Iterator[Session]:
        """The one session of all writes, as if it were new: making one takes longer than many a write."""
        session = self._scribe
        session.info.update(
            {"wire": wire, "fresh": {}, "now": self._now(), "writes": None, TAKEN_OUT: False, ANSWERED: {}}
        )
        try:
            yield session
        finally:
            if session.in_transaction() or session.identity_map:
                session.close()

    @cached_property
    def _scribe(self) -> Session:
        return self._session(self._writes)

    def _session(self, engine: Engine) -> Session:
        """``info`` has what was read before, what this session read or stored, when it began (``loader.load``), and how
        many writes there had been by then, None in one that writes itself."""
        info = {"memory": self._memory, "fresh": {}, "now": self._now(), "writes": self.writes, TAKEN_OUT: False}
        return Session(engine, expire_on_commit=False, info=info)

    def _now(self) -> float | None:
        return self.clock() if self.clock is not None else None

    def in_mind(self, key: Hashable) -> Any:
        """What was read under ``key``, None where it is not kept; the reader has to know that it still holds."""
        return self._memory.get(key)

    def _keep(self, session: Session) -> None:
        fresh: Mapping[Any, Any] = session.info["fresh"]
        for key, value in fresh.items():
            self._memory.put(key, value)
