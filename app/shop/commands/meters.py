"""The shop's meters: what each repeats by its studies, whether two agree, and when each is to be looked at again."""

import math
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session, col, func, or_, select

from app.shop.errors import ConflictError, NotFoundError, Problems, RejectedError
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, current, earlier, fingerprint
from app.shop.store.tables import MeterDue, MeterRow, Study, StudyReading
from app.sync.readings.meters import Agreement, Repeatability, agreement, repeatability

LONGEST = 120
HIGHEST = 100_000
"""The highest value that a meter may show, in its unit."""

UNITS_OF = {"flow": ("kg/h", "cfm"), "vacuum": ("kPa", "inHg", "mmHg")}
READINGS = 10
PAIRS = 5
"""Readings of a repeatability study, and bores read with both meters of a comparison (this program's own choice: nine
differences know a standard deviation to about a quarter)."""

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
        """What a meter of that unit reads, empty for an unknown unit."""
        return next((quantity for quantity, units in UNITS_OF.items() if self.unit in units), "")

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
        if not (math.isfinite(self.high) and 0 <= self.low < self.high <= HIGHEST):
            wrong["high"] = because(Rejection.METER_RANGE, most=HIGHEST)
        elif not (math.isfinite(self.step) and 0 < self.step <= (self.high - self.low) / 4):
            wrong["step"] = because(Rejection.METER_STEP)
        return wrong


@dataclass(frozen=True, slots=True)
class StudyRecord:
    """One study as far as it was read."""

    row: Study
    meter: MeterRow
    other: MeterRow | None
    entered: tuple[StudyReading, ...]

    @property
    def readings(self) -> list[StudyReading]:
        """The readings that stand, in their order."""
        return sorted(current(self.entered), key=lambda r: (r.place, r.meter_id != self.meter.ident))

    @property
    def wanted(self) -> int:
        """How many readings make it complete."""
        return READINGS if self.other is None else 2 * PAIRS

    @property
    def finished(self) -> bool:
        """Whether it is complete."""
        return len(self.readings) >= self.wanted

    @property
    def next_place(self) -> int:
        """Which reading, or which bore of a comparison, comes next; counted from 1."""
        done = len(self.readings)
        return done + 1 if self.other is None else done // 2 + 1

    @property
    def next_meter(self) -> MeterRow:
        """The meter to read with next."""
        return self.other if self.other is not None and len(self.readings) % 2 else self.meter

    def of_meter(self, meter_id: int) -> list[float]:
        """The values that stand of one meter."""
        return [r.value for r in self.readings if r.meter_id == meter_id]

    @property
    def agreement(self) -> Agreement | None:
        """What a finished comparison says."""
        if self.other is None or not self.finished:
            return None
        return agreement(self.of_meter(self.meter.ident), self.of_meter(self.other.ident))


@dataclass(frozen=True, slots=True)
class MeterStory:
    """A meter with everything known of it. ``due`` is the day of its next check."""

    row: MeterRow
    studies: tuple[StudyRecord, ...]
    due: MeterDue | None

    @property
    def found(self) -> Repeatability | None:
        """What its finished studies say, pooled."""
        return _pooled(self.row, [s for s in self.studies if s.other is None and s.finished])

    @property
    def repeatability(self) -> float:
        """The figure used everywhere: by its studies, or the estimate it was registered with."""
        found = self.found
        return found.own if found else self.row.repeatability

    def overdue(self, today: str) -> bool:
        """Whether its check was due before ``today``, an ISO day."""
        return self.due is not None and self.due.due < today


def register(shop: Database, key: str, new: NewMeter) -> int:
    """Store a new meter and return its id. Raises RejectedError by field."""
    key = checked(key)
    sent = fingerprint(new=new)
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
            repeatability_from=ESTIMATE_FROM,
        )
        session.add(row)
        session.flush()
        return row.ident


def begin_study(shop: Database, meter_id: int, key: str, other_id: int | None, where: str, by: str, at: str) -> int:
    """Begin a repeatability study, or with ``other_id`` a comparison, and return its id. Raises RejectedError."""
    key = checked(key)
    sent = fingerprint(meter=meter_id, other=other_id, where=where)
    with shop.writing() as session:
        if again := earlier(session, Study, key, sent):
            return again.ident
        meter = get(session, meter_id)
        problems: Problems = {}
        if not by.strip():
            problems["study_by"] = because(Rejection.INITIALS_MISSING)
        if len(where) > LONGEST:
            problems["where"] = because(Rejection.TOO_LONG, most=LONGEST)
        if other_id is not None:
            other = session.get(MeterRow, other_id)
            if other is None or other.ident == meter_id:
                problems["other"] = because(Rejection.NOT_LISTED)
            elif other.unit != meter.unit:
                problems["other"] = because(
                    Rejection.METER_UNITS_DIFFER, other=other.name, other_unit=other.unit, unit=meter.unit
                )
        if problems:
            raise RejectedError(problems)
        row = Study(
            key=key, payload=sent, meter_id=meter_id, other_id=other_id, place=where.strip(), by=by.strip(), at=at
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
        study = study_story(session, study_id)
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
            raise RejectedError({"value": because(Rejection.OUT_OF_RANGE, low=low, high=meter.high, unit=meter.unit)})
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


def get(session: Session, meter_id: int) -> MeterRow:
    """One meter. Raises NotFoundError."""
    meter = session.get(MeterRow, meter_id)
    if meter is None:
        raise NotFoundError(because(Rejection.NO_SUCH_METER))
    return meter


def record(session: Session, meter_id: int) -> MeterStory:
    """Everything known of a meter. Raises NotFoundError."""
    meter = get(session, meter_id)
    due = select(MeterDue).where(MeterDue.meter_id == meter_id).order_by(col(MeterDue.id).desc())
    read_with = or_(col(Study.meter_id) == meter_id, col(Study.other_id) == meter_id)
    mine = select(Study).where(read_with).order_by(col(Study.id))
    studies = tuple(_study(session, row) for row in session.exec(mine).all())
    return MeterStory(meter, studies, session.exec(due).first())


def all_of(session: Session) -> list[MeterStory]:
    """Every meter of the shop, first one first."""
    return [record(session, m.ident) for m in session.exec(select(MeterRow).order_by(col(MeterRow.id))).all()]


def study_story(session: Session, study_id: int) -> StudyRecord:
    """One study. Raises NotFoundError."""
    row = session.get(Study, study_id)
    if row is None:
        raise NotFoundError(because(Rejection.NO_SUCH_STUDY))
    return _study(session, row)


def repeatability_of(session: Session, meter: MeterRow, until: int | None) -> float:
    """A meter's figure by the study readings up to that id, by all of them when None."""
    mine = select(Study).where(Study.meter_id == meter.ident, col(Study.other_id).is_(None)).order_by(col(Study.id))
    studies = [_study(session, row, until) for row in session.exec(mine).all()]
    found = _pooled(meter, [s for s in studies if s.finished])
    return found.own if found else meter.repeatability


def newest_reading(session: Session) -> int:
    """The id of the newest reading of any study, 0 when there is none."""
    return session.exec(select(func.max(StudyReading.id))).one() or 0


def _study(session: Session, row: Study, until: int | None = None) -> StudyRecord:
    mine = select(StudyReading).where(StudyReading.study_id == row.ident).order_by(col(StudyReading.id))
    entered = [r for r in session.exec(mine).all() if until is None or r.ident <= until]
    other = get(session, row.other_id) if row.other_id is not None else None
    return StudyRecord(row, get(session, row.meter_id), other, tuple(entered))


def _pooled(meter: MeterRow, finished: list[StudyRecord]) -> Repeatability | None:
    if not finished:
        return None
    return repeatability([s.of_meter(meter.ident) for s in finished], meter.step)
