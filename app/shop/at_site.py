"""Who asks, in a shop with several sites: which visits it writes to, whose customers it is told, what is its own.

A request has one ``Asker`` from the guard that let it in. There is none in a shop without sites, at the shop computer,
and for a program that works for all sites: then nothing here restricts or hides anything.
"""

from collections.abc import Callable, Iterable
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, Protocol

from sqlmodel import Session

from app.shop.apart import Talk
from app.shop.errors import ElsewhereError
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.database import raw_connection


@dataclass(frozen=True, slots=True)
class Asker:
    """A tablet or program of the site ``site``, None where it was given none; ``hides`` customers of other sites from
    it. ``told`` is of which engines their customer may be told, as far as this request has met them."""

    site: int | None
    head_office: bool = False
    hides: bool = False
    told: dict[int, bool] = field(default_factory=dict)


ASKING: ContextVar[Asker | None] = ContextVar("ASKING", default=None)


class Owned(Protocol):
    """An engine as a row or as an entry."""

    @property
    def ident(self) -> int: ...

    @property
    def customer(self) -> str: ...


MEETS = """SELECT e.id FROM engine e WHERE e.id IN ({several}) AND ({told})"""
TOLD = """NOT EXISTS (SELECT 1 FROM visit v WHERE v.engine_id = {engine})
OR EXISTS (SELECT 1 FROM visit v WHERE v.engine_id = {engine} AND (v.site_id IS NULL OR v.site_id = {site:d}))"""
NAMED = "SELECT name FROM site WHERE id = ? OR first_id = ? ORDER BY id DESC LIMIT 1"
WRITING = "writing"
"""Under this a session says that it is one of writes, on either engine of records."""
NO_SITE = 0
"""No row has it."""


def may_write(site: int | None) -> bool:
    """Whether who asks writes to a visit that was opened at ``site``; one of before there were sites is everybody's."""
    asking = ASKING.get()
    return asking is None or site is None or asking.site == site


def require_site(session: Session, site: int | None, refusal: Rejection = Rejection.OTHER_SITE) -> None:
    """Raises ElsewhereError where who asks does not write to what is of ``site``."""
    if not may_write(site):
        asking = ASKING.get()
        code = Rejection.NO_ROOM_YET if asking is not None and asking.site is None else refusal
        raise ElsewhereError(because(code, site=name_of(session, site or NO_SITE)))


def elsewhere(session: Session, site: int | None) -> str:
    """What the site is called, where who asks does not write to what is of ``site``; empty where they do."""
    return "" if may_write(site) else name_of(session, site or NO_SITE)


def name_of(session: Session, site: int) -> str:
    """What a site is called now, or was when it was closed; empty for none."""
    found = raw_connection(session).execute(NAMED, (site, site)).fetchone()
    return str(found[0]) if found else ""


def loaded(session: Session, engine: int, site: int | None) -> None:
    """A visit at ``site`` was read, of that engine. Raises ElsewhereError in a write of who does not write there."""
    meet(session, [engine])
    if session.info.get(WRITING):
        require_site(session, site)


def own_site() -> int | None:
    """The site for which who asks adds settings and meters; None for all sites, as head office does."""
    asking = ASKING.get()
    return None if asking is None or asking.head_office else asking.site


def has(site: int | None) -> bool:
    """Whether what belongs to ``site``, None for all, is there for who asks."""
    asking = ASKING.get()
    return asking is None or asking.head_office or site is None or site == asking.site


def sees_all_sites() -> bool:
    """Whether who asks reads statistics and the log across sites."""
    asking = ASKING.get()
    return asking is None or asking.head_office


def told_where(engine: str) -> str:
    """The rule by which a customer is told, as a condition on the id of an engine; empty where all are told.

    An engine without a visit, and one that was ever at the site that asks, is no other site's.
    """
    asking = ASKING.get()
    if asking is None or not asking.hides:
        return ""
    return TOLD.format(engine=engine, site=asking.site or NO_SITE)


def meet(session: Session, engines: Iterable[int]) -> None:
    """Look up of which of these engines, by id, the customer may be told."""
    asking = ASKING.get()
    if asking is None or not asking.hides:
        return
    new = [one for one in engines if one not in asking.told]
    if new:
        query = MEETS.format(several=", ".join("?" * len(new)), told=told_where("e.id"))
        found = {int(one) for (one,) in raw_connection(session).execute(query, tuple(new))}
        asking.told.update({one: one in found for one in new})


def customer(engine: Owned) -> str:
    """The customer of an engine as who asks is told, empty where that is another site's. Every page, answer, file and
    sheet goes by this; an engine that was not met before is hidden."""
    asking = ASKING.get()
    return engine.customer if asking is None or not asking.hides or asking.told.get(engine.ident) else ""


def as_asked(asking: Asker | None, work: Callable[..., Talk], *told: Any) -> Talk:
    """``work(*told)`` in another process, for who asks in this one."""
    ASKING.set(asking)
    return (yield from work(*told))
