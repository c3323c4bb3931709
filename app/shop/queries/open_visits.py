"""The visits that are open, told cheaply: who worked on them, when last and in which phase. No record is read.

How long ago counts as under way or as stale is our judgement: a working day, and two weeks.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from sqlmodel import Session

from app.shop.record import loader
from app.shop.record.rounds import seconds
from app.shop.store.database import raw_connection

HOUR, DAY = 3600.0, 24 * 3600.0  # by definition
UNDER_WAY, STALE = 12 * HOUR, 14 * DAY
"""Up to how long after it was touched last a visit is under way, and from when on it is stale [s] (our judgement)."""

QUERY = """
WITH entry AS (
  SELECT o.visit_id AS visit, r.at AS at, r."by" AS "by", o.phase AS phase
  FROM round o CROSS JOIN reading r WHERE o.visit_id IN ({these}) AND r.round_id = o.id
  UNION ALL SELECT visit_id, at, "by", phase FROM move WHERE visit_id IN ({these})
  UNION ALL SELECT visit_id, at, "by", phase FROM "check" WHERE visit_id IN ({these})
  UNION ALL SELECT visit_id, at, "by", '' FROM engine_event WHERE visit_id IN ({these})
)
SELECT v.id, v.engine_id, e.serial, v.opened_at, v."by", n.at, n."by", n.phase
FROM visit v JOIN engine e ON e.id = v.engine_id
LEFT JOIN (
  SELECT visit, at, "by", phase, row_number() OVER (PARTITION BY visit ORDER BY at DESC) AS newest FROM entry
) n ON n.visit = v.id AND n.newest = 1
WHERE v.id IN ({these})
"""
"""Each table is looked up by the visits, so that what was ever entered in the shop is not gone through each time.
SQLite takes a CROSS JOIN in the order in which it is written."""


class VisitFilter(StrEnum):
    """Which of the open visits a list holds; the values stand in addresses."""

    MINE = "mine"
    UNDER_WAY = "under-way"
    WAITING = "waiting"
    STALE = "stale"
    ALL = "all"


class Order(StrEnum):
    """What a list of open visits is sorted by; the values stand in addresses."""

    NEWEST = "newest"
    OLDEST = "oldest"
    SERIAL = "serial"


@dataclass(frozen=True, slots=True)
class OpenVisit:
    """An open visit: ``age`` is how long ago anything was entered [s], ``phase`` that of the newest entry, empty before
    the first; ``people`` the initials of those who opened it and who entered something last."""

    visit_id: int
    engine_id: int
    serial: str
    opened_at: str
    age: float
    phase: str
    people: frozenset[str]


def open_visits(session: Session) -> list[OpenVisit]:
    """Every open visit, the one touched last first."""
    ids, now = loader.open_ids(session), session.info["now"]
    if not ids:
        return []
    query = QUERY.format(these=", ".join("?" * len(ids)))
    rows = raw_connection(session).execute(query, tuple(ids) * QUERY.count("{these}")).fetchall()
    touched = {row[0]: max(seconds(row[3]), seconds(row[5]) if row[5] else 0.0) for row in rows}
    at = max(touched.values(), default=0.0) if now is None else now
    found = [
        OpenVisit(
            visit_id, engine_id, serial, opened_at, max(0.0, at - touched[visit_id]), phase or "",
            frozenset(folded(one) for one in (opened_by, last_by) if one),
        )
        for visit_id, engine_id, serial, opened_at, opened_by, _, last_by, phase in rows
    ]  # fmt: skip
    return sorted(found, key=lambda one: (one.age, -one.visit_id))


def folded(initials: str) -> str:
    """Initials as they are compared."""
    return "".join(initials.split()).casefold()


def by_filter(visits: Sequence[OpenVisit], initials: str) -> dict[VisitFilter, list[OpenVisit]]:
    """The visits that each filter shows, in their order; no ``MINE`` where ``initials`` are empty."""
    mine = folded(initials)
    passes: Mapping[VisitFilter, Callable[[OpenVisit], bool]] = {
        VisitFilter.MINE: lambda one: mine in one.people,
        VisitFilter.UNDER_WAY: lambda one: one.age <= UNDER_WAY,
        VisitFilter.WAITING: lambda one: UNDER_WAY < one.age < STALE,
        VisitFilter.STALE: lambda one: one.age >= STALE,
        VisitFilter.ALL: lambda one: True,
    }
    return {
        shown: list(filter(fits, visits)) for shown, fits in passes.items() if mine or shown is not VisitFilter.MINE
    }


def in_order(visits: Iterable[OpenVisit], order: Order) -> list[OpenVisit]:
    """The visits sorted, those alike in the order they come in."""
    keys: Mapping[Order, Callable[[OpenVisit], object]] = {
        Order.NEWEST: lambda one: one.age,
        Order.OLDEST: lambda one: -one.age,
        Order.SERIAL: lambda one: one.serial.casefold(),
    }
    return sorted(visits, key=keys[order])  # type: ignore[arg-type]
