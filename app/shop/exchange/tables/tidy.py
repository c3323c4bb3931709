"""The rows of the tables: one observation a row, figures as they were shown, times as programs and spreadsheets do."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from typing import IO, NamedTuple

from app.shop.assessment.round_results import evenness_of
from app.shop.at_site import customer
from app.shop.cross_check.weighing import not_taken_back
from app.shop.exchange.tables.columns import LOCAL, NO, VERDICTS, YES
from app.shop.procedure.items import Item
from app.shop.procedure.phases import PHASES
from app.shop.queries.hours import PhaseTime
from app.shop.record.entries import EngineEntry, MoveEntry
from app.shop.record.rounds import Round
from app.shop.record.superseding import current
from app.shop.record.visit_record import TAKEN_BACK, VisitRecord
from app.shop.store.tables import Engine, FindingRow
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.layout import Layout
from app.sync.engine.units import CUBIC_INCH, INCH, LITER, MINUTE, REV_PER_MIN

Cell = str | int | bool | Decimal | None
Row = tuple[Cell, ...]

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""Beginnings that a spreadsheet may take for a formula (OWASP, CSV injection)."""

DISPLACEMENTS = {"L": LITER, "cu in": CUBIC_INCH}
ITEMS = {(phase.slug, item.slug): item for phase in PHASES for item in phase.items}


class CellWords(NamedTuple):
    """What puts codes into words: the reason of a reading, the name of an item, and the choice of its figure."""

    reason: Callable[[str], str]
    item: Callable[[str], str]
    choice: Callable[[Item, float], str]


def table_csv(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table for a spreadsheet: a comma between, as RFC 4180 has it; text that looks like a formula begins with an
    apostrophe. A number is left alone, negative or not."""
    text = io.StringIO()
    csv.writer(text).writerow(columns)
    add_rows(text, rows)
    return text.getvalue()


def add_rows(table: IO[str], rows: Iterable[Sequence[object]]) -> None:
    """Add rows to the file of a table, as ``table_csv`` has them."""
    csv.writer(table).writerows([_written(cell) for cell in row] for row in rows)


def figure(value: float, places: int = 0) -> Decimal:
    """A figure as it was shown, at least so many ``places``, without the digits that arithmetic in binary makes up.

    >>> print(figure(0.0007619999999999999), figure(6.5, 2), figure(7.62e-05))
    0.000762 6.50 0.0000762
    """
    kept = Decimal(f"{value:.9g}").normalize()
    return Decimal(f"{kept:.{max(places, -int(kept.as_tuple().exponent), 0)}f}")


def local(at: str) -> str:
    """A stored time in the zone of this computer, as spreadsheets take it for a time."""
    return f"{datetime.fromisoformat(at).astimezone():{LOCAL}}"


def readings(record: VisitRecord, words: CellWords) -> Iterator[Row]:
    """Every reading of a visit, in the order of the rounds."""
    visit, meter = record.visit, record.meter
    places = len(f"{meter.step:g}".partition(".")[2])
    for one in record.rounds:
        standing = {reading.ident for reading in current(one.entered)}
        speed, judged = record.speed_in(one), _judged(record, one)
        for reading in one.entered:
            counts = one.latest.get(reading.bore) is reading
            yield (
                visit.number, visit.place, visit.job, visit.opened_at, meter.name, one.row.number, one.row.phase,
                figure(one.row.opening), reading.bore, reading.kind,
                None if reading.value is None else figure(reading.value, places), reading.unit,
                reading.ident in standing, words.reason(reading.why), reading.by, reading.at, bool(one.row.from_above),
                round(speed.speed / REV_PER_MIN) if speed is not None else None,
                record.engine.serial, local(reading.at), figure(one.row.opening / INCH, 3 if one.row.opening else 0),
                *(judged.get(reading.bore, (None, None)) if counts else (None, None)),
            )  # fmt: skip


def moves(record: VisitRecord) -> Iterator[Row]:
    """Every entry of an adjustment, in the order they were stored."""
    standing = {move.ident for move in (*record.cold_settings, *record.moves)}
    for number, move in enumerate(record.all_moves, 1):
        amount, unit = _amount(move)
        yield (
            record.engine.serial, record.visit.number, number, move.phase, move.kind, move.bank, move.near, move.far,
            amount, unit, bool(move.advised), move.ident in standing, bool(move.taken_back), move.by, move.at,
            local(move.at),
        )  # fmt: skip


def checks(record: VisitRecord, words: CellWords) -> Iterator[Row]:
    """Every entry of an item, in the order they were stored."""
    standing = {check.ident for check in current(record.all_checks) if check.text != TAKEN_BACK}
    for check in record.all_checks:
        item, taken_back = ITEMS.get((check.phase, check.item)), check.text == TAKEN_BACK
        unit = "" if check.number is None else item.unit if item is not None else record.meter.unit
        yield (
            record.engine.serial, record.visit.number, check.phase, check.item, words.item(check.item),
            None if check.number is None else figure(check.number), unit, _choice(item, check.number, words),
            check.ident in standing, taken_back,
            check.by, check.at, local(check.at), "" if taken_back else check.text,
        )  # fmt: skip


def hours(record: VisitRecord, phases: Iterable[PhaseTime]) -> Iterator[Row]:
    """The time of each phase of a visit, to the tenth of a minute."""
    for one in phases:
        row = one.correction
        yield (
            record.engine.serial, record.visit.number, one.phase, _minutes(one.recorded), _minutes(one.spent),
            row is not None, *((row.why, row.by, row.at) if row is not None else (None, None, None)),
        )  # fmt: skip


def findings(record: VisitRecord, rows: Sequence[FindingRow]) -> Iterator[Row]:
    """Every entry of a visit's cross-check, in the order they were stored."""
    left = {row.ident for row in not_taken_back(rows)}
    for row in rows:
        yield (
            record.engine.serial, record.visit.number, row.kind, row.bore, row.bank,
            None if row.value is None else figure(row.value), row.word, row.why, row.unit,
            None if row.spread is None else figure(row.spread), row.source,
            row.ident in left, row.by, row.at, local(row.at),
        )  # fmt: skip


def visits(record: VisitRecord) -> Row:
    """A visit in a row."""
    visit, signed = record.visit, record.sign_off
    found, left = record.as_found(), record.as_left() if signed else None
    return (
        record.engine.serial, visit.number, visit.place, visit.job, visit.why, visit.opened_at, local(visit.opened_at),
        record.meter.name, record.meter.unit, visit.by, signed.at if signed else None,
        _largest_difference(record, found), _largest_difference(record, left),
    )  # fmt: skip


def engine(facts: Engine | EngineEntry, layout: Layout) -> Row:
    """An engine in a row, with the layout that is fitted now."""
    size = facts.displacement / DISPLACEMENTS[facts.displacement_unit]
    return (
        facts.serial, facts.description, customer(facts), facts.vehicle, figure(size), facts.displacement_unit,
        len(layout.bores), len(layout.banks), figure(facts.idle_speed / REV_PER_MIN), facts.registered_at,
    )  # fmt: skip


def _judged(record: VisitRecord, one: Round) -> dict[int, tuple[str, Decimal]]:
    """By bore read, the verdict and its air beside the average, in per cent."""
    if not one.latest:
        return {}
    found = evenness_of(record, one, record.settings.window(one.row.phase))
    return {bore.bore: (VERDICTS[bore.verdict], _percent(bore.share)) for bore in found.standings}


def _largest_difference(record: VisitRecord, one: Round | None) -> Decimal | None:
    if one is None:
        return None
    shares = [bore.share for bore in evenness_of(record, one, record.settings.fine_window).standings]
    return _percent(max(shares) - min(shares))


def _choice(item: Item | None, number: float | None, words: CellWords) -> str:
    return words.choice(item, number) if item is not None and item.choices and number is not None else ""


def _minutes(seconds: float) -> Decimal:
    return figure(round(seconds / MINUTE, 1), 1)


def _percent(share: float) -> Decimal:
    return figure(round(100 * share, 1), 1)


def _amount(move: MoveEntry) -> tuple[Decimal, str]:
    if move.leaves:
        return figure(sum(map(float, move.leaves.split())) / INCH, 3), "in"
    return figure(move.amount), kind_of(move.kind).unit


def _written(cell: object) -> object:
    if isinstance(cell, bool):
        return YES if cell else NO
    if isinstance(cell, str) and cell.lstrip(" ").startswith(FORMULA):
        return "'" + cell
    return "" if cell is None else cell
