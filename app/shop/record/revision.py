"""How far the records of a visit go, told cheaply: a page asks it every second whether it is out of date.

Evidence is only ever added, so the newest ids say whether anything was added; an engine's facts have their version.
"""

from collections.abc import Sequence
from typing import NamedTuple

from sqlmodel import Session

from app.shop.errors import NotFoundError
from app.shop.reasons import because
from app.shop.record.entries import Entry
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.both.records import Statement
from app.shop.store.database import raw_connection

QUERY = """SELECT e.version,
  coalesce((SELECT max((SELECT max(id) FROM reading WHERE round_id = o.id)) FROM round o WHERE visit_id = v.id), 0),
  coalesce((SELECT max(id) FROM round WHERE visit_id = v.id), 0),
  coalesce((SELECT max((SELECT max(id) FROM opening_speed WHERE round_id = o.id))
            FROM round o WHERE visit_id = v.id), 0),
  coalesce((SELECT max(id) FROM move WHERE visit_id = v.id), 0),
  coalesce((SELECT max(id) FROM "check" WHERE visit_id = v.id), 0),
  coalesce((SELECT max(id) FROM override WHERE visit_id = v.id), 0),
  coalesce((SELECT max(id) FROM sign_off WHERE visit_id = v.id), 0),
  coalesce((SELECT max(id) FROM correction WHERE visit_id = v.id), 0),
  coalesce((SELECT max(id) FROM engine_event WHERE visit_id = v.id), 0),
  coalesce((SELECT max(id) FROM stop_end WHERE visit_id = v.id), 0),
  coalesce((SELECT max(id) FROM elsewhere WHERE visit_id = v.id), 0),
  coalesce((SELECT max(id) FROM study_reading), 0),
  coalesce((SELECT max(id) FROM setup WHERE brought IS NULL), 0),
  coalesce((SELECT max(c.id) FROM visit b JOIN correction c ON c.visit_id = b.id
            WHERE b.engine_id = v.engine_id AND b.number < v.number), 0)
FROM visit v JOIN engine e ON e.id = v.engine_id WHERE v.id"""

OF_ONE = f"{QUERY} = ?"


class Revision(NamedTuple):
    """The version of a visit's engine, and the newest id of each table that a visit has rows in, 0 for none;
    ``study`` is the newest reading of any meter's study, ``setup`` the newest settings of the shop and
    ``corrected_before`` the newest correction of an earlier visit of the engine."""

    engine: int
    reading: int
    round: int
    speed: int
    move: int
    check: int
    override: int
    sign_off: int
    correction: int
    engine_event: int
    stop_end: int
    elsewhere: int
    study: int
    setup: int
    corrected_before: int


def asked_of(visit_id: int) -> Statement:
    """What ``revision_of`` asks of the records."""
    return Statement(OF_ONE, (visit_id,))


def revision_of(session: Session, visit_id: int) -> Revision:
    """How far the records of a visit go now. Raises NotFoundError."""
    row = raw_connection(session).execute(*asked_of(visit_id)).fetchone()
    if row is None:
        raise NotFoundError(because(Rejection.NO_SUCH_VISIT))
    return Revision(*row)


def revisions_of(session: Session, ids: Sequence[int]) -> list[Revision]:
    """The same of several visits, in their order, by one query. Raises NotFoundError."""
    if len(ids) < 2:
        return [revision_of(session, visit_id) for visit_id in ids]
    several = f"SELECT v.id,{QUERY.removeprefix('SELECT')} IN ({', '.join('?' * len(ids))})"
    found = {visit_id: Revision(*row) for visit_id, *row in raw_connection(session).execute(several, tuple(ids))}
    if set(ids) - found.keys():
        raise NotFoundError(because(Rejection.NO_SUCH_VISIT))
    return [found[visit_id] for visit_id in ids]


def revision_when_read(record: VisitRecord) -> Revision:
    """How far the records went when ``record`` was read."""
    return Revision(
        record.engine.version,
        record.last_reading,
        record.rounds[-1].row.ident if record.rounds else 0,
        record.last_speed,
        _newest(record.all_moves),
        _newest(record.all_checks),
        _newest(record.overrides),
        record.sign_off.ident if record.sign_off else 0,
        _newest(record.corrections),
        _newest(record.engine_events),
        _newest(record.stop_ends),
        record.elsewhere.ident if record.elsewhere else 0,
        record.studied,
        record.setup,
        record.corrected_before,
    )


def _newest(rows: Sequence[Entry]) -> int:
    """The id of the last of rows that stand in the order they were stored."""
    return rows[-1].ident if rows else 0


def version(session: Session, visit_id: int) -> str:
    """A short text that changes with every row added to a visit. Raises NotFoundError."""
    return ".".join(map(str, revision_of(session, visit_id)))


def version_of(record: VisitRecord) -> str:
    """The ``version`` of a visit when ``record`` was read."""
    return ".".join(map(str, revision_when_read(record)))
