"""The shop's meters: what each repeats by its studies, whether two agree, and when each is to be looked at again."""

import math
from dataclasses import dataclass
from datetime import date

from sqlmodel import select

from app.shop.errors import ConflictError, RejectedError
from app.shop.record.meter_studies import get, study_of
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import MeterDue, MeterRow, Study, StudyReading

LONGEST = 120
UNITS_OF = {"flow": ("kg/h", "cfm"), "vacuum": ("kPa", "inHg", "mmHg")}

ESTIMATE = 0.02
ESTIMATE_FROM = "this program's estimate until a repeatability study"


@dataclass(frozen=True, slots=True)
class NewMeter:
    """An instrument as it is registered; ``step``, ``low`` and ``high`` in its own ``unit``."""

    name: str
    unit: str
    step: float
    low: float
    high: float

    @property
    def quantity(self) -> str:
        """What a meter of that unit reads, empty for a unit nobody knows."""
        return next((quantity for quantity, units in UNITS_OF.items() if self.unit in units), "")

    def problems(self) -> dict[str, str]:
        """What is wrong, by field."""
        wrong: dict[str, str] = {}
        if not self.name.strip():
            wrong["name"] = "A name, as it is called in the shop."
        if len(self.name) > LONGEST:
            wrong["name"] = f"At most {LONGEST} characters fit here."
        if not self.quantity:
            wrong["unit"] = "One of " + ", ".join(unit for units in UNITS_OF.values() for unit in units) + "."
        if not (math.isfinite(self.high) and 0 <= self.low < self.high <= 100_000):
            wrong["high"] = "The range goes from 0 or more up to something higher."
        elif not (math.isfinite(self.step) and 0 < self.step <= (self.high - self.low) / 4):
            wrong["step"] = "The smallest step that can be read, well inside the range."
        return wrong


def register(shop: Database, key: str, new: NewMeter) -> int:
    """Store a new meter and return its id. Raises RefusedError by field."""
    key = checked(key)
    sent = fingerprint(new=new)
    with shop.writing() as session:
        if again := earlier(session, MeterRow, key, sent):
            return again.ident
        problems = new.problems()
        same = select(MeterRow).where(MeterRow.name == new.name.strip())
        if session.exec(same).first() is not None:
            problems["name"] = "There is a meter of that name. Give this one another."
        if problems:
            raise RejectedError(problems)
        row = MeterRow(
            key=key,
            payload=sent,
            name=new.name.strip(),
            quantity=new.quantity,
            unit=new.unit,
            step=new.step,
            low=new.low,
            high=new.high,
            repeatability=ESTIMATE,
            repeatability_from=ESTIMATE_FROM,
        )
        session.add(row)
        session.flush()
        return row.ident


def begin_study(shop: Database, meter_id: int, key: str, other_id: int | None, where: str, by: str, at: str) -> int:
    """Begin a repeatability study, or with ``other_id`` a comparison, and return its id. Raises RefusedError."""
    key = checked(key)
    sent = fingerprint(meter=meter_id, other=other_id, where=where)
    with shop.writing() as session:
        if again := earlier(session, Study, key, sent):
            return again.ident
        meter = get(session, meter_id)
        problems: dict[str, str] = {}
        if not by.strip():
            problems["study_by"] = "Initials of whoever reads."
        if len(where) > LONGEST:
            problems["where"] = f"At most {LONGEST} characters fit here."
        if other_id is not None:
            other = session.get(MeterRow, other_id)
            if other is None or other.ident == meter_id:
                problems["other"] = "Another meter of the shop."
            elif other.unit != meter.unit:
                problems["other"] = f"{other.name} reads {other.unit}, this one {meter.unit}: they cannot be compared."
        if problems:
            raise RejectedError(problems)
        row = Study(
            key=key, payload=sent, meter_id=meter_id, other_id=other_id, place=where.strip(), by=by.strip(), at=at
        )
        session.add(row)
        session.flush()
        return row.ident


def read(shop: Database, study_id: int, key: str, value: float, by: str, at: str, supersedes: int | None = None) -> int:
    """Keep the next reading of a study, or a corrected one, and return its id. Raises RefusedError, ConflictError."""
    key = checked(key)
    sent = fingerprint(study=study_id, value=value, supersedes=supersedes)
    with shop.writing() as session:
        if again := earlier(session, StudyReading, key, sent):
            return again.ident
        study = study_of(session, study_id)
        meter, place = study.next_meter, study.next_place
        if supersedes is not None:
            old = next((r for r in study.readings if r.ident == supersedes), None)
            if old is None:
                raise ConflictError({"value": "That reading was corrected meanwhile. Look at it again."})
            meter, place = (study.meter if old.meter_id == study.meter.ident else study.other or study.meter), old.place
        elif study.finished:
            raise ConflictError({"value": "This study is complete."})
        if not math.isfinite(value) or not meter.low <= value <= meter.high or value <= 0:
            raise RejectedError({"value": f"{meter.name} reads from {meter.low:g} to {meter.high:g} {meter.unit}."})
        row = StudyReading(
            key=key,
            payload=sent,
            study_id=study_id,
            meter_id=meter.ident,
            place=place,
            value=value,
            by=by.strip() or study.row.by,
            at=at,
            supersedes_id=supersedes,
        )
        session.add(row)
        session.flush()
        return row.ident


def set_due(shop: Database, meter_id: int, key: str, due: str, why: str, by: str, at: str) -> int:
    """Say when a meter is to be checked next (an ISO day) and return the row's id. Raises RefusedError."""
    key = checked(key)
    sent = fingerprint(meter=meter_id, due=due, why=why)
    with shop.writing() as session:
        if again := earlier(session, MeterDue, key, sent):
            return again.ident
        get(session, meter_id)
        problems: dict[str, str] = {}
        try:
            date.fromisoformat(due)
        except ValueError:
            problems["due"] = "A day, like 2027-05-31."
        if len(why) > LONGEST:
            problems["due_why"] = f"At most {LONGEST} characters fit here."
        if not by.strip():
            problems["due_by"] = "Initials of whoever decides it."
        if problems:
            raise RejectedError(problems)
        row = MeterDue(key=key, payload=sent, meter_id=meter_id, due=due, why=why.strip(), by=by.strip(), at=at)
        session.add(row)
        session.flush()
        return row.ident
