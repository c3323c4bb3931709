"""The shop's meters: what each repeats by its studies, whether two agree, and when each is to be looked at again."""

import math
from dataclasses import dataclass, field
from datetime import date

from sqlmodel import select

from app.shop.at_site import own_site
from app.shop.errors import ConflictError, Problems, RejectedError
from app.shop.reasons import because
from app.shop.record.entries import ABSOLUTE, MeterEntry
from app.shop.record.meter_studies import RepeatabilitySource, get, study_of
from app.shop.record.stored_reasons import stored
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import MeterDue, MeterRow, Study, StudyReading
from app.sync.engine.units import FLOW_UNITS, PRESSURE_UNITS

LONGEST = 120
HIGHEST = 100_000
"""The highest value that a meter may show, in its unit."""

UNITS_OF = {"flow": tuple(FLOW_UNITS), "vacuum": tuple(PRESSURE_UNITS)}
REFERENCES = ("gauge", ABSOLUTE)
"""What a pressure meter counts from: the day's air, or nothing."""

ESTIMATE = 0.02
"""What is taken for the repeatability of a meter before a study."""


@dataclass(frozen=True, slots=True)
class NewMeter:
    """An instrument as it is registered; ``step``, ``low`` and ``high`` in its own ``unit``.

    ``reference`` is one of REFERENCES, and says nothing of a flow meter.
    """

    name: str
    unit: str
    step: float
    low: float
    high: float
    reference: str = field(default="gauge", repr=False)  # a key sent before it was asked for must stay good

    @property
    def quantity(self) -> str:
        """What a meter of that unit reads, empty for an unknown unit."""
        return next((quantity for quantity, units in UNITS_OF.items() if self.unit in units), "")

    @property
    def absolute(self) -> bool:
        """Whether it counts from nothing."""
        return self.quantity == "vacuum" and self.reference == ABSOLUTE

    def problems(self) -> Problems:
        """What is wrong, by field."""
        wrong: Problems = {}
        if not self.name.strip():
            wrong["name"] = because(Rejection.NAME_MISSING)
        if len(self.name) > LONGEST:
            wrong["name"] = because(Rejection.TOO_LONG, most=LONGEST)
        if not self.quantity:
            choices = tuple(unit for units in UNITS_OF.values() for unit in units)
            wrong["unit"] = because(Rejection.NOT_ONE_OF, choices=choices)
        if self.reference not in REFERENCES:
            wrong["reference"] = because(Rejection.NOT_ONE_OF, choices=REFERENCES)
        if not (math.isfinite(self.high) and 0 <= self.low < self.high <= HIGHEST):
            wrong["high"] = because(Rejection.METER_RANGE, most=HIGHEST)
        elif not (math.isfinite(self.step) and 0 < self.step <= (self.high - self.low) / 4):
            wrong["step"] = because(Rejection.METER_STEP)
        return wrong


def register(shop: Database, key: str, new: NewMeter) -> int:
    """Store a new meter and return its id. Raises RejectedError by field."""
    key = checked(key)
    sent = fingerprint(new=new, **({"reference": ABSOLUTE} if new.absolute else {}))
    with shop.writing() as session:
        if again := earlier(session, MeterRow, key, sent):
            return again.ident
        problems = new.problems()
        same = select(MeterRow).where(MeterRow.name == new.name.strip())
        if session.exec(same).first() is not None:
            problems["name"] = because(Rejection.NAME_TAKEN)
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
            repeatability_from=stored([because(RepeatabilitySource.ESTIMATE)]),
            reference=ABSOLUTE if new.absolute else None,
            site_id=own_site(),
        )
        session.add(row)
        session.flush()
        return row.ident


def begin_study(
    shop: Database,
    meter_id: int,
    key: str,
    other_id: int | None,
    where: str,
    by: str,
    at: str,
    second: tuple[str, str] = ("", ""),
) -> int:
    """Begin a repeatability study, or with ``other_id`` a comparison, and return its id. Raises RejectedError.

    ``second`` says where and by whom the second half of a study is read, each empty where that is as in the first.
    """
    key = checked(key)
    second_place, second_by = (one.strip() for one in second)
    apart = {"second": (second_place, second_by)} if second_place or second_by else {}
    sent = fingerprint(meter=meter_id, other=other_id, where=where, **apart)
    with shop.writing() as session:
        if again := earlier(session, Study, key, sent):
            return again.ident
        meter = get(session, meter_id)
        problems: Problems = {}
        if not by.strip():
            problems["study_by"] = because(Rejection.INITIALS_MISSING)
        if len(where) > LONGEST:
            problems["where"] = because(Rejection.TOO_LONG, most=LONGEST)
        for name, typed in (("second_where", second_place), ("second_by", second_by)):
            if len(typed) > LONGEST:
                problems[name] = because(Rejection.TOO_LONG, most=LONGEST)
        if other_id is not None:
            other = session.get(MeterRow, other_id)
            if other is None or other.ident == meter_id:
                problems["other"] = because(Rejection.NOT_LISTED)
            elif (other.unit, other.reference) != (meter.unit, meter.reference):
                problems["other"] = because(
                    Rejection.METER_UNITS_DIFFER,
                    other=other.name,
                    other_unit=MeterEntry.of(other).unit_name,
                    unit=meter.unit_name,
                )
        if problems:
            raise RejectedError(problems)
        row = Study(
            key=key,
            payload=sent,
            meter_id=meter_id,
            other_id=other_id,
            place=where.strip(),
            by=by.strip(),
            at=at,
            second_place=second_place or None,
            second_by=second_by or None,
        )
        session.add(row)
        session.flush()
        return row.ident


def read(shop: Database, study_id: int, key: str, value: float, by: str, at: str, supersedes: int | None = None) -> int:
    """Keep the next reading of a study, or a corrected one, and return its id. Raises RejectedError, ConflictError."""
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
                raise ConflictError({"value": because(Rejection.CHANGED_BY_ANOTHER_TABLET)})
            meter, place = (study.meter if old.meter_id == study.meter.ident else study.other or study.meter), old.place
        elif study.finished:
            raise ConflictError({"value": because(Rejection.STUDY_COMPLETE)})
        if not math.isfinite(value) or not meter.low <= value <= meter.high or value <= 0:
            low = meter.low or meter.step  # nothing repeats at 0
            raise RejectedError(
                {"value": because(Rejection.OUT_OF_RANGE, low=low, high=meter.high, unit=meter.unit_name)}
            )
        row = StudyReading(
            key=key,
            payload=sent,
            study_id=study_id,
            meter_id=meter.ident,
            place=place,
            value=value,
            by=by.strip() or study.next_by,
            at=at,
            supersedes_id=supersedes,
        )
        session.add(row)
        session.flush()
        return row.ident


def set_due(shop: Database, meter_id: int, key: str, due: str, why: str, by: str, at: str) -> int:
    """Say when a meter is to be checked next (an ISO day) and return the row's id. Raises RejectedError."""
    key = checked(key)
    sent = fingerprint(meter=meter_id, due=due, why=why)
    with shop.writing() as session:
        if again := earlier(session, MeterDue, key, sent):
            return again.ident
        get(session, meter_id)
        problems: Problems = {}
        try:
            date.fromisoformat(due)
        except ValueError:
            problems["due"] = because(Rejection.NOT_A_DAY)
        if len(why) > LONGEST:
            problems["due_why"] = because(Rejection.TOO_LONG, most=LONGEST)
        if not by.strip():
            problems["due_by"] = because(Rejection.INITIALS_MISSING)
        if problems:
            raise RejectedError(problems)
        row = MeterDue(key=key, payload=sent, meter_id=meter_id, due=due, why=why.strip(), by=by.strip(), at=at)
        session.add(row)
        session.flush()
        return row.ident
