"""Visits: open one, sign it off, and end one that should never have been opened."""

from dataclasses import dataclass, field

from sqlalchemy import text
from sqlmodel import Session, col, func, select

from app.shop.assessment.progress import progress
from app.shop.at_site import has, require_site
from app.shop.commands import engines, people
from app.shop.commands.access import sites
from app.shop.errors import Problems, RejectedError
from app.shop.procedure.items import PLACES
from app.shop.procedure.limits import open_stops, why_ended
from app.shop.procedure.phases import COLD_PRESET
from app.shop.procedure.requirements import ChangedPart, Requirement, Runs, Waiting
from app.shop.reasons import because
from app.shop.record import meter_studies, stored_settings
from app.shop.record.intake import IntakeState
from app.shop.record.loader import load, worked_on, writing
from app.shop.record.meter_visits import shown_by_visits
from app.shop.record.stored_reasons import stored
from app.shop.record.visit_record import MISTAKEN, VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, part_key
from app.shop.store.tables import FindingRow, HoursCorrection, MeterRow, Override, SignOff, Visit


@dataclass(frozen=True, slots=True)
class NewVisit:
    """Why the engine is here: the place, the job number, the complaint or reason, who opens it, which meter.

    ``changed`` are the codes of what was changed since the last sign-off, each a ChangedPart; ``intake`` the code of
    an IntakeState, empty where it is not told, ``intake_note`` words about it; ``runs`` a Runs, empty where it was not
    asked. Those three stay out of the fingerprint that older programs made.
    """

    place: str
    job: str
    why: str
    by: str
    meter_id: int
    changed: tuple[str, ...] = ()
    intake: str = field(default="", repr=False)
    intake_note: str = field(default="", repr=False)
    runs: str = field(default="", repr=False)


def open_visit(shop: Database, engine_id: int, key: str, new: NewVisit, at: str) -> int:
    """Open a visit and return its id. Raises RejectedError when one is open already or something is missing."""
    key = checked(key)
    apart: dict[str, object] = {"intake": [new.intake, new.intake_note]} if new.intake else {}
    apart |= {"runs": new.runs} if new.runs else {}
    sent = fingerprint(engine=engine_id, new=new, **apart)
    with shop.writing() as session:
        if again := earlier(session, Visit, key, sent):
            return again.ident
        engines.get(session, engine_id)
        problems: Problems = {}
        if new.place not in PLACES:
            problems["place"] = because(Rejection.NOT_ONE_OF, choices=PLACES)
        if not new.by.strip():
            problems["by"] = because(Rejection.INITIALS_MISSING)
        for name in ("job", "why", "by", "intake_note"):
            if len(getattr(new, name)) > engines.LONGEST:
                problems[name] = because(Rejection.TOO_LONG, most=engines.LONGEST)
        if not set(new.changed) <= set(ChangedPart):
            problems["changed"] = because(Rejection.NOT_ONE_OF, choices=tuple(ChangedPart))
        if new.runs and new.runs not in set(Runs):
            problems["runs"] = because(Rejection.NOT_ONE_OF, choices=tuple(Runs))
        if new.intake and new.intake not in set(IntakeState):
            problems["intake"] = because(Rejection.NOT_ONE_OF, choices=tuple(IntakeState))
        if new.intake == IntakeState.OTHER and not new.intake_note.strip():
            problems["intake_note"] = because(Rejection.INTAKE_NOTE_MISSING)
        meter = session.get(MeterRow, new.meter_id)
        if meter is None or not has(meter.site_id):
            problems["meter"] = because(Rejection.NO_SUCH_METER)
        if engines.open_visit(session, engine_id) is not None:
            problems["place"] = because(Rejection.VISIT_OPEN)
        if problems or meter is None:
            raise RejectedError(problems)
        shown = shown_by_visits(session, new.meter_id, meter.step)
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
            runs=new.runs or None,
            meter_own=shown.own if shown else None,
            meter_low=shown.low if shown else None,
            meter_limit=shown.limit if shown else None,
            intake=new.intake or None,
            intake_note=(new.intake_note.strip() or None) if new.intake else None,
            site_id=sites.site_for_new(session),
        )
        session.add(visit)
        session.flush()
        return visit.ident


def asks_whether_it_runs(session: Session, engine_id: int) -> bool:
    """Whether nothing recorded tells if an engine runs: it was never signed off with what is fitted now.

    Raises NotFoundError.
    """
    signed = select(Visit.fitting_id).join(SignOff).where(Visit.engine_id == engine_id, text(worked_on("visit.id")))
    newest = session.exec(signed.order_by(col(Visit.number).desc())).first()
    return newest != engines.fitting_now(session, engine_id).ident


def sign_off(shop: Database, visit_id: int, key: str, name: str, at: str, pin: str = "") -> int:
    """End a visit by a named person's word. Raises RejectedError while a phase has something missing.

    Once people are listed in the shop, ``name`` has to be one of theirs and ``pin`` that person's.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, name=name)
    with shop.reading() as session:
        if again := earlier(session, SignOff, key, sent):
            return again.ident
        record = load(session, visit_id)
        require_site(session, record.visit.site_id)
        _require_ready(record, name)
    name = people.prove(shop, name, pin, at) or name
    with shop.writing() as session:
        if again := earlier(session, SignOff, key, sent):
            return again.ident
        _require_ready(load(session, visit_id), name)
        studied = meter_studies.newest_reading(session)
        row = SignOff(key=key, payload=sent, visit_id=visit_id, name=name.strip(), at=at, after_study=studied)
        session.add(row)
        session.flush()
        return row.ident


def end_mistaken(shop: Database, visit_id: int, key: str, why: str, by: str, at: str) -> int:
    """End a visit that was opened by mistake, for a reason that is stored and shown. Returns the waiver's id.

    It is kept and says nothing about the engine: what compares with the last visit passes it over. Raises RejectedError
    once something is recorded in the visit, and without a reason or initials.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, why=why, mistaken=True)
    with writing(shop, visit_id) as session:
        if again := earlier(session, Override, key, sent):
            return again.ident
        record = load(session, visit_id)
        if ended := why_ended(record):
            raise RejectedError({"": ended})
        if not untouched(session, record):
            raise RejectedError({"": because(Rejection.VISIT_BEGUN)})
        problems: Problems = {}
        if not why.strip():
            problems["why"] = because(Rejection.REASON_MISSING)
        if not by.strip():
            problems["by"] = because(Rejection.INITIALS_MISSING)
        for name, typed in (("why", why), ("by", by)):
            if len(typed) > engines.LONGEST:
                problems[name] = because(Rejection.TOO_LONG, most=engines.LONGEST)
        if problems:
            raise RejectedError(problems)
        undone = [because(Requirement.PHASE, phase=one.phase.slug) for one in progress(record) if not one.done]
        row = Override(
            key=key,
            payload=sent,
            visit_id=visit_id,
            phase=COLD_PRESET.slug,
            missing=stored(undone),
            why=why.strip(),
            gate=MISTAKEN,
            by=by.strip(),
            at=at,
        )
        session.add(row)
        end = part_key(key, "end")
        studied = meter_studies.newest_reading(session)
        session.add(SignOff(key=end, payload=sent, visit_id=visit_id, name=row.by, at=at, after_study=studied))
        session.flush()
        return row.ident


def untouched(session: Session, record: VisitRecord) -> bool:
    """Whether nothing that matters is recorded in a visit: of the engine, of a cross-check, or of the time it took."""
    of_visit = [select(table.id).where(table.visit_id == record.visit.ident) for table in (FindingRow, HoursCorrection)]
    return record.untouched and not any(session.exec(one.limit(1)).first() for one in of_visit)


def _require_ready(record: VisitRecord, name: str) -> None:
    """Raises RejectedError where a visit cannot be signed off, before any PIN is looked at."""
    if ended := why_ended(record):
        raise RejectedError({"name": ended})
    if not name.strip():
        raise RejectedError({"name": because(Rejection.FULL_NAME_MISSING)})
    if len(name) > engines.LONGEST:
        raise RejectedError({"name": because(Rejection.TOO_LONG, most=engines.LONGEST)})
    if stops := open_stops(record):
        raise RejectedError({"name": because(Waiting.STOPPED, stop=stops[0].reason)})
    undone = tuple(because(Requirement.PHASE, phase=one.phase.slug) for one in progress(record) if not one.done)
    if undone:
        raise RejectedError({"name": because(Rejection.PHASES_INCOMPLETE, phases=undone)})
