"""Visits: open one, read everything recorded of it, sign it off."""

from dataclasses import dataclass
from itertools import groupby
from typing import TypeVar

from sqlmodel import Session, col, func, select

from app.shop import engines
from app.shop.database import Database
from app.shop.fittings import hardware_from_json, layout_from_json
from app.shop.keys import checked, earlier, fingerprint
from app.shop.phases import PLACES
from app.shop.progress import progress
from app.shop.refusals import NotThereError, RefusedError
from app.shop.story import Round, Story
from app.shop.tables import (
    CheckRow,
    Engine,
    Fitting,
    MeterRow,
    MoveRow,
    Override,
    ReadingRow,
    RoundRow,
    SignOff,
    Visit,
)

T = TypeVar("T", MoveRow, CheckRow, Override)


@dataclass(frozen=True, slots=True)
class NewVisit:
    """Why the engine is here: the place, the job number, the complaint or reason, who opens it, which meter."""

    place: str
    job: str
    why: str
    by: str
    meter_id: int


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
        if session.get(MeterRow, new.meter_id) is None:
            problems["meter"] = "There is no such meter in the shop."
        if engines.open_visit(session, engine_id) is not None:
            problems["place"] = "A visit of this engine is open. Go on with that one, or sign it off first."
        if problems:
            raise RefusedError(problems)
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
        )
        session.add(visit)
        session.flush()
        return visit.ident


def sign_off(shop: Database, visit_id: int, key: str, name: str, at: str) -> int:
    """End a visit by a named person's word. Raises RefusedError while a phase has something missing."""
    key = checked(key)
    sent = fingerprint(visit=visit_id, name=name)
    with shop.writing() as session:
        if again := earlier(session, SignOff, key, sent):
            return again.ident
        story = load(session, visit_id)
        if story.sign_off is not None:
            raise RefusedError({"name": f"{story.sign_off.name} has signed this visit off already."})
        if not name.strip():
            raise RefusedError({"name": "The full name of whoever answers for it."})
        if len(name) > engines.LONGEST:
            raise RefusedError({"name": f"At most {engines.LONGEST} characters fit here."})
        undone = [standing.phase.title for standing in progress(story) if not standing.done]
        if undone:
            raise RefusedError({"name": "Not yet: " + ", ".join(undone) + ". See what is missing there."})
        row = SignOff(key=key, payload=sent, visit_id=visit_id, name=name.strip(), at=at)
        session.add(row)
        session.flush()
        return row.ident


def load(session: Session, visit_id: int, with_before: bool = False) -> Story:
    """Everything recorded of a visit, and of the one before it when asked for. Raises NotThereError."""
    visit = session.get(Visit, visit_id)
    if visit is None:
        raise NotThereError("visit of that number")
    return _story(session, visit, with_before)


def of_engine(session: Session, engine_id: int) -> list[Story]:
    """The stories of an engine's visits, newest first."""
    visits = session.exec(select(Visit).where(Visit.engine_id == engine_id).order_by(col(Visit.number).desc()))
    return [_story(session, visit) for visit in visits.all()]


def in_the_shop(session: Session) -> list[Story]:
    """The stories of all visits that are open, the one touched last on top."""
    signed = select(SignOff).where(SignOff.visit_id == Visit.id)
    visits = session.exec(select(Visit).where(~signed.exists()).order_by(col(Visit.id).desc()))
    return [_story(session, visit) for visit in visits.all()]


def meters(session: Session) -> list[MeterRow]:
    """The meters of the shop, first one first."""
    return list(session.exec(select(MeterRow).order_by(col(MeterRow.id))).all())


def _story(session: Session, visit: Visit, with_before: bool = False) -> Story:
    earlier_one = _visit_before(session, visit)
    engine, fitting, meter = session.exec(
        select(Engine, Fitting, MeterRow)
        .select_from(Visit)
        .join(Engine, col(Engine.id) == Visit.engine_id)
        .join(Fitting, col(Fitting.id) == Visit.fitting_id)
        .join(MeterRow, col(MeterRow.id) == Visit.meter_id)
        .where(Visit.id == visit.ident)
    ).one()
    rounds = session.exec(select(RoundRow).where(RoundRow.visit_id == visit.ident).order_by(col(RoundRow.number))).all()
    readings = session.exec(
        select(ReadingRow)
        .where(col(ReadingRow.round_id).in_([r.ident for r in rounds]))
        .order_by(col(ReadingRow.round_id), col(ReadingRow.id))
    ).all()
    entered = {round_id: tuple(rows) for round_id, rows in groupby(readings, key=lambda r: r.round_id)}
    return Story(
        engine=engine,
        fitting=fitting,
        layout=layout_from_json(fitting.layout),
        hardware=hardware_from_json(fitting.hardware),
        visit=visit,
        meter=meter,
        rounds=tuple(Round(r, entered.get(r.ident, ())) for r in rounds),
        all_moves=tuple(_of(session, MoveRow, visit)),
        all_checks=tuple(_of(session, CheckRow, visit)),
        overrides=tuple(_of(session, Override, visit)),
        sign_off=session.exec(select(SignOff).where(SignOff.visit_id == visit.ident)).first(),
        fitted_before=earlier_one.fitting_id if earlier_one else None,
        before=_story(session, earlier_one) if with_before and earlier_one else None,
    )


def _of(session: Session, table: type[T], visit: Visit) -> list[T]:
    return list(session.exec(select(table).where(table.visit_id == visit.ident).order_by(col(table.id))).all())


def _visit_before(session: Session, visit: Visit) -> Visit | None:
    return session.exec(
        select(Visit)
        .join(SignOff)
        .where(Visit.engine_id == visit.engine_id, Visit.number < visit.number)
        .order_by(col(Visit.number).desc())
    ).first()
