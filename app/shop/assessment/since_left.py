"""What slipped since an engine was left: ``change``, between any two of its visits, and what to move first for it."""

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from app.shop.assessment.visit_summary import VisitSummary, build_history
from app.shop.record.intake import differs
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.layout import Adjuster
from app.sync.slips.slip_detection import Bore, SlipAssessment, expected_common, slipped

LIKELY_FROM = 0.5
"""Chance of having slipped from which an adjuster is moved first, where a move of it pays (our judgement)."""


class NotComparable(StrEnum):
    """Why as left and as found of two visits cannot be compared."""

    NO_ROUND = "no-round"
    """One of them has no complete round."""
    QUANTITIES = "quantities"
    """One was read by flow and one by vacuum."""
    LAYOUT = "layout"
    """The bores are not the same."""
    ZERO = "zero"
    """A bore read nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """What changed from one visit's as left to a later one's as found.

    ``assessment`` says what slipped, None when the two cannot be compared; ``why_not`` then says why.
    ``common`` is the change of ln(flow) that air and speed explain; None when they are not known at both, or when the
    intakes were read in another state (``other_intake``), so that the bores may have changed together by any factor.
    """

    before: VisitSummary
    after: VisitSummary
    same_meter: bool
    same_fitting: bool
    hot: bool
    common: float | None
    assessment: SlipAssessment | None
    why_not: NotComparable | None = None
    other_intake: bool = False

    @property
    def sharing(self) -> float | None:
        """Part of a runner's pressure that all runners share, as columns tell: those of the earlier visit, which is
        complete, else those of the later one; None by flow meters."""
        return _sharing(self.before, self.after)


@lru_cache(maxsize=4096)
def change(before: VisitSummary, after: VisitSummary) -> Change:
    """What slipped between an earlier visit's as left and this one's as found."""
    left, found = before.left, after.found
    same_meter = before.meter_id == after.meter_id
    hot = left is not None and found is not None and left.hot and found.hot
    other_intake = differs(before.intake, after.intake)
    common = None if other_intake else _common(before, after)
    why_not: NotComparable | None = None
    if left is None or found is None:
        why_not = NotComparable.NO_ROUND
    elif before.meter.quantity != after.meter.quantity:
        why_not = NotComparable.QUANTITIES
    elif set(before.layout.bores) != set(after.layout.bores):
        why_not = NotComparable.LAYOUT
    elif min(p.mean for p in (*left.pooled.values(), *found.pooled.values())) <= 0:
        why_not = NotComparable.ZERO
    assessment = None
    if not why_not and left is not None and found is not None:
        assessment = slipped(
            after.layout,
            left.pooled,
            found.pooled,
            after.meter,
            same_meter,
            hot,
            common,
            left_meter=before.meter,
            sharing=_sharing(before, after),
        )
    same_fitting = before.fitting_id == after.fitting_id
    return Change(before, after, same_meter, same_fitting, hot, common, assessment, why_not, other_intake)


def _sharing(before: VisitSummary, after: VisitSummary) -> float | None:
    return after.sharing if before.sharing is None else before.sharing


def _common(before: VisitSummary, after: VisitSummary) -> float | None:
    if before.air_left is None or after.air_found is None or after.meter.quantity != "flow":
        return None
    return expected_common(before.air_left, after.air_found)


def suspect_of(record: VisitRecord) -> Adjuster | None:
    """The adjuster that most likely slipped since the engine was last left; None where none is likely.

    None once something was moved in this visit, and for another layout.
    """
    before = record.before
    if before is None or record.moves or before.layout != record.layout:
        return None
    found = change(_summary(before), _summary(record)).assessment
    odds = found.odds if found is not None else {}
    suspect = max(odds, key=lambda one: odds[one], default=None)
    if suspect is None or isinstance(suspect, Bore) or odds[suspect] < LIKELY_FROM:
        return None
    return suspect


_summary = lru_cache(maxsize=64)(build_history)
