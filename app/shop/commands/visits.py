"""Visits: open one, and sign it off."""

from dataclasses import dataclass

from sqlmodel import func, select

from app.shop.assessment.progress import progress
from app.shop.commands import engines, people
from app.shop.errors import RejectedError
from app.shop.procedure.items import PLACES
from app.shop.procedure.recheck import CHANGES
from app.shop.record import meter_studies, stored_settings
from app.shop.record.loader import load
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import MeterRow, SignOff, Visit


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
            setup=stored_settings.now(session)[0] or None,
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
        undone = [standing.phase.title for standing in progress(record) if not standing.done]
        if undone:
            raise RejectedError({"name": "Not yet: " + ", ".join(undone) + ". See what is missing there."})
        studied = meter_studies.newest_reading(session)
        row = SignOff(key=key, payload=sent, visit_id=visit_id, name=name.strip(), at=at, after_study=studied)
        session.add(row)
        session.flush()
        return row.ident
