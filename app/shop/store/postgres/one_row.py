"""The one row of a write that was decided on what is in mind, in one message with whether that still holds.

Where a message holds several statements and no BEGIN, the server takes them as one transaction and commits it before it
says that it is through (PostgreSQL documentation, "Message Flow", "Extended Query", "Pipelining"). So the turn of all
writes, every condition and the row go there together, and what comes back was stored.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import psycopg
from sqlalchemy.exc import IntegrityError

from app.shop.store.both.records import Answers, Statement, SupposedWrongError
from app.shop.store.postgres.wire import Values, spelled

ROW = re.compile(r'(INSERT INTO "\w+" \([^()]*\)) VALUES \(([^()]*)\)')
NAMED = re.compile(r":(\w+)")

Send = Callable[[str, Sequence[Any]], Any]
"""Sends a statement in the turn of all writes and commits it: the row that it returns, None for none."""


@dataclass(frozen=True, slots=True)
class Supposed:
    """What is taken for the answer of a statement; ``lastrowid`` of the row that was stored."""

    row: Sequence[Any] | None
    lastrowid: int | None = None
    description: None = None

    def fetchone(self) -> Any:
        """The one row, or None."""
        return self.row

    def fetchall(self) -> list[Any]:
        """The same as a list."""
        return [] if self.row is None else [self.row]

    def __iter__(self) -> Iterator[Any]:
        return iter(self.fetchall())


class OneRowWire:
    """A connection under a session that answers from what is ``supposed``, and stores one row where that holds.

    The row is the one whose key is supposed to be new. Any other statement, and a row that is not stored because
    something is not as supposed, raise SupposedWrongError. Once the row is stored nothing more is asked.

    ``instead``, if there is any, is less to ask, from which all of ``supposed`` follows; where it does not hold,
    ``supposed`` is asked. ``change`` is the number by which programs are told of the row, None until it is stored.
    """

    def __init__(self, send: Send, supposed: Answers, instead: Answers | None = None) -> None:
        self._send = send
        self._supposed = supposed
        self._asked = (supposed,) if instead is None else (instead, supposed)
        self._new = {one.values for one, answer in supposed.items() if answer is None}
        self.change: int | None = None

    def execute(self, sql: str, parameters: Values = (), /) -> Supposed:
        """Answer or store. Raises SupposedWrongError; RuntimeError after the row; IntegrityError as a wire does."""
        if isinstance(parameters, tuple):
            asked = Statement(sql, parameters)
            if asked in self._supposed:
                return Supposed(self._supposed[asked])
        self.forget()
        if not isinstance(parameters, Mapping) or (parameters.get("key"),) not in self._new or not ROW.fullmatch(sql):
            raise SupposedWrongError
        row = next(filter(None, (self._stored(sql, parameters, answers) for answers in self._asked)), None)
        if row is None:
            raise SupposedWrongError
        ident, self.change = map(int, row)
        return Supposed(None, lastrowid=ident)

    def _stored(self, sql: str, row: Mapping[str, Any], answers: Answers) -> Any:
        text, names = conditional(sql, tuple((one.sql, answer and len(answer)) for one, answer in answers.items()))
        values = [row[name] for name in names]
        for one, answer in answers.items():
            values += [*(answer or ()), *one.values]
        try:
            return self._send(text, values)
        except psycopg.IntegrityError as error:
            raise IntegrityError(sql, None, error) from error

    def executemany(self, _sql: str, _parameters: Sequence[Values], /) -> object:
        """Several rows are never supposed."""
        self.forget()
        raise SupposedWrongError

    def forget(self) -> None:
        """Something else is asked. Raises RuntimeError once the row is stored, which cannot be taken back."""
        if self.change is not None:
            raise RuntimeError("this write was to store one row, and asks more after it")


@cache
def conditional(sql: str, supposed: tuple[tuple[str, int | None], ...]) -> tuple[str, list[str]]:
    """An INSERT that stores its row where each statement that is ``supposed`` has its answer, of so many columns or
    None for none, and tells the row's id and the number that its change gets; and the names of its values, which come
    first, then those of each answer and its statement.

    >>> text, names = conditional('INSERT INTO "t" ("key") VALUES (:key)', (("SELECT a FROM b WHERE c = ?", 1),))
    >>> text
    'INSERT INTO "t" ("key") SELECT %s WHERE ROW(%s) = (SELECT a FROM b WHERE c = %s) RETURNING id, next_change()'
    >>> names
    ['key']
    """
    found = ROW.fullmatch(sql)
    assert found is not None
    names = NAMED.findall(found[2])
    holds = [
        f"NOT EXISTS ({spelled(one).strip()})"
        if columns is None
        else f"ROW({', '.join(['%s'] * columns)}) = ({spelled(one).strip()})"
        for one, columns in supposed
    ]
    return (
        f"{found[1]} SELECT {', '.join(['%s'] * len(names))} WHERE {' AND '.join(holds)} RETURNING id, next_change()",
        names,
    )
