"""What is known of the shop's meters: the repeatability that their studies found, and whether two agree."""

from dataclasses import dataclass
from enum import StrEnum

from sqlmodel import Session, col, func, or_, select

from app.shop.at_site import has
from app.shop.errors import NotFoundError
from app.shop.reasons import because
from app.shop.record.entries import MeterEntry, Repeats
from app.shop.record.meter_visits import Shown, judged_by, shown_by_visits
from app.shop.record.superseding import current
from app.shop.rejections import Rejection
from app.shop.store.tables import MeterDue, MeterRow, Study, StudyReading
from app.sync.readings.meters import Agreement, Repeatability, agreement, least_difference, repeatability

READINGS, PAIRS = 10, 5
"""Readings of a repeatability study, and bores read with both meters of a comparison (our judgement: nine
differences know a standard deviation to about a quarter)."""


class RepeatabilitySource(StrEnum):
    """Where the repeatability of a meter comes from when it is registered."""

    ESTIMATE = "estimate"


@dataclass(frozen=True, slots=True)
class StudyRecord:
    """One study as far as it was read."""

    row: Study
    meter: MeterEntry
    other: MeterEntry | None
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
    def halved(self) -> bool:
        """Whether its second half is read elsewhere or by another person."""
        return self.other is None and bool(self.row.second_place or self.row.second_by)

    @property
    def in_second_half(self) -> bool:
        """Whether the next reading belongs to a second half of its own."""
        return self.halved and self.next_place > READINGS // 2

    @property
    def next_by(self) -> str:
        """Who takes the next reading."""
        return (self.row.second_by if self.in_second_half else None) or self.row.by

    @property
    def next_where(self) -> str:
        """Where the next reading is taken."""
        return (self.row.second_place if self.in_second_half else None) or self.row.place

    @property
    def series(self) -> list[list[float]]:
        """The values that stand of its meter, one series a bore and person."""
        values = self.of_meter(self.meter.ident)
        half = READINGS // 2
        return [values[:half], values[half:]] if self.halved else [values]

    @property
    def next_meter(self) -> MeterEntry:
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
class KnownMeter:
    """A meter with everything known of it. ``due`` is the day of its next check, ``shown`` what visits show."""

    row: MeterEntry
    studies: tuple[StudyRecord, ...]
    due: MeterDue | None
    shown: Shown | None

    @property
    def found(self) -> Repeatability | None:
        """What its finished studies say, pooled."""
        return _pooled(self.row, [s for s in self.studies if s.other is None and s.finished])

    @property
    def repeatability(self) -> float:
        """The figure used everywhere: the limit that its studies found, or the estimate it was registered with."""
        return self.repeats.judged

    @property
    def repeats(self) -> Repeats:
        """What its studies and the visits say of it, or the estimate twice."""
        found = self.found
        return judged_by(Repeats(found.own, found.limit) if found else None, self.row, self.shown)

    @property
    def by_visits(self) -> bool:
        """Whether visits are what counts of it."""
        return self.shown is not None and self.repeats == (self.shown.own, self.shown.limit)

    @property
    def least_difference(self) -> tuple[float, int] | None:
        """From what difference on, in its unit and in steps, two readings of one bore are not the same; None before a
        study."""
        found = self.found
        return least_difference(found.level, self.repeats.judged, self.row.step) if found else None

    def overdue(self, today: str) -> bool:
        """Whether its check was due before ``today``, an ISO day."""
        return self.due is not None and self.due.due < today


def get(session: Session, meter_id: int) -> MeterEntry:
    """One meter. Raises NotFoundError."""
    meter = session.get(MeterRow, meter_id)
    if meter is None:
        raise NotFoundError(because(Rejection.NO_SUCH_METER))
    return MeterEntry.of(meter)


def known(session: Session, meter_id: int) -> KnownMeter:
    """Everything known of a meter, visits that are signed off among it. Raises NotFoundError."""
    meter = get(session, meter_id)
    due = select(MeterDue).where(MeterDue.meter_id == meter_id).order_by(col(MeterDue.id).desc())
    read_with = or_(col(Study.meter_id) == meter_id, col(Study.other_id) == meter_id)
    mine = select(Study).where(read_with).order_by(col(Study.id))
    studies = tuple(_study(session, row) for row in session.exec(mine).all())
    shown = shown_by_visits(session, meter_id, meter.step)
    return KnownMeter(meter, studies, session.exec(due).first(), shown)


def all_of(session: Session) -> list[KnownMeter]:
    """Every meter of the shop, first one first; at a site, those of the site and of all sites."""
    rows = session.exec(select(MeterRow).order_by(col(MeterRow.id))).all()
    return [known(session, row.ident) for row in rows if has(row.site_id)]


def study_of(session: Session, study_id: int) -> StudyRecord:
    """One study. Raises NotFoundError."""
    row = session.get(Study, study_id)
    if row is None:
        raise NotFoundError(because(Rejection.NO_SUCH_STUDY))
    return _study(session, row)


def repeatability_of(session: Session, meter: MeterEntry, until: int | None) -> Repeats | None:
    """A meter's figure by the study readings up to that id, by all of them when None; None without a study."""
    mine = select(Study).where(Study.meter_id == meter.ident, col(Study.other_id).is_(None)).order_by(col(Study.id))
    studies = [_study(session, row, until) for row in session.exec(mine).all()]
    found = _pooled(meter, [s for s in studies if s.finished])
    return Repeats(found.own, found.limit) if found else None


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a meter's figure comes from: the ``readings`` of its finished studies, 0 without one, and when the newest
    was taken; the ``other`` meter that it was compared with last and when, both empty where it never was."""

    readings: int = 0
    at: str = ""
    other: str = ""
    compared_at: str = ""


NOT_STUDIED = Provenance()


def provenance_of(session: Session, meter: MeterEntry, until: int) -> Provenance:
    """What was known of a meter by the study readings up to that id."""
    read_with = or_(col(Study.meter_id) == meter.ident, col(Study.other_id) == meter.ident)
    rows = session.exec(select(Study).where(read_with).order_by(col(Study.id))).all()
    finished = [study for study in (_study(session, row, until) for row in rows) if study.finished]
    own = [study for study in finished if study.other is None]
    newest = max([reading.at for study in own for reading in study.readings], default="")
    readings = sum(len(study.readings) for study in own)
    for study in reversed(finished):
        if study.other is not None:
            other = study.meter if study.other.ident == meter.ident else study.other
            return Provenance(readings, newest, other.name, max(reading.at for reading in study.readings))
    return Provenance(readings, newest)


def newest_reading(session: Session) -> int:
    """The id of the newest reading of any study, 0 when there is none."""
    return session.exec(select(func.max(StudyReading.id))).one() or 0


def _study(session: Session, row: Study, until: int | None = None) -> StudyRecord:
    mine = select(StudyReading).where(StudyReading.study_id == row.ident).order_by(col(StudyReading.id))
    entered = [r for r in session.exec(mine).all() if until is None or r.ident <= until]
    other = get(session, row.other_id) if row.other_id is not None else None
    return StudyRecord(row, get(session, row.meter_id), other, tuple(entered))


def _pooled(meter: MeterEntry, finished: list[StudyRecord]) -> Repeatability | None:
    if not finished:
        return None
    return repeatability([series for study in finished for series in study.series], meter.step)
