"""Rows and entries that later ones replace: which of them count, and where they stand in the order."""

from collections.abc import Sequence
from typing import Protocol, TypeVar


class Superseding(Protocol):
    """A row or entry that may replace an earlier one of its table."""

    @property
    def ident(self) -> int: ...

    @property
    def supersedes_id(self) -> int | None: ...


S = TypeVar("S", bound=Superseding)


def current(rows: Sequence[S]) -> list[S]:
    """Those that no later one supersedes, in their order."""
    gone = {row.supersedes_id for row in rows}
    return [row for row in rows if row.ident not in gone]


def places(rows: Sequence[Superseding]) -> dict[int, int]:
    """By each row, the first of those that it continues: what is corrected keeps the place of what was wrong.

    ``rows`` are in the order in which they were stored.
    """
    found: dict[int, int] = {}
    for row in rows:
        found[row.ident] = found.get(row.supersedes_id or 0, row.ident)
    return found
