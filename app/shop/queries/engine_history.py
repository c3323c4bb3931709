"""What an engine's visits say together: ``changes`` sets each visit against the one before it and asks what slipped.

Nothing here reads the database (see ``history_cache``): a visit is worked out once.
"""

from collections.abc import Mapping, Sequence
from functools import lru_cache

from app.shop.assessment.since_left import Change, change
from app.shop.assessment.visit_summary import RoundSummary, VisitSummary
from app.sync.engine.events import Meter
from app.sync.engine.layout import Adjuster
from app.sync.readings.rounds import reading_sd
from app.sync.slips.creep import Creep, creeping, scores


def changes(visits: Sequence[VisitSummary]) -> dict[int, Change]:
    """By visit id, the change since the engine was last left. ``visits`` oldest first."""
    found: dict[int, Change] = {}
    before: VisitSummary | None = None
    for visit in visits:
        if before is not None and visit.found is not None:
            found[visit.visit_id] = change(before, visit)
        if visit.left is not None:
            before = visit
    return found


@lru_cache(maxsize=64)
def creep(changed: tuple[Change, ...]) -> Creep | None:
    """The adjuster that goes one way visit after visit, if any. ``changed`` oldest first."""
    told = [one for one in changed if one.assessment is not None and one.same_fitting]
    return creeping([_scores(one) for one in told]) if told else None


@lru_cache(maxsize=4096)
def _scores(one: Change) -> Mapping[Adjuster, float]:
    assert one.before.left is not None
    assert one.after.found is not None
    left, found = one.before.left.pooled, one.after.found.pooled
    meter, before = one.after.meter, one.before.meter
    return scores(one.after.layout, left, found, meter, one.same_meter, one.hot, one.common, before, one.sharing)


def repeatability(stand: RoundSummary, meter: Meter) -> float:
    """How far a bore may read from where it stands with nothing changed: twice the standard deviation of one reading,
    in windows of the round."""
    return 2 * reading_sd(stand.judged.mean, meter) / stand.judged.tolerance
