"""What an engine can be found by besides its own words: its layout, and how far the visit under way is."""

from collections.abc import Callable, Collection, Mapping
from enum import StrEnum

from sqlmodel import Session

from app.shop.procedure.phases import PHASES
from app.shop.queries.assessed import assessment_of
from app.shop.queries.open_visits import VisitFilter, by_filter, open_visits
from app.shop.record import loader
from app.shop.store.database import raw_connection

BANKS = """
SELECT f.engine_id FROM fitting f WHERE json_array_length(f.layout, '$.banks') = ?
AND f.number = (SELECT max(number) FROM fitting WHERE engine_id = f.engine_id)
"""
BORES = """
SELECT f.engine_id FROM fitting f, json_each(f.layout, '$.banks') AS b
WHERE f.number = (SELECT max(number) FROM fitting WHERE engine_id = f.engine_id)
GROUP BY f.engine_id HAVING sum(json_array_length(b.value, '$.bores')) = ?
"""


class Trait(StrEnum):
    """One thing that an engine is or is not; a phase is the one that its open visit stands in."""

    ONE_BANK = "one-bank"
    TWO_BANKS = "two-banks"
    COLD_PRESET = "cold-preset"
    FIRST_FIRE = "first-fire"
    HEAT_SOAKED = "heat-soaked-recheck"
    BANK_BALANCE = "part-throttle-bank-balance"
    LOCK_DOWN = "lock-down"
    OPEN = "open"
    WAITING = "waiting"
    STALE = "stale"


PHASE_TRAITS = frozenset(phase.slug for phase in PHASES)


def engines_of(session: Session, traits: Collection[Trait], bores: Collection[int] = ()) -> tuple[int, ...]:
    """The engines that have all of these traits and one of these numbers of bores where any are given, newest first."""
    visits = open_visits(session)
    states = by_filter(visits, "")
    standing = _standing(session) if any(trait in PHASE_TRAITS for trait in traits) else {}
    asked: Mapping[Trait, Callable[[], set[int]]] = {
        Trait.ONE_BANK: lambda: _ids(session, BANKS, 1),
        Trait.TWO_BANKS: lambda: _ids(session, BANKS, 2),
        Trait.OPEN: lambda: {one.engine_id for one in visits},
        Trait.WAITING: lambda: {one.engine_id for one in states[VisitFilter.WAITING]},
        Trait.STALE: lambda: {one.engine_id for one in states[VisitFilter.STALE]},
    }
    found = [asked[trait]() if trait in asked else standing.get(trait, set()) for trait in traits]
    if bores:
        found.append(set().union(*(_ids(session, BORES, count) for count in bores)))
    return tuple(sorted(set.intersection(*found), reverse=True)) if found else ()


def _standing(session: Session) -> dict[str, set[int]]:
    """The engines with a visit under way by the phase it stands in."""
    found: dict[str, set[int]] = {}
    for record in loader.in_the_shop(session):
        found.setdefault(assessment_of(session, record).current.slug, set()).add(record.engine.ident)
    return found


def _ids(session: Session, query: str, *sent: int) -> set[int]:
    return {int(row[0]) for row in raw_connection(session).execute(query, sent)}
