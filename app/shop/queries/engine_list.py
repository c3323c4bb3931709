"""All engines of a shop, sorted, a page at a time."""

from enum import StrEnum
from typing import Any

from sqlalchemy import case, text
from sqlmodel import Session, col, func, select

from app.shop.at_site import meet, told_where
from app.shop.store.tables import Engine, Visit


class EngineOrder(StrEnum):
    """What the list is sorted by; the values stand in addresses."""

    VISITED = "visited"
    REGISTERED = "registered"
    SERIAL = "serial"
    CUSTOMER = "customer"


def engines_in_order(session: Session, order: EngineOrder, after: int, most: int) -> list[Engine]:
    """At most so many engines, ``after`` how many are left out before them. Engines without a visit, or without a
    customer, come last; a customer who is not told is none."""
    newest = select(func.max(Visit.opened_at)).where(Visit.engine_id == Engine.id).scalar_subquery()
    told = told_where("engine.id")
    customer: Any = case((text(told), col(Engine.customer)), else_="") if told else col(Engine.customer)
    by: dict[EngineOrder, list[Any]] = {
        EngineOrder.VISITED: [newest.desc().nulls_last()],
        EngineOrder.REGISTERED: [],
        EngineOrder.SERIAL: [col(Engine.serial_folded)],
        EngineOrder.CUSTOMER: [customer == "", func.lower(customer), col(Engine.serial_folded)],
    }
    query = select(Engine).order_by(*by[order], col(Engine.id).desc()).offset(after).limit(most)
    found = list(session.exec(query).all())
    meet(session, (one.ident for one in found))
    return found
