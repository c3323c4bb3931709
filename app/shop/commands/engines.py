"""Engines: register one, change its facts, fit other hardware, find it again."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, func, select, tuple_

from app.shop.at_site import meet
from app.shop.errors import ConflictError, NotFoundError, RejectedError
from app.shop.queries import search
from app.shop.reasons import Reason, because
from app.shop.record.fittings import FittingReason, hardware_to_json, layout_to_json
from app.shop.record.stored_reasons import stored
from app.shop.record.visit_record import MISTAKEN
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, part_key
from app.shop.store.tables import Engine, Fitting, Override, SignOff, Visit
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout
from app.sync.engine.units import LITER, REV_PER_MIN

LONGEST = 120
SMALLEST, LARGEST = 0.05 * LITER, 30 * LITER
DISPLACEMENT_IN = {"L": (0.05, 30.0), "cu in": (3.1, 1830.0)}
"""The same in the units that it is typed in, to places that lie inside."""

SLOWEST, FASTEST = 300.0, 3000.0
"""Idle speeds that can be [rpm]."""


@dataclass(frozen=True, slots=True)
class EngineFacts:
    """What an engine is and whose it is: displacement [m3], typed in ``displacement_unit``; idle speed [rev/s]."""

    serial: str
    description: str
    displacement: float
    displacement_unit: str
    customer: str
    vehicle: str
    idle_speed: float

    def problems(self) -> dict[str, Reason]:
        """What is wrong, by field."""
        wrong: dict[str, Reason] = {}
        if not self.serial.strip():
            wrong["serial"] = because(Rejection.SERIAL_MISSING)
        for name in ("serial", "description", "customer", "vehicle"):
            if len(getattr(self, name)) > LONGEST:
                wrong[name] = because(Rejection.TOO_LONG, most=LONGEST)
        if not SMALLEST <= self.displacement <= LARGEST:
            low, high = DISPLACEMENT_IN[self.displacement_unit]
            wrong["displacement"] = because(Rejection.OUT_OF_RANGE, low=low, high=high, unit=self.displacement_unit)
        if not SLOWEST * REV_PER_MIN <= self.idle_speed <= FASTEST * REV_PER_MIN:
            wrong["idle_speed"] = because(Rejection.OUT_OF_RANGE, low=SLOWEST, high=FASTEST, unit="rpm")
        return wrong


def folded(serial: str) -> str:
    """A serial as it is compared: case and spaces do not tell two engines apart."""
    return "".join(serial.split()).casefold()


def register(shop: Database, key: str, facts: EngineFacts, layout: Layout, hardware: Hardware, at: str) -> int:
    """Store a new engine with what is fitted, and return its id. Raises RejectedError, ConflictError."""
    key = checked(key)
    sent = fingerprint(facts=facts, layout=layout_to_json(layout), hardware=hardware_to_json(hardware))
    with shop.writing() as session:
        if again := earlier(session, Engine, key, sent):
            return again.ident
        problems = facts.problems()
        if not problems.get("serial") and _with_serial(session, facts.serial):
            problems["serial"] = because(Rejection.SERIAL_TAKEN, serial=facts.serial.strip())
        if problems:
            raise RejectedError(problems)
        engine = Engine(key=key, payload=sent, registered_at=at, **_columns(facts))
        session.add(engine)
        session.flush()
        why = stored([because(FittingReason.AS_REGISTERED)])
        _fit(session, engine, part_key(key, "fitting"), sent, layout, hardware, why, at)
        return engine.ident


def change(shop: Database, engine_id: int, version: int, facts: EngineFacts) -> None:
    """Change an engine's facts; the same change sent again changes nothing.

    Raises ConflictError when it was changed otherwise since ``version`` was shown.
    """
    with shop.writing() as session:
        engine = get(session, engine_id)
        problems = facts.problems()
        other = _with_serial(session, facts.serial)
        if other is not None and other.ident != engine_id:
            problems["serial"] = because(Rejection.SERIAL_TAKEN, serial=facts.serial.strip())
        if problems:
            raise RejectedError(problems)
        changed = _columns(facts)
        if engine.version == version + 1 and all(getattr(engine, name) == value for name, value in changed.items()):
            return
        if engine.version != version:
            raise ConflictError({"version": because(Rejection.CHANGED_BY_ANOTHER_TABLET)})
        for name, value in changed.items():
            setattr(engine, name, value)
        engine.version = version + 1
        session.add(engine)


def fit(shop: Database, engine_id: int, key: str, layout: Layout, hardware: Hardware, why: str, at: str) -> int:
    """Record that other hardware, or better known hardware, is fitted from now on. Returns the fitting's id.

    Raises RejectedError without a reason, or while a visit is open: a visit points at the hardware as it was then.
    """
    key = checked(key)
    sent = fingerprint(engine=engine_id, layout=layout_to_json(layout), hardware=hardware_to_json(hardware), why=why)
    with shop.writing() as session:
        if again := earlier(session, Fitting, key, sent):
            return again.ident
        engine = get(session, engine_id)
        if not why.strip():
            raise RejectedError({"why": because(Rejection.REASON_MISSING)})
        if open_visit(session, engine_id) is not None:
            raise RejectedError({"why": because(Rejection.VISIT_OPEN)})
        return _fit(session, engine, key, sent, layout, hardware, why.strip(), at).ident


def get(session: Session, engine_id: int) -> Engine:
    """One engine. Raises NotFoundError."""
    engine = session.get(Engine, engine_id)
    if engine is None:
        raise NotFoundError(because(Rejection.NO_SUCH_ENGINE))
    meet(session, [engine_id])
    return engine


def fitting_now(session: Session, engine_id: int) -> Fitting:
    """What is fitted to an engine now. Raises NotFoundError."""
    newest = select(Fitting).where(Fitting.engine_id == engine_id).order_by(col(Fitting.number).desc())
    fitting = session.exec(newest).first()
    if fitting is None:
        raise NotFoundError(because(Rejection.NO_SUCH_ENGINE))
    return fitting


def open_visit(session: Session, engine_id: int) -> Visit | None:
    """The engine's visit that is not signed off, if any."""
    return session.exec(
        select(Visit).where(Visit.engine_id == engine_id, ~select(SignOff).where(SignOff.visit_id == Visit.id).exists())
    ).first()


def find(session: Session, words: str, most: int = 50) -> list[Engine]:
    """Engines in which every word occurs, one letter of each forgiven; those found as typed first (see ``search``)."""
    hits = search.find(session, words, most)
    return among(session, (*hits.exact, *hits.near))


def newest(session: Session, most: int, before: int | None = None, skip: int = 0) -> list[Engine]:
    """The engines registered last, newest first, without the first ``skip``; with ``before`` those older than the
    engine of that id."""
    query = select(Engine).order_by(col(Engine.id).desc()).limit(most).offset(skip)
    found = list(session.exec(query if before is None else query.where(col(Engine.id) < before)).all())
    meet(session, (one.ident for one in found))
    return found


def among(session: Session, ids: Sequence[int]) -> list[Engine]:
    """The engines of these ids, in their order; ids that no engine has are left out."""
    found = {e.ident: e for e in session.exec(select(Engine).where(col(Engine.id).in_(ids))).all()}
    meet(session, found)
    return [found[one] for one in ids if one in found]


def newest_visits(session: Session, ids: Sequence[int]) -> dict[int, Visit]:
    """The last visit of each of these engines that ever had one."""
    newest = select(Visit.engine_id, func.max(Visit.number)).where(col(Visit.engine_id).in_(ids))
    last = tuple_(col(Visit.engine_id), col(Visit.number)).in_(newest.group_by(col(Visit.engine_id)))
    return {v.engine_id: v for v in session.exec(select(Visit).where(last)).all()}


def why_mistaken(session: Session, visits: Iterable[Visit]) -> dict[int, str]:
    """Of these visits those that were opened by mistake and ended, by id, each with the reason."""
    ids = [visit.ident for visit in visits]
    rows = session.exec(select(Override).where(col(Override.visit_id).in_(ids), Override.gate == MISTAKEN)).all()
    return {row.visit_id: row.why for row in rows}


def count(session: Session, before: int | None = None) -> int:
    """How many engines have been here; with ``before`` those older than the engine of that id."""
    query = select(func.count()).select_from(Engine)
    return session.exec(query if before is None else query.where(col(Engine.id) < before)).one()


def _with_serial(session: Session, serial: str) -> Engine | None:
    return session.exec(select(Engine).where(Engine.serial_folded == folded(serial))).first()


def _columns(facts: EngineFacts) -> dict[str, Any]:
    return {
        "serial": facts.serial.strip(),
        "serial_folded": folded(facts.serial),
        "description": facts.description.strip(),
        "displacement": facts.displacement,
        "displacement_unit": facts.displacement_unit,
        "customer": facts.customer.strip(),
        "vehicle": facts.vehicle.strip(),
        "idle_speed": facts.idle_speed,
    }


def _fit(
    session: Session, engine: Engine, key: str, sent: str, layout: Layout, hardware: Hardware, why: str, at: str
) -> Fitting:
    newest = session.exec(select(func.max(Fitting.number)).where(Fitting.engine_id == engine.ident)).one()
    fitting = Fitting(
        key=key,
        payload=sent,
        engine_id=engine.ident,
        number=(newest or 0) + 1,
        layout=layout_to_json(layout),
        hardware=hardware_to_json(hardware),
        why=why,
        at=at,
    )
    session.add(fitting)
    session.flush()
    return fitting
