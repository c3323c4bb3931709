"""The shop's settings as they are stored: every change is a version of its own, and the newest one holds."""

import json
from collections.abc import Set
from dataclasses import fields
from typing import Any

from sqlmodel import Session, col, select

from app.shop.record.settings import DEFAULTS, Settings, from_json
from app.shop.store.tables import Setup

OWN = col(Setup.brought).is_(None)
"""What tells the shop's own settings from those that visits of others brought along."""

OF_THE_SHOP = frozenset({"people", "shop_name", "shop_address", "units"})
"""Settings that no visit is judged by."""


def now(session: Session) -> tuple[int, Settings]:
    """The newest version and its number, 0 with the defaults when nothing was set."""
    row = session.exec(select(Setup).where(OWN).order_by(col(Setup.id).desc())).first()
    return (row.ident, from_json(row.said)) if row else (0, DEFAULTS)


def by_id(session: Session, ids: Set[int]) -> dict[int, Settings]:
    """The versions of those numbers."""
    if not ids:
        return {}
    return {row.ident: from_json(row.said) for row in session.exec(select(Setup).where(col(Setup.id).in_(ids))).all()}


def history(session: Session) -> list[tuple[Setup, tuple[str, ...]]]:
    """Every version, newest first, with the names of what it changed."""
    rows = session.exec(select(Setup).where(OWN).order_by(col(Setup.id))).all()
    told, before = [], DEFAULTS
    for row in rows:
        held = from_json(row.said)
        told.append((row, _changed(before, held)))
        before = held
    return told[::-1]


def judging(said: str) -> dict[str, Any]:
    """What a version of the settings, as it is stored, says of how a visit is judged: neither of people nor of what
    heads printed pages, nor in which units the shop types."""
    return {name: value for name, value in json.loads(said).items() if name not in OF_THE_SHOP}


def _changed(before: Settings, after: Settings) -> tuple[str, ...]:
    return tuple(f.name for f in fields(Settings) if getattr(before, f.name) != getattr(after, f.name))
