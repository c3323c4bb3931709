"""How long a job took at the engine, phase by phase: worked out from the times of what was recorded, or as corrected.

It is time of the job, not of a person: two people at one engine for an hour are an hour.
"""

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from sqlmodel import Session, col, select

from app.shop.queries.statistics import FEWEST
from app.shop.record.loader import worked_on
from app.shop.record.rounds import seconds
from app.shop.record.visit_record import PHASE_ORDER
from app.shop.store.database import raw_connection
from app.shop.store.tables import HoursCorrection

STAMPS = """
WITH asked AS (SELECT CAST(value AS BIGINT) AS id FROM json_each(?))
SELECT r.visit_id, r.phase, d.at FROM reading d JOIN round r ON r.id = d.round_id JOIN asked a ON a.id = r.visit_id
UNION ALL
SELECT r.visit_id, r.phase, d.at
FROM opening_speed d JOIN round r ON r.id = d.round_id JOIN asked a ON a.id = r.visit_id
UNION ALL SELECT visit_id, phase, at FROM move JOIN asked a ON a.id = visit_id
UNION ALL SELECT visit_id, phase, at FROM "check" JOIN asked a ON a.id = visit_id
UNION ALL SELECT visit_id, phase, at FROM override JOIN asked a ON a.id = visit_id
UNION ALL SELECT visit_id, '', at FROM engine_event JOIN asked a ON a.id = visit_id
UNION ALL SELECT visit_id, '', at FROM stop_end JOIN asked a ON a.id = visit_id
UNION ALL SELECT visit_id, '', at FROM sign_off JOIN asked a ON a.id = visit_id
UNION ALL SELECT v.id, '', v.opened_at FROM visit v JOIN asked a ON a.id = v.id
"""
"""Whatever tells that the engine was worked on: the visit, the phase, empty where the row names none, and when."""

ENDED = "SELECT visit_id, at FROM sign_off WHERE visit_id IN (SELECT CAST(value AS BIGINT) FROM json_each(?))"

LIKE = f"""
WITH shape AS (
  SELECT f.id, json_array_length(f.layout, '$.banks') AS banks,
  (SELECT sum(json_array_length(b.value, '$.bores')) FROM json_each(f.layout, '$.banks') b) AS bores
  FROM fitting f
)
SELECT v.id FROM visit v JOIN shape s ON s.id = v.fitting_id JOIN sign_off o ON o.visit_id = v.id
WHERE v.id <> :visit AND {worked_on("v.id")}
AND v.engine_id NOT IN (SELECT engine_id FROM practice)
AND (s.banks, s.bores) = (
  SELECT t.banks, t.bores FROM visit w JOIN shape t ON t.id = w.fitting_id WHERE w.id = :visit
)
ORDER BY v.id DESC LIMIT :most
"""

MOST_JOBS = 100
"""Like jobs that are looked at, the newest: our judgement, a year or more of one kind of engine."""


@dataclass(frozen=True, slots=True)
class PhaseTime:
    """The time of a phase [s]: by the record, and by the newest correction where there is one."""

    phase: str
    recorded: float
    correction: HoursCorrection | None = None

    @property
    def spent(self) -> float:
        """What counts [s]."""
        return self.recorded if self.correction is None else self.correction.seconds


@dataclass(frozen=True, slots=True)
class LikeJobs:
    """What jobs took [s] that are signed off here, on engines of as many bores in as many banks.

    The figures are None where there are fewer than FEWEST such jobs.
    """

    count: int
    median: float | None = None
    least: float | None = None
    most: float | None = None


@dataclass(frozen=True, slots=True)
class JobTime:
    """The time of one job, its phases in their order, and what ones like it took."""

    phases: tuple[PhaseTime, ...]
    like: LikeJobs

    @property
    def total(self) -> float:
        """Of all phases [s]."""
        return _total(self.phases)


def of_job(session: Session, visit_id: int, gap: float) -> JobTime:
    """The time of a job beside like ones. ``gap`` [s]: a longer silence between two entries is no work."""
    like = [int(row[0]) for row in raw_connection(session).execute(LIKE, {"visit": visit_id, "most": MOST_JOBS})]
    found = by_visit(session, dict.fromkeys((visit_id, *like), gap))
    return JobTime(found[visit_id], compared([total for one in like if (total := _total(found[one]))]))


def by_visit(session: Session, gaps: Mapping[int, float]) -> dict[int, tuple[PhaseTime, ...]]:
    """The phases of each visit that have an entry, or that were corrected.

    ``gaps`` are the visits, each with the silence [s] between two entries from which on it is no work.
    """
    stamps: dict[int, list[tuple[float, str]]] = defaultdict(list)
    asked = json.dumps(sorted(gaps))
    for visit, phase, at in raw_connection(session).execute(STAMPS, (asked,)):
        stamps[int(visit)].append((seconds(at), phase))
    ended = {int(visit): seconds(at) for visit, at in raw_connection(session).execute(ENDED, (asked,))}
    corrections = _corrections(session, gaps)
    return {
        visit: _phases(worked(until(stamps[visit], ended.get(visit)), gap), corrections.get(visit, {}))
        for visit, gap in gaps.items()
    }


def compared(totals: list[float]) -> LikeJobs:
    """Median and range of what jobs took [s], where they are enough to say."""
    if len(totals) < FEWEST:
        return LikeJobs(len(totals))
    return LikeJobs(len(totals), median(totals), min(totals), max(totals))


def until(stamps: Iterable[tuple[float, str]], ended: float | None) -> list[tuple[float, str]]:
    """The times up to the sign-off [s]: what is corrected afterwards is desk work."""
    return [one for one in stamps if ended is None or one[0] <= ended]


def worked(stamps: Iterable[tuple[float, str]], gap: float) -> dict[str, float]:
    """The time of each phase [s] between entries that follow one another within ``gap`` [s].

    What lies between two entries belongs to the later one's phase: it is what was done to be able to enter it. An
    entry that names no phase belongs to that of the one before it, the first ones to the first that is named.

    >>> worked([(0.0, ""), (60.0, "first-fire"), (90.0, ""), (9000.0, "lock-down"), (9010.0, "lock-down")], 1800.0)
    {'first-fire': 90.0, 'lock-down': 10.0}
    """
    ordered = sorted(stamps)
    phase = next((named for _, named in ordered if named), "")
    spent = {named: 0.0 for _, named in ordered if named}
    for (before, _), (at, named) in pairwise(ordered):
        phase = named or phase
        if at - before <= gap and phase:
            spent[phase] += at - before
    return spent


def _total(phases: Iterable[PhaseTime]) -> float:
    return sum(one.spent for one in phases)


def _phases(spent: Mapping[str, float], corrections: Mapping[str, HoursCorrection]) -> tuple[PhaseTime, ...]:
    return tuple(
        PhaseTime(phase, spent.get(phase, 0.0), corrections.get(phase))
        for phase in PHASE_ORDER
        if phase in spent or phase in corrections
    )


def _corrections(session: Session, visits: Collection[int]) -> dict[int, dict[str, HoursCorrection]]:
    """The newest correction of each phase."""
    asked = select(HoursCorrection).where(col(HoursCorrection.visit_id).in_(visits)).order_by(col(HoursCorrection.id))
    found: dict[int, dict[str, HoursCorrection]] = defaultdict(dict)
    for row in session.exec(asked).all():
        found[row.visit_id][row.phase] = row
    return found
