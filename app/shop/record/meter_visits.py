"""What visits show of a meter: how it repeated where bores were read again with nothing moved between."""

from collections import defaultdict
from typing import NamedTuple

from sqlmodel import Session

from app.shop.record.entries import MeterEntry, Repeats, VisitEntry
from app.shop.store.database import raw_connection
from app.sync.readings.meters import repeated_in_rounds

LATEST = 40
"""Visits that are looked at (our judgement: a funnel ages, and a page waits for it)."""
LEAST_FREEDOM = 20
"""Differences that visits must tell at least (our judgement: they know a standard deviation to about a sixth)."""

READ_AGAIN = """
    SELECT v.id, r.id, a.bore, a.value, (SELECT count(*) FROM move m WHERE m.visit_id = v.id AND m.after_reading < a.id)
    FROM reading a JOIN round r ON r.id = a.round_id JOIN visit v ON v.id = r.visit_id
    WHERE v.id IN (
            SELECT w.id FROM visit w JOIN sign_off s ON s.visit_id = w.id
            WHERE w.meter_id = ? AND w.engine_id NOT IN (SELECT engine_id FROM practice) ORDER BY w.id DESC LIMIT ?
        )
        AND r.opening = 0 AND r.phase <> 'first-fire' AND a.kind <> 'closing' AND a.value > 0
        AND NOT EXISTS (SELECT 1 FROM reading b WHERE b.supersedes_id = a.id)
    ORDER BY a.id
"""


class Shown(NamedTuple):
    """How a meter repeated in visits, as fractions: without its step, least of all with it, and the limit without."""

    own: float
    low: float
    limit: float


def shown_to(visit: VisitEntry) -> Shown | None:
    """What had been shown of its meter when a visit was opened."""
    own, low, limit = visit.meter_own, visit.meter_low, visit.meter_limit
    return None if own is None or low is None or limit is None else Shown(own, low, limit)


def shown_by_visits(session: Session, meter_id: int, step: float) -> Shown | None:
    """How a meter repeated in the latest visits that are signed off; None where they tell too little.

    Only hot rounds at idle count, and of rounds in one state of an engine those that read the same bores.
    """
    rounds: dict[tuple[int, int, int], dict[int, float]] = defaultdict(dict)
    for visit, one, bore, value, moves in raw_connection(session).execute(READ_AGAIN, (meter_id, LATEST)):
        rounds[visit, moves, one][bore] = value
    states: dict[tuple[int, int, frozenset[int]], list[list[float]]] = defaultdict(list)
    for (visit, moves, _), values in rounds.items():
        states[visit, moves, frozenset(values)].append([values[bore] for bore in sorted(values)])
    found = repeated_in_rounds(list(states.values()), step)
    if found is None or found.freedom < LEAST_FREEDOM:
        return None
    return Shown(found.own, found.low, found.limit)


def judged_by(studied: Repeats | None, meter: MeterEntry, shown: Shown | None) -> Repeats:
    """What a meter is taken to repeat, by its studies, if any, and by visits before.

    Visits stand in for a study that was never made. A study counts, unless visits show that even at their best the
    meter repeats worse than its limit: then it was studied on a better day than it has at work.
    """
    if shown is None or (studied is not None and shown.low <= studied.judged):
        return studied or meter.estimate
    return Repeats(shown.own, shown.limit)
