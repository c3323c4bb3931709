"""Fills visit records from the database: the one place where rows become a record, for one visit or for many."""

from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager, suppress
from dataclasses import replace
from itertools import groupby
from operator import attrgetter
from typing import Any, NamedTuple, TypeVar

from sqlmodel import Session, col, select

from app.shop.at_site import ASKING, WRITING, loaded, meet
from app.shop.errors import ElsewhereError, NotFoundError, RejectedError
from app.shop.reasons import because
from app.shop.record import meter_studies, stored_settings
from app.shop.record.entries import (
    CheckEntry,
    CorrectionEntry,
    ElsewhereEntry,
    EngineEntry,
    EngineEventEntry,
    Entry,
    FittingEntry,
    MeterEntry,
    MeterReading,
    MoveEntry,
    Repeats,
    RoundEntry,
    SignOffEntry,
    SpeedEntry,
    StopEndEntry,
    VisitEntry,
    WaiverEntry,
    columns_of,
)
from app.shop.record.fittings import hardware_from_json, layout_from_json
from app.shop.record.meter_visits import judged_by, shown_to
from app.shop.record.revision import Revision, asked_of, revision_of, revision_when_read, revisions_of
from app.shop.record.rounds import Round
from app.shop.record.settings import DEFAULTS
from app.shop.record.visit_record import MISTAKEN, VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.both.records import ANSWERED, SupposedWrongError
from app.shop.store.database import Database, raw_connection
from app.shop.store.idempotency import asked_under
from app.shop.store.tables import Row, Visit

LOOKED_BACK = 3
"""Visits before the one asked for that are read with it (our judgement)."""


def worked_on(visit: str) -> str:
    """The condition, as SQL, that a visit was not opened by mistake; one that was says nothing about the engine.

    >>> worked_on("v.id")
    "NOT EXISTS (SELECT 1 FROM override w WHERE w.visit_id = v.id AND w.gate = 'opened-by-mistake')"
    """
    return f"NOT EXISTS (SELECT 1 FROM override w WHERE w.visit_id = {visit} AND w.gate = '{MISTAKEN}')"


BEFORE = f"""
SELECT visit, id FROM (
  SELECT v.id AS visit, b.id, row_number() OVER (PARTITION BY v.id ORDER BY b.number DESC) AS back
  FROM visit v JOIN visit b ON b.engine_id = v.engine_id AND b.number < v.number JOIN sign_off s ON s.visit_id = b.id
  WHERE v.id IN ({{several}}) AND {worked_on("b.id")}
) counted WHERE back <= ? ORDER BY visit, back
"""

FITTED_BEFORE = f"""
SELECT v.id, b.fitting_id, b.place
FROM visit v JOIN visit b ON b.engine_id = v.engine_id AND b.number < v.number JOIN sign_off s ON s.visit_id = b.id
WHERE v.id IN ({{several}}) AND {worked_on("b.id")} ORDER BY v.id, b.number
"""

CORRECTED_BEFORE = """
SELECT v.id, max(c.id) FROM visit v JOIN visit b ON b.engine_id = v.engine_id AND b.number < v.number
JOIN correction c ON c.visit_id = b.id WHERE v.id IN ({several}) GROUP BY v.id
"""

SIMULATED = """
SELECT v.id, substr(p.trouble, 1, 6) = 'rough-' FROM visit v JOIN practice p ON p.engine_id = v.engine_id
WHERE v.id IN ({several})
"""

ELSEWHERE = """
SELECT visit_id, id, key, payload, visit_id, store, away, by, at FROM elsewhere
WHERE visit_id IN ({several}) ORDER BY id
"""

IN_ROUNDS = """
SELECT r."{columns}" FROM round o JOIN {table} r ON r.round_id = o.id
WHERE o.visit_id IN ({several}) ORDER BY r.round_id, r.id
"""

TABLES: dict[type[Entry], str] = {
    EngineEntry: "engine",
    FittingEntry: "fitting",
    MeterEntry: "meter",
    VisitEntry: "visit",
    RoundEntry: "round",
    MoveEntry: "move",
    CheckEntry: "check",
    WaiverEntry: "override",
    SignOffEntry: "sign_off",
    CorrectionEntry: "correction",
    EngineEventEntry: "engine_event",
    StopEndEntry: "stop_end",
}
"""The table of each kind of entry that belongs to a visit or is named by one; the others hang on their round."""

NEWEST_OPENED = "SELECT coalesce((SELECT max(id) FROM visit), 0), coalesce((SELECT max(id) FROM sign_off), 0)"
OPENED_SINCE = """SELECT v.id FROM visit v
WHERE v.id > ? AND NOT EXISTS (SELECT 1 FROM sign_off s WHERE s.visit_id = v.id) ORDER BY v.id"""
SIGNED_SINCE = "SELECT visit_id FROM sign_off WHERE id > ?"


class _Open(NamedTuple):
    """The visits that were open, oldest first, when ``visit`` and ``sign_off`` were the newest ids."""

    visit: int = 0
    sign_off: int = 0
    ids: tuple[int, ...] = ()


COLUMNS: dict[type[Entry], tuple[str, ...]] = {kind: columns_of(kind) for kind in (*TABLES, MeterReading, SpeedEntry)}
"""The columns of each, in the order of the fields of the entry."""

E = TypeVar("E", bound=Entry)
T = TypeVar("T")


def load(session: Session, visit_id: int) -> VisitRecord:
    """Everything recorded of a visit, and of the ones signed off before it, ``LOOKED_BACK`` at most.

    A record that was read before is handed out again while nothing was added to it, as of now. Raises NotFoundError.
    """
    record = _kept(session, visit_id, revision_of(session, visit_id)) or _read(session, [visit_id])[visit_id]
    if ASKING.get() is not None:
        loaded(session, record.engine.ident, record.visit.site_id)
    return record.judged_at(session.info["now"])


def writing(
    shop: Database, visit_id: int, table: type[Row] | None = None, key: str = ""
) -> AbstractContextManager[Session]:
    """A session as ``Database.writing`` gives, for a write to one visit of a row of ``table`` under ``key``.

    Where the visit is not in mind it is read before the turn to write; in that turn only its revision is asked for.
    """
    if shop.in_mind(visit_id) is None:
        with suppress(NotFoundError), shop.reading() as session:
            load(session, visit_id)
    under = [] if table is None else [asked_under(table, key)]
    return shop.writing(*under, asked_of(visit_id))


def written(shop: Database, visit_id: int, table: type[Row], key: str, work: Callable[[Session], T]) -> T:
    """What ``work`` returns, once the row of ``table`` that it stores under ``key`` for a visit is on the disk.

    Where records are on a server and the visit is in mind, ``work`` decides on that, and its row goes there by one
    message, to be stored if nothing was added meanwhile. Where that does not hold, where it wants more than one row,
    and before it refuses anything, it decides again in the turn of all writes, as ``writing`` gives it.
    """
    known: tuple[Revision, VisitRecord] | None = shop.in_mind(visit_id) if shop.shared else None
    if known is not None and not shop.watched():
        new, visit = {asked_under(table, key): None}, asked_of(visit_id)
        supposing = shop.supposing(new, {visit: tuple(known[0])})
        with suppress(SupposedWrongError, RejectedError, ElsewhereError), supposing as session:
            session.info[WRITING] = True
            done = work(session)
            session.info[ANSWERED] = {visit: tuple(session.info["fresh"][visit_id][0])}
            return done
    with writing(shop, visit_id, table, key) as session:
        return work(session)


def load_all(session: Session, ids: Sequence[int]) -> list[VisitRecord]:
    """The same of several visits, in their order. Those that have to be read take as many queries as one would."""
    now = revisions_of(session, ids)
    told = {visit_id: _kept(session, visit_id, revision) for visit_id, revision in zip(ids, now, strict=True)}
    read = _read(session, [visit_id for visit_id in ids if told[visit_id] is None])
    meet(session, (record.engine.ident for record in (*told.values(), *read.values()) if record is not None))
    return [(told[visit_id] or read[visit_id]).judged_at(session.info["now"]) for visit_id in ids]


def _kept(session: Session, visit_id: int, now: Revision) -> VisitRecord | None:
    kept: tuple[Revision, VisitRecord] | None = session.info["memory"].get(visit_id)
    return kept[1] if kept is not None and kept[0] == now else None


def _read(session: Session, ids: Sequence[int]) -> dict[int, VisitRecord]:
    """Visits as they are in the file; the ones before each are not read again when nothing of them can have changed."""
    told = {record.visit.ident: record for record in records(session, ids)}
    before: dict[int, VisitRecord | None] = {}
    for visit_id, record in told.items():
        kept: tuple[Revision, VisitRecord] | None = session.info["memory"].get(visit_id)
        if kept is not None and _of_before(kept[0]) == _of_before(revision_when_read(record)):
            before[visit_id] = kept[1].before
    before |= _before(session, [visit_id for visit_id in told if visit_id not in before])
    told = {visit_id: replace(record, before=before.get(visit_id)) for visit_id, record in told.items()}
    for record in told.values():
        remember(session, record)
    return told


def remember(session: Session, record: VisitRecord) -> None:
    """Hand out ``record``, of what was stored in this very session, at any time once the session is committed."""
    fresh: dict[int, tuple[Revision, VisitRecord]] = session.info["fresh"]
    fresh[record.visit.ident] = (revision_when_read(record), record.judged_at(None))


def of_engine(session: Session, engine_id: int) -> list[VisitRecord]:
    """The records of an engine's visits, newest first."""
    ids = session.exec(select(Visit.id).where(Visit.engine_id == engine_id).order_by(col(Visit.number).desc()))
    return _linked(records(session, [one for one in ids.all() if one is not None]))


def open_ids(session: Session) -> list[int]:
    """The ids of all visits that are open, the newest first.

    Visits and sign-offs are only ever added. So what was open when the newest of them were these is kept in mind, and
    only what came after them is read.
    """
    wire = raw_connection(session)
    visit, sign_off = wire.execute(NEWEST_OPENED).fetchone()
    known: _Open = session.info["memory"].get(_Open) or _Open()
    if known.visit > visit or known.sign_off > sign_off:  # this session sees an earlier moment
        known = _Open()
    if (known.visit, known.sign_off) != (visit, sign_off):
        signed = {one for (one,) in wire.execute(SIGNED_SINCE, (known.sign_off,))} if known.ids else set[int]()
        opened = [one for (one,) in wire.execute(OPENED_SINCE, (known.visit,))]
        known = _Open(visit, sign_off, (*(one for one in known.ids if one not in signed), *opened))
        session.info["fresh"][_Open] = known
    return list(reversed(known.ids))


def in_the_shop(session: Session) -> list[VisitRecord]:
    """The records of all visits that are open, the newest first."""
    return load_all(session, open_ids(session))


def _of_before(revision: Revision) -> tuple[int, ...]:
    """What the visits before depend on, of the revision of one."""
    return revision.engine, revision.setup, revision.corrected_before


def _before(session: Session, ids: Sequence[int]) -> dict[int, VisitRecord]:
    """By visit, the one signed off before it, with the ones before that. A visit that has none is left out."""
    if not ids:
        return {}
    several = ", ".join("?" * len(ids))
    found = raw_connection(session).execute(BEFORE.format(several=several), (*ids, LOOKED_BACK)).fetchall()
    told = {record.visit.ident: record for record in records(session, sorted({before for _, before in found}))}
    return {
        visit_id: _linked([told[before] for _, before in mine])[0]
        for visit_id, mine in groupby(found, key=lambda pair: pair[0])
    }


def _linked(told: Sequence[VisitRecord]) -> list[VisitRecord]:
    """The records of one engine's visits, newest first, each with the one signed off before it."""
    found: list[VisitRecord] = []
    before: VisitRecord | None = None
    for record in reversed(told):
        found.append(replace(record, before=before))
        before = found[-1] if record.sign_off is not None and record.mistaken is None else before
    return found[::-1]


def records(session: Session, ids: Sequence[int]) -> list[VisitRecord]:
    """Everything recorded of these visits, in their order, with as many queries as one visit takes.

    Raises NotFoundError for one that does not exist.
    """
    if not ids:
        return []
    visits = _by_id(session, VisitEntry, ids)
    if set(ids) - visits.keys():
        raise NotFoundError(because(Rejection.NO_SUCH_VISIT))
    engines = _by_id(session, EngineEntry, {visit.engine_id for visit in visits.values()})
    fittings = _by_id(session, FittingEntry, {visit.fitting_id for visit in visits.values()})
    meters = _by_id(session, MeterEntry, {visit.meter_id for visit in visits.values()})
    known = {f.ident: (layout_from_json(f.layout), hardware_from_json(f.hardware)) for f in fittings.values()}
    entered = _in_rounds(session, MeterReading, "reading", ids)
    speeds = _in_rounds(session, SpeedEntry, "opening_speed", ids)
    rounds, moves = _of(session, RoundEntry, ids), _of(session, MoveEntry, ids)
    checks, waivers = _of(session, CheckEntry, ids), _of(session, WaiverEntry, ids)
    signed, corrections = _of(session, SignOffEntry, ids), _of(session, CorrectionEntry, ids)
    events, ends = _of(session, EngineEventEntry, ids), _of(session, StopEndEntry, ids)
    elsewhere = {visit_id: ElsewhereEntry(*row) for visit_id, *row in _asked(session, ELSEWHERE, ids)}
    corrected_before = dict(_asked(session, CORRECTED_BEFORE, ids))
    fitted_before = {visit_id: fitted for visit_id, *fitted in _asked(session, FITTED_BEFORE, ids)}
    simulated = {visit_id: bool(rough) for visit_id, rough in _asked(session, SIMULATED, ids)}
    studied = meter_studies.newest_reading(session)
    repeats = _Repeats(session, studied)
    settings = stored_settings.by_id(session, {visit.setup for visit in visits.values() if visit.setup})
    held = stored_settings.at_sites(session)
    return [
        VisitRecord(
            engine=engines[visit.engine_id],
            fitting=fittings[visit.fitting_id],
            layout=known[visit.fitting_id][0],
            hardware=known[visit.fitting_id][1],
            visit=visit,
            meter=meters[visit.meter_id],
            rounds=tuple(
                Round(r, entered.get(r.ident, ()), speeds.get(r.ident, ())) for r in rounds.get(visit.ident, ())
            ),
            all_moves=moves.get(visit.ident, ()),
            all_checks=checks.get(visit.ident, ()),
            overrides=waivers.get(visit.ident, ()),
            sign_off=next(iter(signed.get(visit.ident, ())), None),
            fitted_before=fitted_before.get(visit.ident, (None, ""))[0],
            place_before=fitted_before.get(visit.ident, (None, ""))[1],
            corrections=corrections.get(visit.ident, ()),
            repeatability=repeats.of(meters[visit.meter_id], visit, next(iter(signed.get(visit.ident, ())), None)),
            studied=studied,
            corrected_before=corrected_before.get(visit.ident, 0),
            settings=settings.get(visit.setup or 0, DEFAULTS),
            units=held.of(visit.site_id).units,
            setup=held.newest,
            simulated=visit.ident in simulated,
            rough=simulated.get(visit.ident, False),
            engine_events=events.get(visit.ident, ()),
            stop_ends=ends.get(visit.ident, ()),
            elsewhere=elsewhere.get(visit.ident),
        )
        for visit in (visits[visit_id] for visit_id in ids)
    ]


class _Repeats:
    """What meters repeat, as known at a visit's sign-off or by now; each asked once."""

    def __init__(self, session: Session, studied: int) -> None:
        self._session = session
        self._studied = studied
        self._known: dict[tuple[int, int], Repeats | None] = {}

    def of(self, meter: MeterEntry, visit: VisitEntry, signed: SignOffEntry | None) -> Repeats:
        """The figure of a meter for a visit."""
        until = self._studied if signed is None else signed.after_study or 0
        if (meter.ident, until) not in self._known:
            figure = meter_studies.repeatability_of(self._session, meter, until) if until else None
            self._known[meter.ident, until] = figure
        return judged_by(self._known[meter.ident, until], meter, shown_to(visit))


def _asked(session: Session, query: str, ids: Iterable[int]) -> list[tuple[Any, ...]]:
    """The rows of a query about several visits."""
    given = tuple(ids)
    return raw_connection(session).execute(query.format(several=", ".join("?" * len(given))), given).fetchall()


def _entries(session: Session, kind: type[E], column: str, ids: Iterable[int]) -> list[E]:
    """The entries of a kind whose ``column`` is among ``ids``, by that and in the order they were stored."""
    columns = '", "'.join(COLUMNS[kind])
    query = f'SELECT "{columns}" FROM "{TABLES[kind]}" WHERE {column} IN ({{several}}) ORDER BY {column}, id'
    return [kind(*row) for row in _asked(session, query, ids)]


def _by_id(session: Session, kind: type[E], ids: Iterable[int]) -> dict[int, E]:
    return {entry.ident: entry for entry in _entries(session, kind, "id", ids)}


V = TypeVar(
    "V", RoundEntry, MoveEntry, CheckEntry, WaiverEntry, SignOffEntry, CorrectionEntry, EngineEventEntry, StopEndEntry
)


def _of(session: Session, kind: type[V], ids: Iterable[int]) -> dict[int, tuple[V, ...]]:
    """The entries of each visit, in the order they were stored; a visit's rounds are numbered in that order."""
    mine = _entries(session, kind, "visit_id", ids)
    return {visit_id: tuple(entries) for visit_id, entries in groupby(mine, key=attrgetter("visit_id"))}


R = TypeVar("R", MeterReading, SpeedEntry)


def _in_rounds(session: Session, kind: type[R], table: str, ids: Iterable[int]) -> dict[int, tuple[R, ...]]:
    """What hangs on the rounds of the visits, by round, in the order it was stored."""
    columns = '", r."'.join(COLUMNS[kind])
    query = IN_ROUNDS.format(columns=columns, table=table, several="{several}")
    taken = [kind(*row) for row in _asked(session, query, ids)]
    return {round_id: tuple(mine) for round_id, mine in groupby(taken, key=attrgetter("round_id"))}
