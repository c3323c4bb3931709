"""The columns of a logger's file with the role of each, as a page offers them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.shop.cross_check.logger_file import COLUMN, QUANTITIES, SPEED, TIME, LoggerColumn
from app.wording.causes import columns, tests


@dataclass(frozen=True, slots=True)
class ColumnRole:
    """A column: its name, its first figure, what it holds (a code of the choices) and of which bore."""

    name: str
    first: str
    quantity: str
    bore: str


def logger_columns(found: Sequence[LoggerColumn], values: Mapping[str, str]) -> tuple[ColumnRole, ...]:
    """Every column, with what was chosen in ``values`` before what its name says."""
    rows = []
    for number, column in enumerate(found):
        quantity, bore = _by_name(column.role)
        chosen = values.get(f"role-{number}", quantity)
        rows.append(ColumnRole(column.name, column.first, chosen, values.get(f"bore-{number}", bore)))
    return tuple(rows)


def logger_quantities() -> tuple[tuple[str, str], ...]:
    """What a column may hold: code and words."""
    measured = [
        (f"{name}_{unit}".rstrip("_"), columns.measured(tests.test_name(measure), shown))
        for name, (measure, units) in QUANTITIES.items()
        for unit, shown in units.items()
    ]
    return (("", columns.left_out()), (TIME, columns.time()), (SPEED, columns.speed()), *measured)


def _by_name(role: str) -> tuple[str, str]:
    found = COLUMN.fullmatch(role)
    if found is None or role in (TIME, SPEED):
        return role, ""
    return f"{found[1]}_{found[3] or ''}".rstrip("_"), found[2]
