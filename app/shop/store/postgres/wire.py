"""The driver's connection, taking statements as SQLite reads them: each is spelled anew once, and kept."""

import re
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any, cast

import psycopg
from sqlalchemy.exc import IntegrityError

from app.shop.store.both.records import Statement

Values = Sequence[Any] | Mapping[str, Any]


class Answer(psycopg.Cursor[Any]):
    """A cursor that knows the id of the row that it added, as SQLite's does."""

    @property
    def lastrowid(self) -> int | None:
        """The id that the statement returned; None where it returned nothing."""
        row = self.fetchone() if self.description is not None else None
        return None if row is None else int(row[0])


class ServerWire:
    """A connection to a server under a session, in its transaction.

    ``answered`` is what was asked already when the transaction began; it holds until something is written.
    """

    def __init__(self, connection: psycopg.Connection[Any], answered: Mapping[Statement, Answer] | None = None) -> None:
        self._connection = connection
        self._answered = dict(answered or {})

    def execute(self, sql: str, parameters: Values = (), /) -> Answer:
        """Run one statement. Raises sqlalchemy's IntegrityError where a row breaks a rule of its table."""
        if self._answered and isinstance(parameters, tuple):
            answer = self._answered.pop(Statement(sql, parameters), None)
            if answer is not None:
                return cast("Answer", answer)
        if not sql.lstrip().startswith("SELECT"):
            self.forget()
        try:
            return cast("Answer", self._connection.execute(spelled(sql), parameters))
        except psycopg.IntegrityError as error:
            raise IntegrityError(sql, None, error) from error

    def executemany(self, sql: str, parameters: Sequence[Values], /) -> object:
        """Run one statement for each set of values. Raises as ``execute`` does."""
        self.forget()
        try:
            with self._connection.cursor() as cursor:
                cursor.executemany(spelled(sql, tells_id=False), parameters)
        except psycopg.IntegrityError as error:
            raise IntegrityError(sql, None, error) from error
        return None

    def forget(self) -> None:
        """What was asked when the transaction began is asked anew from now on."""
        self._answered.clear()


PHRASES = (
    (re.compile(r"\bjson_each\((\?|:\w+)\)"), r"json_array_elements_text(\1::json)"),
    (re.compile(r"\bjson_each\(([\w.]+), '\$\.(\w+)'\)"), r"json_array_elements(\1::json -> '\2')"),
    (re.compile(r"\bjson_array_length\(([\w.]+), '\$\.(\w+)'\)"), r"json_array_length(\1::json -> '\2')"),
    (re.compile(r"\bjson_object\(([^()]*)\)"), r"json_build_object(\1)::text"),
    (re.compile(r"\bchar\((0x10FFFF)\)"), r"chr(1114111)"),
)
"""What SQLite calls otherwise."""

NEW_ROW = re.compile(r'^INSERT INTO "\w+" \((?!"id")')
"""A row without an id of its own tells the one it was given."""

PIECE = re.compile(r"'(?:[^']|'')*'|\"[^\"]*\"|::|\?|:([a-z_]\w*)|%", re.IGNORECASE)


@cache
def spelled(sql: str, *, tells_id: bool = True) -> Any:
    """A statement as the driver takes it. Quoted text stays as it is but for the driver's own sign.

    >>> spelled("SELECT '50 % :a ?' FROM t WHERE a = ? AND b = :name")
    "SELECT '50 %% :a ?' FROM t WHERE a = %s AND b = %(name)s"
    """
    for phrase, other in PHRASES:
        sql = phrase.sub(other, sql)
    if tells_id and NEW_ROW.match(sql):
        sql += " RETURNING id"
    return PIECE.sub(_piece, sql)


def _piece(found: re.Match[str]) -> str:
    whole = found[0]
    if whole == "?":
        return "%s"
    return f"%({found[1]})s" if found[1] else whole.replace("%", "%%")
