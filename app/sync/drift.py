"""What slipped since last time: as left against as found, explained by the fewest adjusters.

A bore's change is ln(found / left). A slipped stop screw lifts or lowers a whole bank, a slipped coupler its far bore
and all beyond, another day's air all bores alike. Every story of at most three things that slipped is weighed against
the changes; each has a closed-form likelihood, because slips, the common change and noise are all taken as Gaussian.
"""

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.sync.air import ATMOSPHERE, pressure_sensitivity
from app.sync.events import Meter
from app.sync.layout import Adjuster, Coupler, Layout, Link, StopScrew
from app.sync.linkage import moved_bores

Floats = NDArray[np.float64]

# Sizes as they stood best in simulation; the odds they give were right or slightly modest there.
SLIP_SPREAD = 0.08  # of ln(flow)
COUNT_ODDS = (0.75, 0.17, 0.06, 0.02)  # that none, one, two or three things slipped
BORE_SHARE = 0.25  # how likely the bore itself is, against one coupler
COMMON_SPREAD, COMMON_FREE = 0.015, 1.0  # same meter, another meter
AGEING, NOT_SOAKED = 0.007, 0.03
DOUBTFUL_FROM, SLIPPED_FROM, NAMED_FROM, SURE_FROM = 0.27, 0.75, 0.5, 0.9
REREADS = 4
SLIP_TO_TELL, TOLD_APART = 0.10, 1.0  # a slip of 10 % that moves the evidence by less than one sigma is not told apart

USUAL_GAIN = 20.0  # ln(flow) per radian at idle, until it was learned on the engine
# Runner pressure changes by 0.545 % for 1 % of a bore's flow in simulation; to be learned from moves.
PRESSURE_PER_FLOW = 0.545
IDLE_RATIO = 0.674  # runner over ambient pressure at 33 kPa of vacuum, within the published 15 to 40 kPa

Verdict = Literal["unknown", "quiet", "doubtful", "slipped"]
ToldBy = Literal["stop_marks", "same_meter", "bore_check", "stop_test", "reread"]


@dataclass(frozen=True, slots=True)
class Bore:
    """The bore itself: dirt, a leak or a loose plate, rather than an adjuster."""

    bore: int


Suspect = Adjuster | Bore


@dataclass(frozen=True, slots=True)
class Pooled:
    """All readings of one bore taken together: their mean [kg/s, or Pa of vacuum] and how many there were."""

    mean: float
    n: int


@dataclass(frozen=True, slots=True)
class Conditions:
    """Air and speed of a visit's round: ``pressure`` [Pa], ``temperature`` [K], idle ``speed`` [rev/s]."""

    pressure: float
    temperature: float
    speed: float


@dataclass(frozen=True, slots=True)
class Slip:
    """One thing that slipped in a story: change of ln(flow) with its error, positive when it opened.

    ``rotation`` is the same as an angle of the plates [rad].
    """

    suspect: Suspect
    change: float
    sd: float
    rotation: float


@dataclass(frozen=True, slots=True)
class Story:
    """A set of slips that may explain the changes, with its odds. No slips: nothing moved."""

    slips: tuple[Slip, ...]
    odds: float


@dataclass(frozen=True, slots=True)
class Alike:
    """Two suspects that a round at idle cannot tell apart, and what can.

    told_by
        ``stop_marks`` (paint marks on both stop screws, the throttle sensor, or an off-idle round), ``same_meter`` (the
        meter of the last visit), ``bore_check`` (a leak test, a wipe of the plate), ``stop_test`` (back the stop out an
        eighth of a turn and see whether the bank follows), ``reread`` (the bores between them once more).
    """

    one: Suspect
    other: Suspect
    told_by: ToldBy


@dataclass(frozen=True, slots=True)
class DriftStory:
    """What slipped, how sure that is, and what to read again.

    verdict
        ``unknown`` (no bore read both times), ``quiet``, ``doubtful``, or ``slipped``.
    any_slip
        Chance that anything slipped at all.
    odds
        Chance per suspect that it is among what slipped.
    named, runner_up
        The slip to name, only when something slipped and this one is more likely than not, and the next best suspect.
    stories
        The most likely stories, best first.
    reread
        Bores whose re-reading would settle most, best first; empty when nothing is in doubt.
    alike
        Suspects the named one cannot be told from by any round at idle.
    changes
        ln(found / left) per bore that was read both times.
    """

    verdict: Verdict
    any_slip: float
    odds: Mapping[Suspect, float]
    named: Slip | None
    runner_up: Suspect | None
    stories: tuple[Story, ...]
    reread: tuple[int, ...]
    alike: tuple[Alike, ...]
    changes: Mapping[int, float]


def expected_common(left: Conditions, found: Conditions, ratio: float = IDLE_RATIO) -> float:
    """Change of ln(flow) that air and idle speed alone bring to every bore.

    ``ln(p'/p) - (1 - b)/2 ln(T'/T) + b ln(n'/n)`` with b from the flow law at the runner's pressure ratio; b is 0 when
    choked, where only the air counts.

    Parameters: ``left`` conditions as left; ``found`` conditions as found; ``ratio`` runner over ambient pressure at
    idle, 0 to 1.

    Source: isentropic flow into cylinders that draw in proportion to speed and runner pressure.

    >>> day = Conditions(101325, 293.15, 15.0)
    >>> round(expected_common(day, Conditions(99000, 303.15, 15.0)), 3)
    -0.035
    """
    sensitivity = pressure_sensitivity(ratio)
    answer = -sensitivity / (1 - sensitivity)
    return (
        math.log(found.pressure / left.pressure)
        - (1 - answer) / 2 * math.log(found.temperature / left.temperature)
        + answer * math.log(found.speed / left.speed)
    )


def slipped(
    layout: Layout,
    left: Mapping[int, Pooled],
    found: Mapping[int, Pooled],
    meter: Meter,
    same_meter: bool,
    heat_soaked: bool = True,
    expected_common: float = 0.0,
    gain: float | None = None,
) -> DriftStory:
    """The stories that explain the change from as left to as found, with their odds.

    Parameters: ``layout`` of the engine; ``left`` and ``found`` pooled readings per bore, the round's trend removed;
    ``meter`` they were read with; ``same_meter`` False when the two visits used different meters, whose scales may
    differ by any factor; ``heat_soaked`` False when one of the rounds was not taken hot; ``expected_common`` change of
    ln(flow) from air and speed (see the function of that name); ``gain`` [1/rad] learned at idle on this engine.

    Source: Bayesian comparison of stories; sizes and odds from a simulated engine.

    >>> from app.sync.layout import Bank
    >>> four = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
    >>> left = {bore: Pooled(6.5 / 3600, 3) for bore in four.bores}
    >>> found = {1: Pooled(6.5 / 3600, 2), 2: Pooled(6.5 / 3600, 2), 3: Pooled(5.5 / 3600, 2), 4: Pooled(5.5 / 3600, 2)}
    >>> slipped(four, left, found, Meter(), same_meter=True).named.suspect
    Coupler(near=2, far=3)
    """
    bores, changes, variances = log_changes(layout, left, found, meter, heat_soaked)
    if not bores:
        return DriftStory("unknown", 1 - COUNT_ODDS[0], {}, None, None, (), (), (), {})
    fit = _Fit(layout, bores, changes - expected_common, variances, same_meter)
    any_slip = 1 - fit.odds_of_nothing()
    odds = fit.odds()
    ranked = sorted(odds, key=lambda suspect: -odds[suspect])
    best = fit.best(5, USUAL_GAIN if gain is None else gain)
    verdict: Verdict = "quiet"
    if any_slip >= DOUBTFUL_FROM:
        verdict = "slipped" if any_slip >= SLIPPED_FROM else "doubtful"
    named = None
    if verdict == "slipped" and odds[ranked[0]] >= NAMED_FROM:
        named = next((slip for story in best for slip in story.slips if slip.suspect == ranked[0]), None)
    settled = named is not None and odds[named.suspect] >= SURE_FROM and all(found[bore].n > 1 for bore in bores)
    return DriftStory(
        verdict=verdict,
        any_slip=any_slip,
        odds=odds,
        named=named,
        runner_up=ranked[1] if len(ranked) > 1 else None,
        stories=best,
        reread=() if verdict == "quiet" or settled else fit.rereads([found[bore].n for bore in bores]),
        alike=_alike(layout, fit, named.suspect, same_meter) if named else (),
        changes=dict(zip(bores, changes.tolist(), strict=True)),
    )


class _Fit:
    """Every story weighed against the changes at once."""

    def __init__(
        self, layout: Layout, bores: tuple[int, ...], residual: Floats, variances: Floats, same_meter: bool
    ) -> None:
        self.bores, self.residual, self.variances = bores, residual, variances
        self.suspects = _suspects(layout)
        moved = [_moves(layout, suspect) for suspect in self.suspects]
        self.columns = np.array([[float(bore in those) for those in moved] for bore in bores])
        self.quiet = quiet_covariance(variances, same_meter)
        self.stories, log_prior = _stories(self.suspects)
        self.members = np.array([[float(at in story) for at in range(len(moved))] for story in self.stories])
        of_slips = np.einsum("ks,bs,cs->kbc", self.members, self.columns, self.columns, optimize=True)
        covariance = self.quiet + SLIP_SPREAD**2 * of_slips
        self.precision = np.linalg.inv(covariance)
        self.pull = self.precision @ residual
        log_weight = log_prior - (self.pull @ residual + np.linalg.slogdet(covariance)[1]) / 2
        weight = np.exp(log_weight - log_weight.max())
        self.weight = weight / weight.sum()
        # What each story says the changes are once the noise of the readings is taken away.
        self.fitted = np.einsum("kbc,kc->kb", covariance - np.diag(variances), self.pull)

    def odds_of_nothing(self) -> float:
        return float(sum(weight for story, weight in zip(self.stories, self.weight, strict=True) if not story))

    def odds(self) -> dict[Suspect, float]:
        return {suspect: float(self.weight @ self.members[:, at]) for at, suspect in enumerate(self.suspects)}

    def best(self, count: int, gain: float) -> tuple[Story, ...]:
        order = np.argsort(-self.weight, kind="stable")[:count]
        return tuple(Story(self._slips(int(story), gain), float(self.weight[story])) for story in order)

    def _slips(self, story: int, gain: float) -> tuple[Slip, ...]:
        slips = []
        for at in self.stories[story]:
            column = self.columns[:, at]
            change = SLIP_SPREAD**2 * float(column @ self.pull[story])
            narrowed = SLIP_SPREAD**2 * float(column @ self.precision[story] @ column)
            sd = SLIP_SPREAD * math.sqrt(max(1 - narrowed, 0.0))
            slips.append(Slip(self.suspects[at], change, sd, change / gain))
        return tuple(slips)

    def rereads(self, counts: list[int]) -> tuple[int, ...]:
        """Bores where the stories disagree most, for what one more reading takes off the noise."""
        middle = self.weight @ self.fitted
        disagreement = self.weight @ (self.fitted - middle) ** 2
        once = np.array(counts, dtype=float)
        score = disagreement * (1 / once - 1 / (once + 1)) / self.variances
        most = int(np.abs(self.residual).argmax())
        if counts[most] == 1:  # one misread value looks exactly like a slip at the end of a bank
            score[most] = np.inf
        return tuple(self.bores[at] for at in np.argsort(-score, kind="stable")[:REREADS])


def log_changes(
    layout: Layout,
    left: Mapping[int, Pooled],
    found: Mapping[int, Pooled],
    meter: Meter,
    heat_soaked: bool = True,
) -> tuple[tuple[int, ...], Floats, Floats]:
    """Bores read both times, their ln(found / left) in terms of flow, and its variance without the common part.

    Parameters: ``layout`` of the engine; ``left`` and ``found`` pooled readings per bore; ``meter`` they were read
    with; ``heat_soaked`` False when one of the rounds was not taken hot, which lets every bore stray further.

    Source: repeatability and step of the meter, and 0.7 % of ageing (judgement).

    >>> from app.sync.layout import Bank
    >>> pair = Layout((Bank("A", (1, 2), stop=1, drive=1),))
    >>> bores, changes, _ = log_changes(pair, {1: Pooled(2e-3, 3)}, {1: Pooled(2.2e-3, 2), 2: Pooled(2e-3, 2)}, Meter())
    >>> bores, changes.round(3).tolist()
    ((1,), [0.095])
    """
    bores = tuple(bore for bore in layout.bores if bore in left and bore in found)
    ageing = AGEING if heat_soaked else NOT_SOAKED
    changes, variances = [], []
    for bore in bores:
        (was, was_sd), (now, now_sd) = log_flow(left[bore].mean, meter), log_flow(found[bore].mean, meter)
        changes.append(now - was)
        variances.append(was_sd**2 / left[bore].n + now_sd**2 / found[bore].n + ageing**2)
    return bores, np.array(changes), np.array(variances)


def log_flow(value: float, meter: Meter) -> tuple[float, float]:
    """ln(flow) up to a constant, and the standard deviation of one reading of it.

    A vacuum column is turned into runner pressure first, against a standard barometer.

    Parameters: ``value`` read [kg/s, or Pa of vacuum], above 0; ``meter`` it was read with.

    >>> round(log_flow(6.4 / 3600, Meter())[1], 3)
    0.023
    """
    reading_sd = math.hypot(meter.repeatability * value, meter.step / math.sqrt(12))
    if meter.quantity == "flow":
        return math.log(value), reading_sd / value
    runner = ATMOSPHERE - value
    return math.log(runner) / PRESSURE_PER_FLOW, reading_sd / runner / PRESSURE_PER_FLOW


def quiet_covariance(variances: Floats, same_meter: bool) -> Floats:
    """Covariance of the changes when nothing slipped: each bore's own noise and what all bores share.

    Parameters: ``variances`` of each bore's change of ln(flow); ``same_meter`` False when the scale may differ freely.

    >>> quiet_covariance(np.array([1e-4, 1e-4]), same_meter=False).round(2).tolist()
    [[1.0, 1.0], [1.0, 1.0]]
    """
    common = COMMON_SPREAD if same_meter else COMMON_FREE
    covariance: Floats = np.diag(variances) + common**2
    return covariance


def _suspects(layout: Layout) -> tuple[Suspect, ...]:
    """Stop screws, couplers, and the inner bores themselves; the outermost bore cannot be told from its coupler."""
    stops: list[Suspect] = [StopScrew(bank.name) for bank in layout.banks]
    couplers = layout.couplers()
    outermost = {coupler.far for coupler in couplers if len(moved_bores(layout, coupler)) == 1}
    inner = [Bore(bore) for bore in layout.bores if bore not in outermost and len(layout.bank_of(bore).bores) > 1]
    return (*stops, *couplers, *inner)


def _moves(layout: Layout, suspect: Suspect) -> tuple[int, ...]:
    return (suspect.bore,) if isinstance(suspect, Bore) else moved_bores(layout, suspect)


def _stories(suspects: tuple[Suspect, ...]) -> tuple[list[tuple[int, ...]], Floats]:
    """Every set of at most three suspects, and the logarithm of its odds before anything was read."""
    share = [BORE_SHARE if isinstance(suspect, Bore) else 1.0 for suspect in suspects]
    stories: list[tuple[int, ...]] = []
    odds: list[float] = []
    for count, count_odds in enumerate(COUNT_ODDS):
        sets = list(itertools.combinations(range(len(suspects)), count))
        shares = [math.prod(share[at] for at in chosen) for chosen in sets]
        stories += sets
        odds += [count_odds * one / sum(shares) for one in shares]
    return stories, np.log(np.array(odds))


def _alike(layout: Layout, fit: _Fit, named: Suspect, same_meter: bool) -> tuple[Alike, ...]:
    """What cannot be told from the named suspect at idle, with what would tell them apart."""
    precision = np.linalg.inv(fit.quiet)
    column = fit.columns[:, fit.suspects.index(named)]
    found = []
    for at, other in enumerate(fit.suspects):
        theirs = fit.columns[:, at]
        if other == named or not theirs.any():
            continue
        # Distance between a slip of the one and the best-fitting slip of the other.
        gap = column - theirs * float(theirs @ precision @ column) / float(theirs @ precision @ theirs)
        if SLIP_TO_TELL * math.sqrt(float(gap @ precision @ gap)) < TOLD_APART:
            found.append(Alike(named, other, _told_by(named, other, same_meter)))
    if isinstance(named, Coupler) and len(moved_bores(layout, named)) == 1:
        found.append(Alike(named, Bore(named.far), "bore_check"))
    if isinstance(named, StopScrew) and len(layout.banks) > 1:
        found.append(Alike(named, Link(named.bank), "stop_test"))
    return tuple(found)


def _told_by(one: Suspect, other: Suspect, same_meter: bool) -> ToldBy:
    if isinstance(one, StopScrew) and isinstance(other, StopScrew):
        return "stop_marks" if same_meter else "same_meter"
    if isinstance(one, Bore) or isinstance(other, Bore):
        return "bore_check"
    return "reread"
