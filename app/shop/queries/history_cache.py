"""The memory of an engine out of the records. A visit that was signed off is not read again until it is corrected."""

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock

from sqlmodel import Session, col, func, select

from app.shop.assessment.visit_summary import VisitSummary, build_history
from app.shop.record import loader
from app.shop.store.tables import CheckRow, Fitting, MoveRow, ReadingRow, RoundRow, SignOff, Visit

MOST_KEPT = 2000
"""Visits whose memory is kept in this process: a few kilobytes each (our judgement)."""

Stamp = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class EngineMemory:
    """An engine's visits, oldest first, and everything that was ever fitted to it, oldest first."""

    visits: tuple[VisitSummary, ...]
    fittings: tuple[Fitting, ...]


class _Kept:
    """Visits worked out before, by their key and what was newest in them then; the least used one goes first."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._held: OrderedDict[tuple[str, Stamp], VisitSummary] = OrderedDict()

    def get(self, key: tuple[str, Stamp]) -> VisitSummary | None:
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
            return self._held.get(key)

    def put(self, key: tuple[str, Stamp], visit: VisitSummary) -> None:
        with self._lock:
            self._held[key] = visit
            while len(self._held) > MOST_KEPT:
                self._held.popitem(last=False)


_kept = _Kept()


def of_engine(session: Session, engine_id: int) -> EngineMemory:
    """The memory of one engine: the one handed out before while nothing was stored in the shop."""
    writes: int | None = session.info["writes"]
    kept: tuple[int, EngineMemory] | None = session.info["memory"].get((EngineMemory, engine_id))
    if kept is not None and kept[0] == writes:
        return kept[1]
    memory = _read(session, engine_id)
    if writes is not None:
        session.info["fresh"][EngineMemory, engine_id] = (writes, memory)
    return memory


def _read(session: Session, engine_id: int) -> EngineMemory:
    rows = session.exec(select(Visit).where(Visit.engine_id == engine_id).order_by(col(Visit.number))).all()
    fittings = session.exec(select(Fitting).where(Fitting.engine_id == engine_id).order_by(col(Fitting.number))).all()
    return EngineMemory(of_visits(session, rows), tuple(fittings))


def of_visits(session: Session, rows: Sequence[Visit]) -> tuple[VisitSummary, ...]:
    """What counts of these visits, in their order."""
    stamps = _stamps(session, [row.ident for row in rows])
    known = {row.ident: _kept.get((row.key, stamps[row.ident])) for row in rows}
    new = [row for row in rows if known[row.ident] is None]
    for record in loader.records(session, [row.ident for row in new]):
        visit = build_history(record)
        known[visit.visit_id] = visit
        if visit.signed:  # an open one is judged by what is known of its meter by now
            _kept.put((visit.key, stamps[visit.visit_id]), visit)
    return tuple(found for row in rows if (found := known[row.ident]) is not None)


def _stamps(session: Session, ids: Sequence[int]) -> dict[int, Stamp]:
    """The newest reading, move, check and sign-off of each visit: what was added since shows in one of them."""
    found: dict[int, list[int]] = {one: [one] for one in ids}
    newest_reading = (
        select(RoundRow.visit_id, func.max(ReadingRow.id))
        .join(ReadingRow, col(ReadingRow.round_id) == RoundRow.id)
        .where(col(RoundRow.visit_id).in_(ids))
        .group_by(col(RoundRow.visit_id))
    )
    queries = [newest_reading] + [
        select(table.visit_id, func.max(table.id)).where(col(table.visit_id).in_(ids)).group_by(col(table.visit_id))
        for table in (MoveRow, CheckRow, SignOff)
    ]
    for query in queries:
        newest = {int(row[0]): int(row[1] or 0) for row in session.exec(query).all()}
        for one in ids:
            found[one].append(newest.get(one, 0))
    return {one: tuple(stamp) for one, stamp in found.items()}
