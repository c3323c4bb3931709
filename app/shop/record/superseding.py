"""Rows and entries that later ones replace: which of them count."""

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
