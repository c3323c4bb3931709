"""All engines of a shop, sorted, a page at a time."""

from enum import StrEnum
from typing import Any

from sqlalchemy import case, text
from sqlmodel import Session, col, func, select

from app.shop.at_site import meet, told_where
from app.shop.store.database import raw_connection
from app.shop.store.tables import Engine

VISITED = """SELECT v.engine_id FROM visit v WHERE NOT EXISTS (
  SELECT 1 FROM visit w WHERE w.engine_id = v.engine_id
  AND (w.opened_at > v.opened_at OR (w.opened_at = v.opened_at AND w.id > v.id)))
ORDER BY v.opened_at DESC, v.engine_id DESC LIMIT ? OFFSET ?"""
NEVER_VISITED = """SELECT e.id FROM engine e WHERE NOT EXISTS (SELECT 1 FROM visit WHERE engine_id = e.id)
ORDER BY e.id DESC LIMIT ? OFFSET ?"""
VISITED_AT_ALL = "SELECT count(*) FROM engine e WHERE EXISTS (SELECT 1 FROM visit WHERE engine_id = e.id)"


class EngineOrder(StrEnum):
    """What the list is sorted by; the values stand in addresses."""

    VISITED = "visited"
    REGISTERED = "registered"
    SERIAL = "serial"
    CUSTOMER = "customer"


def engines_in_order(session: Session, order: EngineOrder, after: int, most: int) -> list[Engine]:
    """At most so many engines, ``after`` how many are left out before them. Engines without a visit, or without a
    customer, come last; a customer who is not told is none."""
    if order is EngineOrder.VISITED:
        ids = _by_visit(session, after, most)
        known = {one.ident: one for one in session.exec(select(Engine).where(col(Engine.id).in_(ids))).all()}
        found = [known[one] for one in ids]
    else:
        told = told_where("engine.id")
        customer: Any = case((text(told), col(Engine.customer)), else_="") if told else col(Engine.customer)
        by: dict[EngineOrder, list[Any]] = {
            EngineOrder.REGISTERED: [],
            EngineOrder.SERIAL: [col(Engine.serial_folded)],
            EngineOrder.CUSTOMER: [customer == "", func.lower(customer), col(Engine.serial_folded)],
        }
        query = select(Engine).order_by(*by[order], col(Engine.id).desc()).offset(after).limit(most)
        found = list(session.exec(query).all())
    meet(session, (one.ident for one in found))
    return found


def _by_visit(session: Session, after: int, most: int) -> list[int]:
    """A page of engines by their newest visit, and then of those that have none. The visits are walked through by the
    index of when they were opened, so that the first pages do not take longer with each engine."""
    wire = raw_connection(session)
    found = [one for (one,) in wire.execute(VISITED, (most, after))]
    if len(found) == most:
        return found
    (visited,) = wire.execute(VISITED_AT_ALL).fetchone()
    left = (most - len(found), max(0, after - visited))
    return found + [one for (one,) in wire.execute(NEVER_VISITED, left)]
