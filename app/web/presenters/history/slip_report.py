"""What slipped between two visits: the verdict, and the evidence that leads from the readings to it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from app.shop.assessment.since_left import Change
from app.sync.engine.adjusters.registry import kind_called
from app.sync.engine.hardware import DOUBT, NINE_IN_TEN, Hardware
from app.sync.engine.layout import Layout, StopScrew
from app.sync.engine.linkage import IDLE_GAP, turns_for
from app.sync.engine.plate import gap_rate
from app.sync.engine.units import INCH, MM
from app.sync.slips.changes import log_changes
from app.sync.slips.creep import Creep
from app.sync.slips.slip_detection import (
    Bore,
    ConfoundedPair,
    Slip,
    SlipAssessment,
    SlipHypothesis,
    SlipVerdict,
    Suspect,
)
from app.sync.slips.slip_hypotheses import moves
from app.wording.message import say
from app.wording.names import begin
from app.wording.office import slips
from app.wording.office.intake import different
from app.wording.office.slips import grade, likely, percent, suspect_name
from app.wording.quantities import Unit, fraction, known, listed, named_bores

WORTH_SAYING = 0.05
"""Probability below which a suspect is not mentioned."""
SEEN = 2.0
"""Standard deviations beyond which a bore's own change is said to be more than the meter's repeatability."""
SIZE_DOUBT = 0.16
"""Standard deviation, as a fraction, of an angle worked out from a change of flow: the gain is a usual one (our
judgement). What hardware is estimated comes on top. A size is said as the range that holds in nine cases of ten."""
SMALLEST_TURN = 1 / 32
"""Turns of a screw that round to a sixteenth."""


@dataclass(frozen=True, slots=True)
class BoreLine:
    """One bore from as left to as found: readings in the meter's unit, changes in per cent.

    ``beyond`` is its change less what all bores did together, ``noise`` what the meter alone may do, twice its standard
    deviation; ``says`` is what follows from the two, ``seen`` marks a change beyond the noise.
    """

    bore: int
    left: str
    found: str
    change: str
    beyond: str
    noise: str
    seen: bool
    says: str


@dataclass(frozen=True, slots=True)
class SlipReport:
    """What slipped: the verdict in a line, how likely it is, and the evidence. ``look`` is what to do first."""

    title: str
    likely: str
    bores: tuple[BoreLine, ...]
    steps: tuple[str, ...]
    look: str
    sure: bool


@dataclass(frozen=True, slots=True)
class _BoreChange:
    """One bore's change: means in base units, changes of ln(flow), the standard deviation that the meter alone has."""

    bore: int
    left: float
    found: float
    change: float
    beyond: float
    sd: float
    explained: bool

    @property
    def seen(self) -> bool:
        """Whether it changed by more than the meter's repeatability."""
        return abs(self.beyond) > SEEN * self.sd


def slip_report(change: Change, unit: Unit, metric: bool = False) -> SlipReport:
    """What slipped since an engine was last left; readings in ``unit``, gaps in millimeters where ``metric``."""
    assessment = change.assessment
    if assessment is None or assessment.verdict is SlipVerdict.UNKNOWN:
        why = slips.NOT_COMPARABLE[change.why_not] if change.why_not else slips.NO_COMMON_BORE
        return SlipReport(say(slips.NOTHING_KNOWN), "", (), (say(why),), "", False)
    bores = _bore_changes(change)
    steps = [_common_change(change, _together(change, assessment)), _bores_beyond(bores)]
    steps += _hypotheses(change, assessment, metric)
    steps += [_confounded(one) for one in assessment.alike]
    steps += _doubts(change, assessment)
    title, probability = _title(assessment)
    return SlipReport(
        title,
        probability,
        tuple(_bore_line(one, unit) for one in bores),
        tuple(steps),
        _look(assessment),
        assessment.verdict is SlipVerdict.SLIPPED,
    )


def creep_report(creep: Creep, layout: Layout, first_visit: int) -> str:
    """What moves one way visit after visit."""
    message = slips.CREEPS_OPEN if creep.opening else slips.CREEPS_CLOSED
    bores = named_bores(moves(layout, creep.adjuster))
    return say(message, suspect=begin(suspect_name(creep.adjuster)), bores=bores, visit=first_visit)


def _title(assessment: SlipAssessment) -> tuple[str, str]:
    """The verdict, and how likely it is."""
    if assessment.verdict is SlipVerdict.QUIET:
        quiet = 1 - assessment.any_slip
        return say(slips.QUIET[grade(quiet)]), likely(quiet)
    any_slip = assessment.any_slip
    if assessment.named is not None:
        suspect = assessment.named.suspect
        probability = assessment.odds[suspect]
        how_sure = grade(probability)
        name = suspect_name(suspect)
        name = name if how_sure is slips.Grade.POSSIBLE else begin(name)
        title = say(slips.NAMED[how_sure], suspect=name)
        for also in assessment.named_with[1:]:
            probability = min(probability, assessment.odds[also.suspect])
            title = say(slips.NAMED_TOO[grade(probability)], title=title, suspect=suspect_name(also.suspect))
        return title, likely(probability)
    suspects = [suspect_name(one) for one in _likeliest(assessment)[:2]]
    if assessment.verdict is SlipVerdict.DOUBTFUL or not suspects:
        return say(slips.DOUBTFUL[grade(any_slip)]), likely(any_slip)
    either = suspects[0] if len(suspects) == 1 else say(slips.EITHER, one=suspects[0], other=suspects[1])
    return say(slips.SOMETHING[grade(any_slip)], suspects=either), likely(any_slip)


def _likeliest(assessment: SlipAssessment) -> list[Suspect]:
    return [s for s, odds in sorted(assessment.odds.items(), key=lambda one: -one[1]) if odds >= WORTH_SAYING]


def _best(assessment: SlipAssessment) -> SlipHypothesis | None:
    return assessment.hypotheses[0] if assessment.hypotheses else None


def _moved_by(layout: Layout, hypothesis: SlipHypothesis | None) -> set[int]:
    return {bore for slip in hypothesis.slips for bore in moves(layout, slip.suspect)} if hypothesis else set()


def _together(change: Change, assessment: SlipAssessment) -> float:
    """What all bores did together: the mean change of those that the most likely hypothesis leaves alone."""
    still = set(assessment.changes) - _moved_by(change.after.layout, _best(assessment)) or set(assessment.changes)
    return sum(assessment.changes[bore] for bore in still) / len(still)


@lru_cache(maxsize=4096)
def _bore_changes(change: Change) -> tuple[_BoreChange, ...]:
    """Every bore that was read both times, in the order of the layout."""
    assert change.assessment is not None
    assert change.before.left is not None
    assert change.after.found is not None
    assessment = change.assessment
    left, found = change.before.left.pooled, change.after.found.pooled
    bores, _, variances = log_changes(
        change.after.layout,
        left,
        found,
        change.after.meter,
        change.hot,
        change.before.meter,
        change.sharing,
    )
    moved, together = _moved_by(change.after.layout, _best(assessment)), _together(change, assessment)
    return tuple(
        _BoreChange(
            bore=bore,
            left=change.after.meter.turned(change.before.meter.turned(left[bore].mean)),
            found=found[bore].mean,
            change=assessment.changes[bore],
            beyond=assessment.changes[bore] - together,
            sd=variance**0.5,
            explained=bore in moved,
        )
        for bore, variance in zip(bores, variances.tolist(), strict=True)
    )


def _bore_line(one: _BoreChange, unit: Unit) -> BoreLine:
    says = slips.MOVED_BY_IT if one.explained else slips.BEYOND_METER if one.seen else None
    return BoreLine(
        bore=one.bore,
        left=unit.show(one.left),
        found=unit.show(one.found),
        change=percent(one.change),
        beyond=percent(one.beyond),
        noise=say(slips.NOISE, change=f"{100 * SEEN * one.sd:.1f}"),
        seen=one.seen,
        says=say(says) if says else "",
    )


def _common_change(change: Change, together: float) -> str:
    if not change.same_meter:
        other_meter = say(slips.COMMON_OTHER_METER, change=percent(together))
        other = different(change.before.intake, change.after.intake) if change.other_intake else ""
        return f"{other_meter} {other}".rstrip()
    if change.other_intake:
        other = different(change.before.intake, change.after.intake)
        return say(slips.COMMON_OTHER_INTAKE, change=percent(together), other=other)
    if change.common is not None:
        return say(slips.COMMON_EXPLAINED, change=percent(together), explained=percent(change.common))
    return say(slips.COMMON_UNEXPLAINED, change=percent(together))


def _bores_beyond(bores: Sequence[_BoreChange]) -> str:
    seen = tuple(one.bore for one in bores if one.seen)
    return say(slips.BORES_BEYOND, bores=named_bores(seen)) if seen else say(slips.NO_BORE_BEYOND)


def _hypotheses(change: Change, assessment: SlipAssessment, metric: bool) -> list[str]:
    """The most likely hypothesis, and the next suspects."""
    best = _best(assessment)
    if best is None:
        return []
    said = []
    if not best.slips and best.misread is None:
        said.append(say(slips.NOTHING_MOVED, likely=likely(best.odds)))
    elif not best.slips:
        said.append(say(slips.ONE_MISREAD, bore=best.misread, likely=likely(best.odds)))
    together = len(best.slips) > 1
    if together:
        said.append(say(slips.SLIPPED_TOGETHER, suspects=_names(best), likely=likely(best.odds)))
    said += [_slip(change, slip, None if together else assessment.odds[slip.suspect], metric) for slip in best.slips]
    if others := [_with_likely(_names(one), one.odds) for one in _instead(assessment)]:
        said.append(say(slips.OTHERWISE, suspects=", ".join(others)))
    return said


def _instead(assessment: SlipAssessment) -> list[SlipHypothesis]:
    """The next likely hypotheses that share no suspect with the best: odds of these and of it add up to 1 at most."""
    best, *others = assessment.hypotheses
    named = {slip.suspect for slip in best.slips}
    apart = [one for one in others if one.slips and named.isdisjoint(slip.suspect for slip in one.slips)]
    return [one for one in apart if one.odds >= WORTH_SAYING][:2]


def _names(hypothesis: SlipHypothesis) -> str:
    return listed([suspect_name(slip.suspect) for slip in hypothesis.slips])


def _with_likely(what: str, probability: float) -> str:
    return say(slips.WITH_LIKELY, what=what, likely=likely(probability))


def _slip(change: Change, slip: Slip, probability: float | None, metric: bool) -> str:
    """How far a slip went, in per cent of flow, and as a gap or turns at the usual idle opening."""
    size = _size(change, slip, metric)
    opened, closed = (slips.OPENED_BY, slips.CLOSED_BY) if size else (slips.OPENED, slips.CLOSED)
    name = begin(suspect_name(slip.suspect))
    return say(
        opened if slip.change > 0 else closed,
        suspect=name if probability is None else say(slips.SLIPPED_LIKELY, suspect=name, likely=likely(probability)),
        bores=named_bores(moves(change.after.layout, slip.suspect)),
        flow=known(100 * slip.change, 100 * slip.sd, 0),
        sd=known(100 * slip.sd, 100 * slip.sd, 0),
        size=size,
    )


def _size(change: Change, slip: Slip, metric: bool) -> str:
    """A slip as turns of its stop screw, or as a change of the edge gap; empty where neither says anything."""
    hardware = change.after.hardware
    if isinstance(slip.suspect, StopScrew):
        turned = abs(turns_for(slip.rotation, hardware))
        if turned < SMALLEST_TURN:
            return ""
        doubt = _doubt(slip, hardware, "closed_angle", "stop_pitch", "stop_lever")
        low, high = (round(16 * turned * (1 + sign * doubt)) / 16 for sign in (-1, 1))
        return say(slips.TURN if high <= 1 else slips.TURNS, turns=_between(max(low, 0.0), high))
    if not isinstance(slip.suspect, Bore) and kind_called(slip.suspect).effect == "lets air past":
        return ""
    gap = abs(slip.rotation) * gap_rate(IDLE_GAP, hardware.bore_diameter.value, hardware.closed_angle.value)
    doubt = _doubt(slip, hardware, "closed_angle", "bore_diameter")
    step, places = (0.01 * MM, 2) if metric else (0.0005 * INCH, 4)
    low, high = math.floor(max(0.0, gap * (1 - doubt)) / step) * step, math.ceil(gap * (1 + doubt) / step) * step
    unit, size = (slips.MILLIMETERS, MM) if metric else (slips.INCHES, INCH)
    return say(unit, low=f"{low / size:.{places}f}", high=f"{high / size:.{places}f}")


def _doubt(slip: Slip, hardware: Hardware, *figures: str) -> float:
    """How far the size of a slip may be off in nine cases of ten, as a fraction, by those figures of the hardware."""
    doubts = [SIZE_DOUBT, slip.sd / slip.change]
    doubts += [
        DOUBT[name] / NINE_IN_TEN / getattr(hardware, name).value for name in figures if name in hardware.estimated()
    ]
    return NINE_IN_TEN * math.hypot(*doubts)


def _between(low: float, high: float) -> str:
    """Turns as a range, or as one figure where both ends are the same sixteenth."""
    if fraction(low) == fraction(high) or not low:
        return fraction(high)
    return say(slips.BETWEEN, low=fraction(low), high=fraction(high))


def _confounded(pair: ConfoundedPair) -> str:
    named = {
        "one": suspect_name(pair.one),
        "other": suspect_name(pair.other),
        "test": say(slips.TESTS[pair.told_by]),
    }
    if not pair.also:
        return say(slips.CONFOUNDED, **named)
    return say(slips.CONFOUNDED_ALSO, also=listed([suspect_name(one) for one in pair.also]), **named)


def _doubts(change: Change, assessment: SlipAssessment) -> list[str]:
    said = []
    misread = {bore: odds for bore, odds in assessment.misread.items() if odds >= WORTH_SAYING}
    if misread:
        named = [_with_likely(named_bores((bore,)), odds) for bore, odds in misread.items()]
        said.append(say(slips.POSSIBLY_MISREAD, bores=", ".join(named)))
    if not change.hot:
        said.append(say(slips.NOT_HOT))
    if not change.same_fitting:
        said.append(say(slips.OTHER_HARDWARE))
    return said


def _look(assessment: SlipAssessment) -> str:
    """What to do first at the engine."""
    values: dict[str, str] = {}
    if assessment.reread:
        values["bores"] = named_bores(tuple(sorted(assessment.reread)))
    if assessment.verdict is SlipVerdict.QUIET:
        return say(slips.REREAD_ONLY if values else slips.NO_SUSPECT, **values)
    reread = bool(values)
    first = _likeliest(assessment)[:1]
    if first:
        values["suspect"] = suspect_name(first[0])
    if reread:
        return say(slips.REREAD_THEN_CHECK if first else slips.REREAD_THEN_LAST, **values)
    if assessment.verdict is SlipVerdict.DOUBTFUL:
        return say(slips.ROUND_THEN_CHECK if first else slips.ROUND_THEN_LAST, **values)
    return say(slips.CHECK_NOW if first else slips.CHECK_LAST_NOW, **values)
