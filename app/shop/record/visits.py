"""Visits: open one, read everything recorded of it, sign it off."""

from collections.abc import Sequence, Set
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TypeVar

from sqlmodel import Session, col, func, select

from app.shop.assessment.progress import progress
from app.shop.commands import engines, meters, people, settings_versions
from app.shop.errors import RejectedError
from app.shop.procedure.items import PLACES
from app.shop.procedure.recheck import CHANGES
from app.shop.record.fittings import hardware_from_json, layout_from_json
from app.shop.record.revision import Revision, revision_of, revision_when_read
from app.shop.record.settings import DEFAULTS
from app.shop.record.visit_record import MeterReading, Round, VisitRecord
from app.shop.store.database import Database, raw_connection
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import (
    CheckRow,
    Correction,
    Engine,
    Fitting,
    MeterRow,
    MoveRow,
    Override,
    RoundRow,
    SignOff,
    Visit,
)
from app.wording.phases import phase_title

LOOKED_BACK = 3
"""Visits before the one asked for that are read with it."""

READINGS = """
SELECT r.id, r.key, r.payload, r.round_id, r.bore, r.kind, r.value, r.unit, r.why, r."by", r.at, r.supersedes_id
FROM round o JOIN reading r ON r.round_id = o.id
"""

BEFORE = """
SELECT visit, id FROM (
  SELECT v.id AS visit, b.id, row_number() OVER (PARTITION BY v.id ORDER BY b.number DESC) AS back
  FROM visit v JOIN visit b ON b.engine_id = v.engine_id AND b.number < v.number JOIN sign_off s ON s.visit_id = b.id
  WHERE v.id IN ({several})
) WHERE back <= ? ORDER BY visit, back
"""

R = TypeVar("R", Engine, Fitting, MeterRow)
T = TypeVar("T", RoundRow, MoveRow, CheckRow, Override, SignOff, Correction)


@dataclass(frozen=True, slots=True)
class NewVisit:
    """Why the engine is here: the place, the job number, the complaint or reason, who opens it, which meter.

    ``changed`` are those of CHANGES that were changed since the last sign-off.
    """

    place: str
    job: str
    why: str
    by: str
    meter_id: int
    changed: tuple[str, ...] = ()


def open_visit(shop: Database, engine_id: int, key: str, new: NewVisit, at: str) -> int:
    """Open a visit and return its id. Raises RefusedError when one is open already or something is missing."""
    key = checked(key)
    sent = fingerprint(engine=engine_id, new=new)
    with shop.writing() as session:
        if again := earlier(session, Visit, key, sent):
            return again.ident
        engines.get(session, engine_id)
        problems: dict[str, str] = {}
        if new.place not in PLACES:
            problems["place"] = "Test cell, vehicle or telephone: one of them."
        if not new.by.strip():
            problems["by"] = "Initials of whoever works on it."
        for name in ("job", "why", "by"):
            if len(getattr(new, name)) > engines.LONGEST:
                problems[name] = f"At most {engines.LONGEST} characters fit here."
        if not set(new.changed) <= set(CHANGES):
            problems["changed"] = "One of " + ", ".join(CHANGES) + "."
        if session.get(MeterRow, new.meter_id) is None:
            problems["meter"] = "There is no such meter in the shop."
        if engines.open_visit(session, engine_id) is not None:
            problems["place"] = "A visit of this engine is open. Go on with that one, or sign it off first."
        if problems:
            raise RejectedError(problems)
        newest = session.exec(select(func.max(Visit.number)).where(Visit.engine_id == engine_id)).one()
        visit = Visit(
            key=key,
            payload=sent,
            engine_id=engine_id,
            fitting_id=engines.fitting_now(session, engine_id).ident,
            meter_id=new.meter_id,
            number=(newest or 0) + 1,
            place=new.place,
            job=new.job.strip(),
            why=new.why.strip(),
            by=new.by.strip(),
            opened_at=at,
            setup=settings_versions.now(session)[0] or None,
            changed=", ".join(new.changed) or None,
        )
        session.add(visit)
        session.flush()
        return visit.ident


def sign_off(shop: Database, visit_id: int, key: str, name: str, at: str, pin: str = "") -> int:
    """End a visit by a named person's word. Raises RefusedError while a phase has something missing.

    Once people are listed in the shop, ``name`` has to be one of theirs and ``pin`` that person's.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, name=name)
    name = people.prove(shop, name, pin, at) or name
    with shop.writing() as session:
        if again := earlier(session, SignOff, key, sent):
            return again.ident
        record = load(session, visit_id)
        if record.sign_off is not None:
            raise RejectedError({"name": f"{record.sign_off.name} has signed this visit off already."})
        if not name.strip():
            raise RejectedError({"name": "The full name of whoever answers for it."})
        if len(name) > engines.LONGEST:
            raise RejectedError({"name": f"At most {engines.LONGEST} characters fit here."})
        undone = [phase_title(standing.phase) for standing in progress(record) if not standing.done]
        if undone:
            raise RejectedError({"name": "Not yet: " + ", ".join(undone) + ". See what is missing there."})
        studied = meters.newest_reading(session)
        row = SignOff(key=key, payload=sent, visit_id=visit_id, name=name.strip(), at=at, after_study=studied)
        session.add(row)
        session.flush()
        return row.ident


def load(session: Session, visit_id: int) -> VisitRecord:
    """Everything recorded of a visit, and of the ones signed off before it, ``LOOKED_BACK`` at most. Raises
    NotThereError.

    A story that was read before is handed out again while nothing was added to it.
    """
    return _kept(session, visit_id) or _read(session, [visit_id])[visit_id]


def load_all(session: Session, ids: Sequence[int]) -> list[VisitRecord]:
    """The same of several visits, in their order. Those that have to be read take as many queries as one would."""
    told = {visit_id: _kept(session, visit_id) for visit_id in ids}
    read = _read(session, [visit_id for visit_id in ids if told[visit_id] is None])
    return [told[visit_id] or read[visit_id] for visit_id in ids]


def _kept(session: Session, visit_id: int) -> VisitRecord | None:
    now = revision_of(session, visit_id)
    kept: tuple[Revision, VisitRecord] | None = session.info["memory"].get(visit_id)
    return kept[1] if kept is not None and kept[0] == now else None


def _read(session: Session, ids: Sequence[int]) -> dict[int, VisitRecord]:
    """Visits as they are in the file; the ones before each are not read again when nothing of them can have changed."""
    told = {s.visit.ident: s for s in records(session, session.exec(select(Visit).where(col(Visit.id).in_(ids))).all())}
    before: dict[int, VisitRecord | None] = {}
    for visit_id, record in told.items():
        kept: tuple[Revision, VisitRecord] | None = session.info["memory"].get(visit_id)
        if kept is not None and _of_before(kept[0]) == _of_before(revision_when_read(record)):
            before[visit_id] = kept[1].before
    before |= _before(session, [visit_id for visit_id in told if visit_id not in before])
    told = {visit_id: replace(record, before=before.get(visit_id)) for visit_id, record in told.items()}
    for row in {id(row): row for record in told.values() for one in record.back() for row in one.rows()}.values():
        if row in session:
            session.expunge(row)  # what is kept outlives the session, whatever becomes of it
    for record in told.values():
        remember(session, record)
    return told


def remember(session: Session, record: VisitRecord) -> None:
    """Hand out ``record``, of rows that were stored in this very session, once the session is committed."""
    fresh: dict[int, tuple[Revision, VisitRecord]] = session.info["fresh"]
    fresh[record.visit.ident] = (revision_when_read(record), record)


def of_engine(session: Session, engine_id: int) -> list[VisitRecord]:
    """The stories of an engine's visits, newest first."""
    rows = session.exec(select(Visit).where(Visit.engine_id == engine_id).order_by(col(Visit.number).desc()))
    return _linked(records(session, rows.all()))


def in_the_shop(session: Session) -> list[VisitRecord]:
    """The stories of all visits that are open, the one touched last on top."""
    signed = select(SignOff).where(SignOff.visit_id == Visit.id)
    rows = session.exec(select(Visit.id).where(~signed.exists()).order_by(col(Visit.id).desc()))
    return load_all(session, [visit_id for visit_id in rows.all() if visit_id is not None])


def _of_before(marks: Revision) -> tuple[int, ...]:
    """What the visits before depend on, of the marks of one."""
    return marks.engine, marks.setup, marks.corrected_before


def _before(session: Session, ids: Sequence[int]) -> dict[int, VisitRecord]:
    """By visit, the one signed off before it, with the ones before that. A visit that has none is left out."""
    if not ids:
        return {}
    several = ", ".join("?" * len(ids))
    found = raw_connection(session).execute(BEFORE.format(several=several), (*ids, LOOKED_BACK)).fetchall()
    rows = session.exec(select(Visit).where(col(Visit.id).in_({before for _, before in found}))).all()
    told = {record.visit.ident: record for record in records(session, rows)}
    return {
        visit_id: _linked([told[before] for _, before in mine])[0]
        for visit_id, mine in groupby(found, key=lambda pair: pair[0])
    }


def _linked(told: Sequence[VisitRecord]) -> list[VisitRecord]:
    """The stories of one engine's visits, newest first, each with the one signed off before it."""
    found: list[VisitRecord] = []
    before: VisitRecord | None = None
    for record in reversed(told):
        found.append(replace(record, before=before))
        before = found[-1] if record.sign_off is not None else before
    return found[::-1]


def records(session: Session, rows: Sequence[Visit]) -> list[VisitRecord]:
    """Everything recorded of these visits, in their order, with as many queries as one visit takes."""
    if not rows:
        return []
    ids = [visit.ident for visit in rows]
    engines_of = _by_id(session, Engine, {visit.engine_id for visit in rows})
    fittings = _by_id(session, Fitting, {visit.fitting_id for visit in rows})
    meters_of = _by_id(session, MeterRow, {visit.meter_id for visit in rows})
    known = {f.ident: (layout_from_json(f.layout), hardware_from_json(f.hardware)) for f in fittings.values()}
    entered = _entered(session, ids)
    rounds, moves, checks = _of(session, RoundRow, ids), _of(session, MoveRow, ids), _of(session, CheckRow, ids)
    overrides, signed = _of(session, Override, ids), _of(session, SignOff, ids)
    corrected = _of(session, Correction, ids)
    corrected_before = _corrected_before(session, rows)
    fitted_before = _fitted_before(session, rows)
    studied = meters.newest_reading(session)
    repeats = _Repeats(session, studied)
    settings = settings_versions.by_id(session, {visit.setup for visit in rows if visit.setup})
    setup, held = settings_versions.now(session)
    return [
        VisitRecord(
            engine=engines_of[visit.engine_id],
            fitting=fittings[visit.fitting_id],
            layout=known[visit.fitting_id][0],
            hardware=known[visit.fitting_id][1],
            visit=visit,
            meter=meters_of[visit.meter_id],
            rounds=tuple(Round(r, entered.get(r.ident, ())) for r in rounds.get(visit.ident, ())),
            all_moves=moves.get(visit.ident, ()),
            all_checks=checks.get(visit.ident, ()),
            overrides=overrides.get(visit.ident, ()),
            sign_off=next(iter(signed.get(visit.ident, ())), None),
            fitted_before=fitted_before[visit.ident][0] if visit.ident in fitted_before else None,
            place_before=fitted_before[visit.ident][1] if visit.ident in fitted_before else "",
            corrections=corrected.get(visit.ident, ()),
            repeatability=repeats.of(meters_of[visit.meter_id], next(iter(signed.get(visit.ident, ())), None)),
            studied=studied,
            corrected_before=corrected_before[visit.ident],
            settings=settings.get(visit.setup or 0, DEFAULTS),
            units=held.units,
            setup=setup,
        )
        for visit in rows
    ]


class _Repeats:
    """What meters repeat, as known at a visit's sign-off or by now; each asked once."""

    def __init__(self, session: Session, studied: int) -> None:
        self._session = session
        self._studied = studied
        self._known: dict[tuple[int, int], float] = {}

    def of(self, meter: MeterRow, signed: SignOff | None) -> float:
        """The figure of a meter for a visit."""
        until = self._studied if signed is None else signed.after_study or 0
        if (meter.ident, until) not in self._known:
            figure = meters.repeatability_of(self._session, meter, until) if until else meter.repeatability
            self._known[meter.ident, until] = figure
        return self._known[meter.ident, until]


def _entered(session: Session, ids: Sequence[int]) -> dict[int, tuple[MeterReading, ...]]:
    """The readings of the visits by round, in the order they were stored."""
    marks = ", ".join("?" * len(ids))
    rows = raw_connection(session).execute(
        f"{READINGS} WHERE o.visit_id IN ({marks}) ORDER BY r.round_id, r.id", tuple(ids)
    )
    taken = (MeterReading(*row) for row in rows)
    return {round_id: tuple(mine) for round_id, mine in groupby(taken, key=lambda r: r.round_id)}


def _by_id(session: Session, table: type[R], ids: Set[int]) -> dict[int, R]:
    return {row.ident: row for row in session.exec(select(table).where(col(table.id).in_(ids))).all()}


def _of(session: Session, table: type[T], ids: Sequence[int]) -> dict[int, tuple[T, ...]]:
    """The rows of each visit, in the order they were stored; a visit's rounds are numbered in that order."""
    mine = select(table).where(col(table.visit_id).in_(ids)).order_by(col(table.visit_id), col(table.id))
    return {visit_id: tuple(rows) for visit_id, rows in groupby(session.exec(mine).all(), key=lambda r: r.visit_id)}


def _fitted_before(session: Session, rows: Sequence[Visit]) -> dict[int, tuple[int, str]]:
    """By visit id, what was fitted at the last visit signed off before it, and where that was."""
    signed = session.exec(
        select(Visit.engine_id, Visit.number, Visit.fitting_id, Visit.place)
        .join(SignOff)
        .where(col(Visit.engine_id).in_({visit.engine_id for visit in rows}))
        .order_by(col(Visit.number))
    ).all()
    found: dict[int, tuple[int, str]] = {}
    for visit in rows:
        for engine_id, number, fitting_id, place in signed:
            if engine_id == visit.engine_id and number < visit.number:
                found[visit.ident] = fitting_id, place
    return found


def _corrected_before(session: Session, rows: Sequence[Visit]) -> dict[int, int]:
    """By visit id, the newest correction of an earlier visit of the engine, 0 for none."""
    corrected = session.exec(
        select(Visit.engine_id, Visit.number, Correction.id)
        .join(Correction)
        .where(col(Visit.engine_id).in_({visit.engine_id for visit in rows}))
    ).all()
    return {
        visit.ident: max((one or 0 for e, n, one in corrected if e == visit.engine_id and n < visit.number), default=0)
        for visit in rows
    }
