"""A logger's file with named columns, read into findings: the middle of its last steady stretch, column by column.

A column's role is ``time_s``, ``speed_rpm``, or a quantity with bore and unit, such as ``egt_3_C``, ``lambda_1``,
``vac_2_kPa`` or ``air_4_kg/h``; a column that bears its role as its name needs no other. Comma, tab, or semicolon with
decimal comma.
"""

import csv
import hashlib
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, median, stdev

from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.sync.diagnosis.measurements import CATALOGUE, FindingKind, Use

QUANTITIES: Mapping[str, tuple[FindingKind, Mapping[str, str]]] = {
    "egt": (FindingKind.HEAT, {"C": "°C", "F": "°F"}),
    "lambda": (FindingKind.MIXTURE, {"": "lambda"}),
    "vac": (FindingKind.VACUUM, {unit: unit for unit in ("kPa", "mbar", "inHg", "psi")}),
    "air": (FindingKind.AIR, {unit: unit for unit in ("kg/h", "g/s")}),
    "drop": (FindingKind.DROP, {"rpm": "rev/min"}),
    "compression": (FindingKind.COMPRESSION, {unit: unit for unit in ("kPa", "psi", "bar")}),
}
COLUMN = re.compile(r"([a-z]+)_(\d{1,2})(?:_(.+))?")
STRETCH = 20.0
"""How much of the end of a file counts at most [s], our judgement."""
SHORTEST = 5.0
"""A stretch shorter than this is no steady one [s], our judgement."""
STEADY = 0.03
"""How far the speed may stray from its middle within it, as a fraction; our judgement."""
LARGEST_FILE = 5_000_000
"""Signs of a file at most, our judgement."""

TIME, SPEED = "time_s", "speed_rpm"
LEFT_OUT = ""
"""The role of a column that is not read."""

Columns = Mapping[str, list[float]]


@dataclass(frozen=True, slots=True)
class LoggerColumn:
    """A column of a file: its name, its first cell, and the role that its name gives it, `LEFT_OUT` for none."""

    name: str
    first: str
    role: str


def columns_of(text: str) -> tuple[LoggerColumn, ...]:
    """The columns of a file. Raises RejectedError for one that is empty, too long, or has one name twice."""
    names, rows, _ = _table(text)
    first = rows[0] if rows else []
    return tuple(
        LoggerColumn(name, first[place].strip() if place < len(first) else "", role_of(name))
        for place, name in enumerate(names)
    )


def role_of(name: str) -> str:
    """The role that a column's name gives it, `LEFT_OUT` for none."""
    found = COLUMN.fullmatch(name)
    known = found is not None and found[1] in QUANTITIES and (found[3] or "") in QUANTITIES[found[1]][1]
    return name if known or name in (TIME, SPEED) else LEFT_OUT


def role_at(quantity: str, bore: int) -> str:
    """The role of a quantity (``egt_C``) at a bore: ``egt_3_C``."""
    name, _, unit = quantity.partition("_")
    return f"{name}_{bore}_{unit}" if unit else f"{name}_{bore}"


def quantities() -> tuple[str, ...]:
    """Every quantity with its unit, as `role_at` takes it."""
    return tuple(f"{name}_{unit}".rstrip("_") for name, (_, units) in QUANTITIES.items() for unit in units)


def read_logger(
    text: str, bores: Iterable[int], by: str, roles: Mapping[str, str] | None = None
) -> tuple[NewFindings, ...]:
    """The findings of a file, its columns in ``roles`` by name, None for what their names say. Raises RejectedError for
    one that is empty, too long, without time or known columns, with a bore that is not there, a column or role twice, a
    short row, time that goes back, or no steady stretch."""
    columns = _columns(text, roles)
    times, speeds = columns[TIME], columns.get(SPEED)
    first = _steady_from(times, speeds)
    known, shown = set(bores), dict[tuple[FindingKind, str], list[ShownAt]]()
    for name, values in columns.items():
        found = COLUMN.fullmatch(name)
        if found is None or found[1] not in QUANTITIES:
            continue
        measure, units = QUANTITIES[found[1]]
        if int(found[2]) not in known:
            raise _refused(Rejection.NOT_A_BORE, typed=name)
        if (found[3] or "") not in units:
            raise _refused(Rejection.NOT_ONE_OF, choices=[*units])
        stretch = values[first:]
        one = ShownAt(int(found[2]), "", median(stretch), spread=_spread(measure, stretch))
        shown.setdefault((measure, units[found[3] or ""]), []).append(one)
    if not shown:
        raise _refused(Rejection.NOTHING_ENTERED)
    digest = hashlib.sha256(text.encode()).hexdigest()
    return tuple(
        NewFindings(measure.value, tuple(places), unit, by, "csv", digest) for (measure, unit), places in shown.items()
    )


def _table(text: str) -> tuple[list[str], list[list[str]], str]:
    """Names, rows, and what stands between two cells, of which each may be as long as the module for them allows."""
    text = text.removeprefix("\ufeff").strip()
    if not text:
        raise _refused(Rejection.NOTHING_ENTERED)
    if len(text) > LARGEST_FILE:
        raise _refused(Rejection.TOO_LONG, most=LARGEST_FILE)
    head = text.splitlines()[0]
    mark = "\t" if "\t" in head else ";" if ";" in head else ","
    try:
        rows = list(csv.reader(io.StringIO(text, newline=None), delimiter=mark))
    except csv.Error:
        raise _refused(Rejection.TOO_LONG, most=csv.field_size_limit()) from None
    names = [name.strip() for name in rows[0]]
    if len(set(names)) < len(names):
        raise _refused(Rejection.NOT_A_NUMBER, typed=_twice(names)[0])
    return names, rows[1:], mark


def _columns(text: str, roles: Mapping[str, str] | None) -> Columns:
    """The figures of every column that is not left out, by its role."""
    names, rows, mark = _table(text)
    given = [name if roles is None else roles.get(name, LEFT_OUT) for name in names]
    for name, role in zip(names, given, strict=True):
        if roles is not None and role not in (LEFT_OUT, role_of(role)):
            raise _refused(Rejection.NOT_A_BORE, typed=name)
    used = [role for role in given if role != LEFT_OUT]
    if TIME not in used:
        raise _refused(Rejection.NOT_ONE_OF, choices=[TIME])
    if len(set(used)) < len(used) or any(len(row) != len(names) for row in rows):
        raise _refused(Rejection.NOT_A_NUMBER, typed=next(iter(_twice(used)), names[-1]))
    columns = {
        role: [_number(row[place], mark) for row in rows] for place, role in enumerate(given) if role != LEFT_OUT
    }
    times = columns[TIME]
    if len(times) < 2 or any(later <= before for before, later in pairwise(times)):
        raise _refused(Rejection.NOT_A_NUMBER, typed=TIME)
    return columns


def _twice(names: Sequence[str]) -> list[str]:
    return [name for name in names if names.count(name) > 1]


def _number(text: str, mark: str) -> float:
    try:
        value = float(text.replace(",", ".") if mark != "," else text)
    except ValueError:
        raise _refused(Rejection.NOT_A_NUMBER, typed=text[:40]) from None
    if not math.isfinite(value):
        raise _refused(Rejection.NOT_A_NUMBER, typed=text[:40])
    return value


def _steady_from(times: Sequence[float], speeds: Sequence[float] | None) -> int:
    """The row from which the speed stays steady to the end. Raises RejectedError where that is too short."""
    first = next(row for row, time in enumerate(times) if time >= times[-1] - STRETCH)
    while speeds is not None and first < len(times) - 1:
        middle = median(speeds[first:])
        strayed = [row for row in range(first, len(times)) if abs(speeds[row] - middle) > STEADY * abs(middle)]
        if not strayed:
            break
        first = strayed[-1] + 1 if strayed[-1] + 1 < len(times) else len(times) - 1
    if times[-1] - times[first] < SHORTEST:
        raise _refused(Rejection.OUT_OF_RANGE, low=SHORTEST, high=STRETCH, unit="s")
    return first


def _spread(measure: FindingKind, values: Sequence[float]) -> float | None:
    """The spread of the figures where it is more than what the catalogue expects, in the form of its use."""
    if len(values) < 3:
        return None
    seen = stdev(values)
    if CATALOGUE[measure].use is not Use.DIFFERENCE:
        middle = abs(fmean(values))
        seen = seen / middle if middle else 0.0
    return seen if seen > CATALOGUE[measure].spread else None


def _refused(code: Rejection, **values: object) -> RejectedError:
    return RejectedError({"file": because(code, **values)})
