"""What slipped since last time: as left against as found, explained by the fewest adjusters.

A bore's change is ln(found / left). A slipped stop screw lifts or lowers a whole bank, a slipped coupler its far bore
and all beyond, a screw of one bore that bore alone, another day's air all bores alike, and one misread value a single
bore until it is read again. Every hypothesis of at most three such things is weighed against the changes (see
``slip_hypotheses``); what is said follows its probability.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.adjusters.kind import ToldBy
from app.sync.engine.adjusters.registry import kind_at, moved_bores, own_screw, own_screws
from app.sync.engine.events import Meter
from app.sync.engine.layout import Coupler, Layout, Link, StopScrew
from app.sync.slips.changes import Conditions, Floats, Pooled, expected_common, log_changes, no_slip_covariance, pool
from app.sync.slips.slip_hypotheses import COUNT_ODDS, Bore, HypothesisFit, Suspect

__all__ = [
    "Bore",
    "Conditions",
    "ConfoundedPair",
    "Pooled",
    "Slip",
    "SlipAssessment",
    "SlipHypothesis",
    "SlipVerdict",
    "Suspect",
    "ToldBy",
    "expected_common",
    "pool",
    "slipped",
]

# Chances that anything slipped: from which more readings are worth while, and what is said of it. In simulation one
# quiet visit in twenty reaches the second and one in three hundred the third. A suspect is named from the fourth.
LOOK_FROM, DOUBTFUL_FROM, SLIPPED_FROM = 0.08, 0.27, 0.85  # our judgement
NAMED_FROM, SETTLED_FROM, UNLIKELY_BELOW = 0.7, 0.9, 0.2  # our judgement
REREADS, TOLD = 4, 5  # our judgement
MISREAD = 0.01  # odds against one reading that was never repeated, or against two that outvoted a third; our judgement
# A slip of 10 % that moves the evidence by less than one sigma is not told apart; our judgement.
SLIP_TO_TELL, TOLD_APART = 0.10, 1.0
USUAL_GAIN = 20.0  # ln(flow) per radian at idle, until it was learned on the engine; our judgement


class SlipVerdict(StrEnum):
    """Whether anything slipped. Programs rely on the values."""

    UNKNOWN = "unknown"
    """No bore was read both times."""
    QUIET = "quiet"
    DOUBTFUL = "doubtful"
    SLIPPED = "slipped"


@dataclass(frozen=True, slots=True)
class Slip:
    """One thing that slipped in a hypothesis: change of ln(flow) with its error, positive when it opened.

    ``rotation`` is the same as an angle of the plates [rad].
    """

    suspect: Suspect
    change: float
    sd: float
    rotation: float


@dataclass(frozen=True, slots=True)
class SlipHypothesis:
    """A set of slips that may explain the changes, with its odds. No slips: nothing moved.

    ``misread`` is the bore of which this hypothesis holds one value to be wrong, if it does.
    """

    slips: tuple[Slip, ...]
    odds: float
    misread: int | None = None


@dataclass(frozen=True, slots=True)
class ConfoundedPair:
    """Two suspects that a round at idle cannot tell apart, and what can.

    ``also`` must have slipped with ``other``, by as much and the other way, to look like ``one``.
    """

    one: Suspect
    other: Suspect
    told_by: ToldBy
    also: tuple[Suspect, ...] = ()


@dataclass(frozen=True, slots=True)
class SlipAssessment:
    """What slipped, how sure that is, and what to read again.

    any_slip
        Chance that anything slipped at all.
    odds
        Chance per suspect that it is among what slipped.
    named, runner_up
        The slip to name, only when something slipped and this one is more likely than not, and the next best suspect.
    hypotheses
        The most likely hypotheses, best first.
    reread
        Bores whose re-reading would settle most, best first; empty when nothing is in doubt.
    alike
        When something slipped, what the likeliest suspect cannot be told from by any round at idle.
    changes
        ln(found / left) per bore that was read both times.
    between
        The two hypotheses that the first re-reading would tell apart best.
    misread
        Chance per bore, where there is any, that one of its values was misread.
    """

    verdict: SlipVerdict
    any_slip: float
    odds: Mapping[Suspect, float]
    named: Slip | None
    runner_up: Suspect | None
    hypotheses: tuple[SlipHypothesis, ...]
    reread: tuple[int, ...]
    alike: tuple[ConfoundedPair, ...]
    changes: Mapping[int, float]
    between: tuple[SlipHypothesis, SlipHypothesis] | None
    misread: Mapping[int, float]

    @property
    def named_with(self) -> tuple[Slip, ...]:
        """The slip to name, and what else the likeliest hypothesis holds to have slipped, each more likely than not."""
        if self.named is None or not self.hypotheses:
            return ()
        first = self.named.suspect
        also = [s for s in self.hypotheses[0].slips if s.suspect != first and self.odds.get(s.suspect, 0.0) > 0.5]
        return (self.named, *also)


def slipped(
    layout: Layout,
    left: Mapping[int, Pooled],
    found: Mapping[int, Pooled],
    meter: Meter,
    same_meter: bool,
    heat_soaked: bool = True,
    expected_common: float | None = 0.0,
    gain: float | None = None,
    left_sound: bool = False,
    left_meter: Meter | None = None,
    sharing: float | None = None,
) -> SlipAssessment:
    """The hypotheses that explain the change from as left to as found, with their odds.

    Parameters: ``layout`` of the engine; ``left`` and ``found`` pooled readings per bore (see ``pool``), the round's
    trend removed; ``meter``, ``left_meter`` and ``sharing`` as for ``changes.log_changes``; ``same_meter`` False when
    two were used, whose scales may differ by any factor; ``heat_soaked`` False when one of the rounds was not
    taken hot; ``expected_common`` change of ln(flow) from air and speed, None when it is not known, which leaves what
    all bores share free; ``gain`` [1/rad] learned at idle on this engine; ``left_sound`` where no reading as left can
    be misread, as the bores were even by them.

    Source: Bayesian comparison of hypotheses; sizes and odds from a simulated engine.

    >>> from app.sync.engine.layout import Bank
    >>> four = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
    >>> left = {bore: Pooled(6.5 / 3600, 3) for bore in four.bores}
    >>> found = {1: Pooled(6.5 / 3600, 2), 2: Pooled(6.5 / 3600, 2), 3: Pooled(5.5 / 3600, 2), 4: Pooled(5.5 / 3600, 2)}
    >>> slipped(four, left, found, Meter(), same_meter=True).named.suspect
    Coupler(near=2, far=3)
    """
    bores, changes, variances = log_changes(layout, left, found, meter, heat_soaked, left_meter, sharing)
    if not bores:
        return SlipAssessment(SlipVerdict.UNKNOWN, 1 - COUNT_ODDS[0], {}, None, None, (), (), (), {}, None, {})
    quiet = no_slip_covariance(variances, same_meter and expected_common is not None)
    doubts = _misreads(bores, (found,) if left_sound else (left, found))
    fit = HypothesisFit(layout, bores, changes - (expected_common or 0.0), variances, quiet, doubts)
    any_slip, odds = fit.any_slip(), fit.odds()
    ranked = sorted(odds, key=lambda suspect: -odds[suspect])
    best = fit.best(TOLD)
    hypotheses = tuple(_hypothesis(fit, at, bores, USUAL_GAIN if gain is None else gain) for at in best)
    verdict = _verdict_of(any_slip)
    sure = verdict is SlipVerdict.SLIPPED and odds[ranked[0]] >= NAMED_FROM
    named = _slip_of(ranked[0], hypotheses) if sure else None
    open_questions = any(UNLIKELY_BELOW <= chance < SETTLED_FROM for chance in odds.values())
    settled = any_slip < LOOK_FROM or (verdict is SlipVerdict.SLIPPED and not open_questions)
    asked = _asked(fit, bores, variances, found, settled)
    return SlipAssessment(
        verdict=verdict,
        any_slip=any_slip,
        odds=odds,
        named=named,
        runner_up=ranked[1] if len(ranked) > 1 else None,
        hypotheses=hypotheses,
        reread=tuple(bores[at] for at in asked),
        alike=_alike(layout, fit, ranked[0], same_meter) if verdict is SlipVerdict.SLIPPED else (),
        changes=dict(zip(bores, changes.tolist(), strict=True)),
        between=_between(fit, best, hypotheses, asked[0]) if asked else None,
        misread=_misread_chances(fit, bores, left, found),
    )


def _asked(
    fit: HypothesisFit, bores: tuple[int, ...], variances: Floats, found: Mapping[int, Pooled], settled: bool
) -> tuple[int, ...]:
    """The places of the bores to read again, those whose readings contradict first; none once all is ``settled``."""
    contradicted = np.array([not found[bore].agreed for bore in bores])
    if settled and not contradicted.any():
        return ()
    order = np.lexsort((-_reread_scores(fit, variances, np.array([found[bore].n for bore in bores])), ~contradicted))
    return tuple(int(at) for at in order[:REREADS])


def _misread_chances(
    fit: HypothesisFit, bores: tuple[int, ...], left: Mapping[int, Pooled], found: Mapping[int, Pooled]
) -> Mapping[int, float]:
    """Chance per bore, where there is any, that one of its values was misread: sure where they contradict."""
    misread = np.maximum(fit.misread(), [not (left[bore].agreed and found[bore].agreed) for bore in bores])
    return {bore: float(chance) for bore, chance in zip(bores, misread, strict=True) if chance > 0}


def _verdict_of(any_slip: float) -> SlipVerdict:
    if any_slip < DOUBTFUL_FROM:
        return SlipVerdict.QUIET
    return SlipVerdict.SLIPPED if any_slip >= SLIPPED_FROM else SlipVerdict.DOUBTFUL


def _slip_of(suspect: Suspect, hypotheses: Sequence[SlipHypothesis]) -> Slip | None:
    """The slip of a suspect in the most likely hypothesis that has one."""
    return next((slip for hypothesis in hypotheses for slip in hypothesis.slips if slip.suspect == suspect), None)


def _misreads(bores: Sequence[int], doubted: Sequence[Mapping[int, Pooled]]) -> Mapping[int, float]:
    """Odds per bore against a sound reading of it, where one misread value may hide."""
    return {bore: MISREAD * sum(one[bore].thin for one in doubted) for bore in bores}


def _hypothesis(fit: HypothesisFit, at: int, bores: tuple[int, ...], gain: float) -> SlipHypothesis:
    slips = []
    for suspect in fit.slipped(at):
        change, sd = fit.size(at, suspect)
        slips.append(Slip(fit.suspects[suspect], change, sd, change / gain))
    wrong = fit.misread_in(at)
    return SlipHypothesis(
        tuple(slips), fit.hypothesis_probability(fit.slipped(at)), None if wrong is None else bores[wrong]
    )


def _reread_scores(fit: HypothesisFit, variances: Floats, counts: NDArray[np.int64]) -> Floats:
    """How much the hypotheses disagree on each bore, for what one more reading takes off its noise."""
    scores: Floats = fit.disagreement() * (1 / counts - 1 / (counts + 1)) / variances
    return scores


def _between(
    fit: HypothesisFit, best: list[int], hypotheses: tuple[SlipHypothesis, ...], bore: int
) -> tuple[SlipHypothesis, SlipHypothesis] | None:
    """The likeliest hypothesis, and the one that a reading of this bore would set apart from it for most odds."""
    if len(best) < 2:
        return None
    apart = [
        (fit.fitted[at, bore] - fit.fitted[best[0], bore]) ** 2 * hypothesis.odds
        for at, hypothesis in zip(best, hypotheses, strict=True)
    ]
    return hypotheses[0], hypotheses[int(np.argmax(apart[1:])) + 1]


def _alike(layout: Layout, fit: HypothesisFit, named: Suspect, same_meter: bool) -> tuple[ConfoundedPair, ...]:
    """What cannot be told from the named suspect at idle, with what would tell them apart."""
    column = fit.columns[:, fit.suspects.index(named)]
    found = []
    for at, other in enumerate(fit.suspects):
        theirs = fit.columns[:, at]
        if other == named or not theirs.any():
            continue
        # Distance between a slip of the one and the best-fitting slip of the other.
        towards = fit.quiet_precision @ theirs
        gap = column - theirs * float(towards @ column) / float(towards @ theirs)
        if SLIP_TO_TELL * math.sqrt(float(gap @ fit.quiet_precision @ gap)) < TOLD_APART:
            found.append(ConfoundedPair(named, other, _told_by(layout, named, other, same_meter)))
    if isinstance(named, Coupler) and len(moved_bores(layout, named)) == 1:
        if (own := own_screw(layout, named.far)) is not None:
            found.append(ConfoundedPair(named, own, kind_at(layout, own).told_apart_by))
        found.append(ConfoundedPair(named, Bore(named.far), ToldBy.BORE_CHECK))
    if (bore := _alone(layout, named)) is not None:
        told_by = _told_by(layout, named, named, same_meter)
        if not isinstance(named, Bore):
            found.append(ConfoundedPair(named, Bore(bore), told_by))
        if len(layout.bank_of(bore).shaft(bore)) == 1:
            holder, *beyond = _holders(layout, bore)
            found.append(ConfoundedPair(named, holder, told_by, tuple(beyond)))
    if isinstance(named, StopScrew) and len(layout.banks) > 1:
        found.append(ConfoundedPair(named, Link(named.bank), ToldBy.STOP_TEST))
    return tuple(found)


def _holders(layout: Layout, bore: int) -> tuple[StopScrew | Coupler, ...]:
    """The adjuster that carries a bore and all beyond it, then the couplers that carry those beyond it."""
    bank = layout.bank_of(bore)
    into: list[StopScrew | Coupler] = [coupler for coupler in bank.couplers() if coupler.far == bore]
    beyond = [coupler for coupler in bank.couplers() if coupler.near == bore]
    return (*(into or [StopScrew(bank.name)]), *beyond)


def _alone(layout: Layout, suspect: Suspect) -> int | None:
    """The bore of a suspect that is a bore itself, or a screw of it alone."""
    if isinstance(suspect, Bore):
        return suspect.bore
    bores = moved_bores(layout, suspect) if suspect in own_screws(layout) else ()
    return bores[0] if len(bores) == 1 else None


def _told_by(layout: Layout, one: Suspect, other: Suspect, same_meter: bool) -> ToldBy:
    if isinstance(one, StopScrew) and isinstance(other, StopScrew):
        return ToldBy.STOP_MARKS if same_meter else ToldBy.SAME_METER
    for suspect in (one, other):
        if not isinstance(suspect, Bore) and suspect in own_screws(layout):
            return kind_at(layout, suspect).told_apart_by
    if isinstance(one, Bore) or isinstance(other, Bore):
        return ToldBy.BORE_CHECK
    return ToldBy.REREAD
