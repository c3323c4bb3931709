"""The shop's settings as they are stored: every change is a version of its own, and the newest one holds.

In a group a site may have versions of its own; they hold there in place of those of all sites.
"""

import json
from collections.abc import Mapping, Set
from dataclasses import fields
from typing import Any, NamedTuple

from sqlmodel import Session, col, func, select

from app.shop.at_site import ASKING, has, own_site
from app.shop.record.settings import DEFAULTS, Settings, from_json
from app.shop.store.tables import Setup

OWN = col(Setup.brought).is_(None)
"""What tells the shop's own settings from those that visits of others brought along."""

OF_THE_SHOP = frozenset({"people", "shop_name", "shop_address", "units"})
"""Settings that no visit is judged by."""


def now(session: Session) -> tuple[int, Settings]:
    """The newest version for who asks and its number, 0 with the defaults when nothing was set."""
    return of_site(session, own_site() if ASKING.get() is not None else None)


def of_site(session: Session, site: int | None) -> tuple[int, Settings]:
    """The same at a site, and with None for all sites."""
    newest = select(Setup).where(OWN).order_by(col(Setup.id).desc())
    row = session.exec(newest.where(Setup.site_id == site)).first() if site is not None else None
    row = row or session.exec(newest.where(col(Setup.site_id).is_(None))).first()
    return (row.ident, from_json(row.said)) if row else (0, DEFAULTS)


class AtSites(NamedTuple):
    """The ``newest`` version of any site, 0 for none, and what holds by site, under None what holds for all."""

    newest: int
    by_site: Mapping[int | None, Settings]

    def of(self, site: int | None) -> Settings:
        """What holds at a site."""
        return self.by_site.get(site) or self.by_site.get(None, DEFAULTS)


def at_sites(session: Session) -> AtSites:
    """What holds everywhere now, asked at once."""
    last = select(func.max(Setup.id)).where(OWN).group_by(col(Setup.site_id))
    rows = session.exec(select(Setup).where(col(Setup.id).in_(last))).all()
    return AtSites(max((row.ident for row in rows), default=0), {row.site_id: from_json(row.said) for row in rows})


def by_id(session: Session, ids: Set[int]) -> dict[int, Settings]:
    """The versions of those numbers."""
    if not ids:
        return {}
    return {row.ident: from_json(row.said) for row in session.exec(select(Setup).where(col(Setup.id).in_(ids))).all()}


def history(session: Session) -> list[tuple[Setup, tuple[str, ...]]]:
    """Every version that held for who asks, newest first, with the names of what it changed."""
    told: list[tuple[Setup, tuple[str, ...]]] = []
    before: dict[int | None, Settings] = {None: DEFAULTS}
    for row in session.exec(select(Setup).where(OWN).order_by(col(Setup.id))).all():
        held = from_json(row.said)
        if has(row.site_id):
            told.append((row, _changed(before.get(row.site_id) or before[None], held)))
        before[row.site_id] = held
    return told[::-1]


def judging(said: str) -> dict[str, Any]:
    """What a version of the settings, as it is stored, says of how a visit is judged: neither of people nor of what
    heads printed pages, nor in which units the shop types."""
    return {name: value for name, value in json.loads(said).items() if name not in OF_THE_SHOP}


def _changed(before: Settings, after: Settings) -> tuple[str, ...]:
    return tuple(f.name for f in fields(Settings) if getattr(before, f.name) != getattr(after, f.name))
