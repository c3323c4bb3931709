"""What slipped between two visits, in words that lead from the readings to the verdict."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from app.shop.queries.engine_history import Change
from app.sync.engine.layout import Bypass, Coupler, Layout, Link, OtherScrew, StopScrew
from app.sync.engine.linkage import IDLE_GAP, turns_for
from app.sync.engine.plate import gap_rate
from app.sync.engine.units import MM, THOU
from app.sync.slips.changes import log_changes
from app.sync.slips.creep import Creep
from app.sync.slips.slip_detection import Bore, ConfoundedPair, Slip, SlipAssessment, SlipHypothesis, Suspect
from app.sync.slips.slip_hypotheses import moves
from app.wording.quantities import Unit, named_bores, signed, turns_in_words

WORTH_SAYING = 0.05
"""Odds below which a suspect is not mentioned."""
SEEN = 2.0
"""Standard deviations beyond which a bore's own change is said to be more than the meter's repeatability."""

TOLD_BY: Mapping[str, str] = {
    "stop_marks": "the marks on both stop screws, the throttle sensor's voltage, or a round off idle",
    "same_meter": "the meter of the last visit",
    "bore_check": "a look at the bore itself: leak test, then wipe the plate",
    "bypass_count": "the turns of its bypass screw, counted down to the seat and back, against those recorded",
    "stop_test": "backing the stop screw out an eighth: a bank that does not follow hangs on its link",
    "reread": "reading the bores between them once more",
}


@dataclass(frozen=True, slots=True)
class BoreLine:
    """One bore from as left to as found: readings in the meter's unit, changes in per cent.

    ``beyond`` is its change less what all bores did together, ``noise`` what the meter alone may do, twice its standard
    deviation; ``seen`` marks a change beyond that, ``explained`` a bore that the likeliest story moves.
    """

    bore: int
    left: str
    found: str
    change: str
    beyond: str
    noise: str
    seen: bool
    explained: bool


@dataclass(frozen=True, slots=True)
class SlipReport:
    """What slipped: the verdict in a line, its odds, and the steps that led there. ``look`` is what to do first."""

    title: str
    odds: str
    bores: tuple[BoreLine, ...]
    steps: tuple[str, ...]
    look: str
    sure: bool


@lru_cache(maxsize=4096)
def slip_report(change: Change, unit: Unit) -> SlipReport:
    """The words for one change since an engine was left."""
    assessment, layout = change.assessment, change.after.layout
    if assessment is None or assessment.verdict == "unknown":
        return SlipReport("Nothing can be said", "", (), (change.why_not or "No bore was read both times.",), "", False)
    together = _together(change, assessment)
    lines = _bores(change, assessment, together, unit)
    steps = [_step_common(change, together), _step_bores(lines), *_step_stories(change, assessment)]
    steps += [_alike(one) for one in assessment.alike]
    steps += _doubts(change, assessment)
    title, odds = _title(assessment)
    return SlipReport(
        title, odds, lines, tuple(filter(None, steps)), _look(assessment, layout), assessment.verdict == "slipped"
    )


def suspect_name(suspect: Suspect) -> str:
    """A suspect by its usual name: coupler 2–3, stop screw A, bore 3 itself."""
    match suspect:
        case Coupler(near, far):
            return f"coupler {near}–{far}"
        case StopScrew(bank):
            return f"stop screw {bank}"
        case Bypass(bore):
            return f"bypass screw {bore}"
        case OtherScrew(kind, bore):
            return f"{kind} {bore}"
        case Link(bank):
            return f"link {bank}"
        case Bore(bore):
            return f"bore {bore} itself"


def chances(odds: float) -> str:
    """Odds as a person says them, never surer than 99 in 100.

    >>> chances(0.9996), chances(0.9), chances(0.004)
    ('99 in 100', '90 in 100', 'under 1 in 100')
    """
    return "under 1 in 100" if odds < 0.01 else f"{min(99, round(100 * odds))} in 100"


def percent(change: float) -> str:
    """A change as per cent with its sign; nothing is never negative.

    >>> percent(0.1234), percent(-0.1234), percent(-0.0001)
    ('+12.3 %', '−12.3 %', '0.0 %')
    """
    return f"{signed(100 * change, 1)} %"


def creeping_words(creep: Creep, layout: Layout, first_visit: int) -> str:
    """What goes one way visit after visit."""
    followers = named_bores(moves(layout, creep.adjuster))
    way = "wide" if creep.opening else "tight"
    return (
        f"{_capital(suspect_name(creep.adjuster))} creeps: since visit {first_visit} {followers} went {way} little by "
        "little, each time by no more than one visit can tell. Look for what works loose there."
    )


def _title(assessment: SlipAssessment) -> tuple[str, str]:
    if assessment.named is not None:
        odds = assessment.odds[assessment.named.suspect]
        return f"{_capital(suspect_name(assessment.named.suspect))} slipped", chances(odds)
    if assessment.verdict == "slipped":
        likeliest = " or ".join(suspect_name(one) for one in _likeliest(assessment)[:2])
        return f"Something slipped: {likeliest}", chances(assessment.any_slip)
    if assessment.verdict == "doubtful":
        return "Something may have slipped", chances(assessment.any_slip)
    return "Nothing slipped", chances(1 - assessment.any_slip)


def _likeliest(assessment: SlipAssessment) -> list[Suspect]:
    return [s for s, odds in sorted(assessment.odds.items(), key=lambda one: -one[1]) if odds >= WORTH_SAYING]


def _best(assessment: SlipAssessment) -> SlipHypothesis | None:
    return assessment.hypotheses[0] if assessment.hypotheses else None


def _moved_by(layout: Layout, assessment: SlipHypothesis | None) -> set[int]:
    return {bore for slip in assessment.slips for bore in moves(layout, slip.suspect)} if assessment else set()


def _together(change: Change, assessment: SlipAssessment) -> float:
    """What all bores did together: the mean change of those that the likeliest story leaves alone."""
    still = set(assessment.changes) - _moved_by(change.after.layout, _best(assessment)) or set(assessment.changes)
    return sum(assessment.changes[bore] for bore in still) / len(still)


def _bores(change: Change, assessment: SlipAssessment, together: float, unit: Unit) -> tuple[BoreLine, ...]:
    assert change.before.left is not None
    assert change.after.found is not None
    left, found = change.before.left.pooled, change.after.found.pooled
    bores, _, variances = log_changes(change.after.layout, left, found, change.after.meter, change.hot)
    noise = dict(zip(bores, variances.tolist(), strict=True))
    moved = _moved_by(change.after.layout, _best(assessment))
    lines = []
    for bore in bores:
        sd, beyond = noise[bore] ** 0.5, assessment.changes[bore] - together
        lines.append(
            BoreLine(
                bore=bore,
                left=f"{left[bore].mean / unit.size:.{unit.decimals}f}",
                found=f"{found[bore].mean / unit.size:.{unit.decimals}f}",
                change=percent(assessment.changes[bore]),
                beyond=percent(beyond),
                noise=f"±{100 * SEEN * sd:.1f} %",
                seen=abs(beyond) > SEEN * sd,
                explained=bore in moved,
            )
        )
    return tuple(lines)


def _step_common(change: Change, together: float) -> str:
    amount = f"All bores together changed by {percent(together)}"
    if not change.same_meter:
        return f"{amount}. Another meter was used, so that says nothing about the engine."
    if change.common is not None:
        return f"{amount}; air and idle speed explain {percent(change.common)}."
    return f"{amount}: air, idle speed or the meter's own scale, which nobody can tell apart without the day's air."


def _step_bores(lines: Sequence[BoreLine]) -> str:
    seen = [line.bore for line in lines if line.seen]
    if not seen:
        return "Beyond that no bore changed by more than the meter repeats within."
    return f"Beyond that {named_bores(seen)} changed by more than the meter repeats within."


def _step_stories(change: Change, assessment: SlipAssessment) -> list[str]:
    best, layout = _best(assessment), change.after.layout
    if best is None:
        return []
    said = []
    if not best.slips and best.misread is None:
        said.append(f"The likeliest story is that nothing moved: {chances(best.odds)}.")
    elif not best.slips:
        said.append(f"The likeliest story is one misread value at bore {best.misread}: {chances(best.odds)}.")
    for slip in best.slips:
        followers = named_bores(moves(layout, slip.suspect))
        said.append(
            f"{_capital(suspect_name(slip.suspect))} moves {followers}: {_amount(change, slip)} "
            f"({chances(assessment.odds[slip.suspect])})."
        )
    others = [s for s in _likeliest(assessment) if s not in {slip.suspect for slip in best.slips}]
    if others:
        named = ", ".join(f"{suspect_name(s)} ({chances(assessment.odds[s])})" for s in others[:2])
        said.append(f"Next best: {named}.")
    return said


def _amount(change: Change, slip: Slip) -> str:
    """How far a slip went, in per cent of flow, and as a gap or turns at the usual idle opening."""
    way = "wider" if slip.change > 0 else "tighter"
    flow = f"{100 * abs(slip.change):.0f} % {way}, give or take {100 * slip.sd:.0f}"
    hardware = change.after.hardware
    if isinstance(slip.suspect, StopScrew):
        return f"{flow}, about {turns_in_words(abs(turns_for(slip.rotation, hardware)))} of the screw"
    if isinstance(slip.suspect, Bypass):
        return flow
    per_radian = gap_rate(IDLE_GAP, hardware.bore_diameter.value, hardware.closed_angle.value)
    gap = abs(slip.rotation) * per_radian
    return f"{flow}, about {gap / THOU:.1f} thou ({gap / MM:.2f} mm)"


def _alike(one: ConfoundedPair) -> str:
    also = "".join(f" with {suspect_name(other)} going the other way" for other in one.also)
    return (
        f"A round at idle cannot tell {suspect_name(one.one)} from {suspect_name(one.other)}{also}. "
        f"What can: {TOLD_BY[one.told_by]}."
    )


def _doubts(change: Change, assessment: SlipAssessment) -> list[str]:
    said = []
    misread = {bore: odds for bore, odds in assessment.misread.items() if odds >= WORTH_SAYING}
    if misread:
        named = ", ".join(f"bore {bore} ({chances(odds)})" for bore, odds in misread.items())
        said.append(f"A value may be misread: {named}.")
    if not change.hot:
        said.append("One of the two rounds was not taken heat-soaked, so every bore may have strayed by itself.")
    if not change.same_fitting:
        said.append("What is fitted was recorded anew in between: a change may come from that.")
    return said


def _look(assessment: SlipAssessment, layout: Layout) -> str:
    reread = f"Read {named_bores(sorted(assessment.reread))} once more" if assessment.reread else ""
    if assessment.verdict == "quiet":
        return f"{reread}; nothing else stands out." if reread else "Nothing stands out: read on as usual."
    first = _likeliest(assessment)[:1]
    named = suspect_name(first[0]) if first else "what was set last"
    if assessment.verdict == "doubtful":
        return f"{reread or 'Read one more round'} before anything is believed; then look at {named}."
    return f"{reread}, then look at {named}." if reread else f"Look at {named} before anything is turned."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
