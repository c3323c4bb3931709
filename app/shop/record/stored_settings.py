"""The shop's settings as they are stored: every change is a version of its own, and the newest one holds."""

from collections.abc import Set
from dataclasses import fields

from sqlmodel import Session, col, select

from app.shop.record.settings import DEFAULTS, Settings, from_json
from app.shop.store.tables import Setup


def now(session: Session) -> tuple[int, Settings]:
    """The newest version and its number, 0 with the defaults when nothing was set."""
    row = session.exec(select(Setup).order_by(col(Setup.id).desc())).first()
    return (row.ident, from_json(row.said)) if row else (0, DEFAULTS)


def by_id(session: Session, ids: Set[int]) -> dict[int, Settings]:
    """The versions of those numbers."""
    if not ids:
        return {}
    return {row.ident: from_json(row.said) for row in session.exec(select(Setup).where(col(Setup.id).in_(ids))).all()}


def history(session: Session) -> list[tuple[Setup, tuple[str, ...]]]:
    """Every version, newest first, with the names of what it changed."""
    rows = session.exec(select(Setup).order_by(col(Setup.id))).all()
    told, before = [], DEFAULTS
    for row in rows:
        held = from_json(row.said)
        told.append((row, _changed(before, held)))
        before = held
    return told[::-1]


def _changed(before: Settings, after: Settings) -> tuple[str, ...]:
    return tuple(f.name for f in fields(Settings) if getattr(before, f.name) != getattr(after, f.name))
