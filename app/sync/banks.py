"""The two banks just off idle: does one leave its stop before the other, and is its link to blame?

Once off its stop a bank stands where its link puts it: opening less free play, times its lever ratio. Two errors look
different as the lever opens. A link of the wrong length keeps the same difference in kg/h; a wrong lever ratio lets it
grow; a bank still on its stop shows next to nothing first and the whole difference later. The readings are weighed
against all of these at once, on a grid of offset and ratio, so that a bank still on its stop needs no special case.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.sync.air import ATMOSPHERE, area_for, critical_ratio, flow_function, pressure_sensitivity
from app.sync.events import Meter
from app.sync.hardware import Hardware
from app.sync.layout import Layout
from app.sync.linkage import flats_for
from app.sync.plate import angle_at, closed_leakage, open_area
from app.sync.units import INCH, KPA

Floats = NDArray[np.float64]

CENTRAL_LEVER = 1.0 * INCH  # a rounded guess serves: the difference hardly depends on the exact opening
FREE_PLAY = 0.003  # of the bank that leaves first, seen at its plates [rad]; judgement
LEAST_TRAVEL, NEXT_TRAVEL, WIDE_TRAVEL = 0.010 * CENTRAL_LEVER, 0.030 * CENTRAL_LEVER, 0.060 * CENTRAL_LEVER

# How the engine breathes around idle. Vacuum lies in the published 15 to 40 kPa for one throttle per cylinder and
# contraction in the published 0.60 to 0.84; the rest is judgement.
IDLE_RATIO = (ATMOSPHERE - 33 * KPA) / ATMOSPHERE
CONTRACTION = 0.72
LEAKAGE_SHARE = 0.3  # of the usual closed-plate leakage, for plates seated by hand
SHARING = 0.3  # how much of a runner's pressure the plenum evens out
SPEED_ANSWER = 0.8  # per cent of idle speed for one per cent of air
WIDEST = 0.3  # opening up to which the gain is worked out [rad]

# Bores even at idle part company off idle: 0.8 % of flow at 20 mrad, 1.2 % at 60 mrad in simulation.
MISMATCH, MISMATCH_AT, MISMATCH_POWER, MISMATCH_SHARED = 0.008, 0.020, 0.37, 0.5

OFFSETS: Floats = np.array([step * 0.0005 for step in range(-120, 121)])
RATIOS: Floats = np.array([step * 0.01 for step in range(-12, 13)])
LENGTH_SPREAD, SLACK_SPREAD, RATIO_SPREAD = 0.008, 0.015, 0.03  # [rad], [rad], fraction
GAIN_DOUBT, GAIN_DOUBT_LEARNED = 0.15, 0.05
# A cause is named from these odds. Readings of flow can hardly rule out a small ratio error, and one that they cannot
# see does no harm (5 % of ratio costs at most 2.5 % between the banks), so nothing at all is named earlier.
NAMED_FROM, NOTHING_FROM = 0.6, 0.5

Cause = Literal["single", "nothing", "length", "ratio", "slack", "unknown"]
Extra = Literal[
    "none", "flow_meter", "idle", "free_play", "opening", "wider_opening", "both_ways", "angle_gauge", "again"
]


@dataclass(frozen=True, slots=True)
class Opening:
    """One part-throttle opening: the blade under the central lever [m] and the readings taken there [kg/s]."""

    lever_travel: float
    readings: Mapping[int, float]


@dataclass(frozen=True, slots=True)
class BankDifference:
    """Second bank less first bank at one opening: mean flow per bore [kg/s], its error, and per cent of their mean.

    ``lever_travel`` [m] is 0 at idle; ``first`` and ``second`` are the banks' mean flows per bore [kg/s].
    """

    lever_travel: float
    first: float
    second: float
    sd: float

    @property
    def difference(self) -> float:
        """Second less first [kg/s]."""
        return self.second - self.first

    @property
    def percent(self) -> float:
        """The difference in per cent of the mean of both banks."""
        return 200 * self.difference / (self.first + self.second)


@dataclass(frozen=True, slots=True)
class BankStory:
    """What the banks do off idle, why, and what to turn.

    cause
        ``single`` (one bank: nothing to balance), ``nothing`` (they agree), ``length`` of a link, lever ``ratio``,
        ``slack`` (lost motion, or a bank held off its stop), ``unknown``.
    offset
        How much earlier the second bank leaves [rad at its plates], with ``offset_sd``; negative when it leaves later.
    ratio
        How much faster the second bank opens, as a fraction, with ``ratio_sd``.
    flats
        Sixths of a turn of the link of ``bank``, negative making it open later; the same number with the other sign at
        ``or_bank`` does as well. Zero when nothing should be turned. ``bank`` is the one that leaves first: turning it
        later adds free play, turning the other earlier uses it up.
    odds
        Chance of each cause, summing to 1. ``length`` includes a link that is wrong together with the ratio.
    extra
        What would tell most next: ``flow_meter`` (a vacuum column says nothing here), ``idle`` (readings at idle on
        both banks), ``free_play`` (prove it on both links), ``opening`` or ``wider_opening`` (read both banks at
        ``extra_travel`` [m] under the central lever), ``both_ways`` (the same opening reached from above as well),
        ``angle_gauge`` (engine off, on both shafts), ``again`` (read more bores or read them again), ``none``.
    """

    cause: Cause
    banks: tuple[str, ...] = ()
    differences: tuple[BankDifference, ...] = ()
    offset: float = 0.0
    offset_sd: float = math.inf
    ratio: float = 0.0
    ratio_sd: float = math.inf
    odds: Mapping[Cause, float] = field(default_factory=dict)
    flats: float = 0.0
    bank: str | None = None
    or_bank: str | None = None
    extra: Extra = "none"
    extra_travel: float = 0.0


def balance(
    layout: Layout,
    hardware: Hardware,
    idle: Mapping[int, float],
    openings: Sequence[Opening],
    meter: Meter,
    free_play_proven: bool,
    both_hands: bool = False,
    gain: float | None = None,
    joints_tight: bool = False,
) -> BankStory:
    """What the readings at a few part-throttle openings say about the two banks.

    Flats are offered only when the free play of both links was proven, at least two openings were read on both banks
    and the length of a link is the probable cause. Bores read at idle and at the opening count; others are passed over.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``idle`` flow per bore [kg/s] of the evened engine, on
    the same meter; ``openings`` read, in any order; ``meter`` they were read with; ``free_play_proven`` True when both
    links were felt to have play with the pedal released; ``both_hands`` True for rods with a left-hand and a right-hand
    thread; ``gain`` of ln(flow) per opening [1/rad] learned on this engine at idle, None when not learned;
    ``joints_tight`` True when lost motion was ruled out by hand or by reaching the same opening from above.

    Source: plate geometry and a simulated engine; priors and thresholds are judgement.

    >>> from app.sync.hardware import likely_hardware
    >>> from app.sync.layout import Bank
    >>> single = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
    >>> balance(single, likely_hardware(2e-3, 4), {}, [], Meter(), free_play_proven=True).cause
    'single'
    """
    if len(layout.banks) < 2:
        return BankStory("single")
    names = tuple(bank.name for bank in layout.banks)
    if meter.quantity != "flow":
        return BankStory("unknown", names, extra="flow_meter")
    at_idle = _difference(layout, 0.0, idle, idle, meter)
    if at_idle is None:
        return BankStory("unknown", names, extra="idle")
    read = sorted((o for o in openings if o.lever_travel > 0), key=lambda opening: opening.lever_travel)
    pairs = [(o, d) for o in read if (d := _difference(layout, o.lever_travel, o.readings, idle, meter)) is not None]
    differences = (at_idle, *(difference for _, difference in pairs))
    if not pairs:
        return BankStory("unknown", names, differences, extra="opening", extra_travel=LEAST_TRAVEL)
    usable = [opening for opening, _ in pairs]
    travels = np.array([opening.lever_travel for opening in usable])
    observed = np.array([_log_difference(layout, opening.readings, idle) for opening in usable])
    curve = gain_curve(hardware, (at_idle.first + at_idle.second) / 2, gain)
    noise = _noise(layout, usable, idle, meter)
    doubt = GAIN_DOUBT if gain is None else GAIN_DOUBT_LEARNED
    shares = _shares(free_play_proven, joints_tight)
    belief = _weigh(travels / CENTRAL_LEVER, observed, noise, curve, doubt, shares)
    return _tell(names, differences, travels, belief, hardware, free_play_proven, both_hands)


def gain_curve(hardware: Hardware, idle_flow: float, gain: float | None = None) -> tuple[Floats, Floats]:
    """How the logarithm of a bore's flow climbs as its bank opens, the other bank standing still.

    Returned as openings beyond idle [rad] and rise of ln(flow) from idle. The area follows from the plate; its effect
    is dampened because the runner behind it fills, the more the nearer it comes to ambient pressure.

    Parameters: ``hardware`` fitted; ``idle_flow`` of one bore [kg/s], above 0; ``gain`` [1/rad] at idle when learned on
    this engine, which rescales the curve.

    Source: plate geometry and isentropic flow; the engine's breathing is judgement.

    >>> from app.sync.hardware import likely_hardware
    >>> opening, rise = gain_curve(likely_hardware(4e-3, 8), 6.4 / 3600)
    >>> round(float(np.interp(0.010, opening, rise)), 2)  # the first ten milliradians
    0.16
    """
    diameter, shaft = hardware.bore_diameter.value, hardware.shaft_diameter.value
    closed = hardware.closed_angle.value
    leakage = LEAKAGE_SHARE * closed_leakage(diameter)
    effective = area_for(idle_flow, ATMOSPHERE, ATMOSPHERE * IDLE_RATIO)
    past_plate = max(effective - leakage, effective / 4) / CONTRACTION
    start = angle_at(min(2 * past_plate / (math.pi * diameter), diameter / 4), diameter, closed)
    openings = np.linspace(0.0, min(WIDEST, math.pi / 2 - start), 201)
    areas = np.array([CONTRACTION * open_area(start + x, diameter, shaft, closed) + leakage for x in openings])
    ratios = np.interp(areas / areas[0], *_runner_table())
    damping = np.array([1 - (1 - SHARING) * pressure_sensitivity(ratio) for ratio in ratios])
    steps = np.diff(np.log(areas)) / ((damping[1:] + damping[:-1]) / 2)
    rise = np.concatenate([[0.0], np.cumsum(steps)])
    if gain is not None:
        rise *= gain * openings[1] / rise[1]
    return openings, rise


@cache
def _runner_table() -> tuple[Floats, Floats]:
    """Area over idle area, and the runner pressure over ambient that the cylinders settle at behind it.

    The cylinders draw in proportion to speed and runner pressure, and speed answers the air drawn. Solved for the area
    that a pressure needs, so that a table of it turned round gives the pressure for any area.
    """
    power = 1 / (1 - SPEED_ANSWER)
    ratios = np.linspace(max(IDLE_RATIO, critical_ratio()), 0.9999, 2000)
    flows = np.array([flow_function(float(ratio)) for ratio in ratios])
    return (ratios / IDLE_RATIO) ** power * flow_function(IDLE_RATIO) / flows, ratios


def _shared(bores: Sequence[int], readings: Mapping[int, float], idle: Mapping[int, float]) -> list[int]:
    return [bore for bore in bores if readings.get(bore, 0.0) > 0 and idle.get(bore, 0.0) > 0]


def _log_difference(layout: Layout, readings: Mapping[int, float], idle: Mapping[int, float]) -> float:
    """Second bank less first, in ln(flow), less the same at idle."""
    first, second = (
        [math.log(readings[bore] / idle[bore]) for bore in _shared(bank.bores, readings, idle)] for bank in layout.banks
    )
    return sum(second) / len(second) - sum(first) / len(first)


def _difference(
    layout: Layout, travel: float, readings: Mapping[int, float], idle: Mapping[int, float], meter: Meter
) -> BankDifference | None:
    """The banks side by side at one opening, or None when one of them was not read."""
    means, variance = [], 0.0
    for bank in layout.banks:
        values = [readings[bore] for bore in _shared(bank.bores, readings, idle)]
        if not values:
            return None
        means.append(sum(values) / len(values))
        variance += sum((value * _scatter(value, meter)) ** 2 for value in values) / len(values) ** 2
    return BankDifference(travel, means[0], means[1], math.sqrt(variance))


def _scatter(value: float, meter: Meter) -> float:
    """Standard deviation of one reading as a fraction of it: repeatability and the meter's step."""
    return math.hypot(meter.repeatability, meter.step / value / math.sqrt(12))


def _noise(layout: Layout, openings: Sequence[Opening], idle: Mapping[int, float], meter: Meter) -> Floats:
    """Covariance of the log differences: meter, the idle reference they share, and bores that part off idle."""
    count = len(openings)
    covariance = np.zeros((count, count))
    for row, one in enumerate(openings):
        for column, other in enumerate(openings):
            for bank in layout.banks:
                here, there = (_shared(bank.bores, opening.readings, idle) for opening in (one, other))
                both = [bore for bore in here if bore in there]
                parted = _mismatch(one) * _mismatch(other) * (1.0 if row == column else MISMATCH_SHARED)
                common = sum(_scatter(idle[bore], meter) ** 2 + parted for bore in both)
                own = sum(_scatter(one.readings[bore], meter) ** 2 for bore in here) if row == column else 0.0
                covariance[row, column] += (common + own) / (len(here) * len(there))
    return covariance


def _mismatch(opening: Opening) -> float:
    return MISMATCH * float((opening.lever_travel / CENTRAL_LEVER / MISMATCH_AT) ** MISMATCH_POWER)


@dataclass(frozen=True, slots=True, eq=False)
class _Belief:
    """Odds of each cause, and the spread of offset (over all, and if the length is wrong) and of ratio."""

    odds: Mapping[Cause, float]
    offsets: Floats
    offsets_if_length: Floats
    ratios: Floats


def _weigh(
    lever: Floats,
    observed: Floats,
    noise: Floats,
    curve: tuple[Floats, Floats],
    doubt: float,
    shares: Mapping[str, float],
) -> _Belief:
    """Posterior over offset and ratio on a grid, for every cause at once; ``doubt`` in the gain is averaged over."""
    offset, ratio = OFFSETS[:, None, None], RATIOS[None, :, None]
    first = np.maximum(0.0, lever * (1 - ratio / 2) - FREE_PLAY - np.maximum(offset, 0.0))
    second = np.maximum(0.0, lever * (1 + ratio / 2) - FREE_PLAY + np.minimum(offset, 0.0))
    predicted = np.interp(second, *curve) - np.interp(first, *curve)
    precision = np.linalg.inv(noise)
    deviates = np.linspace(-2, 2, 9)
    miss = observed - np.exp(deviates * doubt)[:, None, None, None] * predicted
    square = np.einsum("goqi,ij,goqj->goq", miss, precision, miss) + (deviates**2)[:, None, None]
    likelihood = np.exp(-(square - square.min()) / 2).sum(axis=0)

    point_offset, point_ratio = (OFFSETS == 0.0).astype(float), (RATIOS == 0.0).astype(float)
    of_length, of_slack = _bell(OFFSETS, LENGTH_SPREAD), _bell(OFFSETS, SLACK_SPREAD)
    of_ratio = _bell(RATIOS, RATIO_SPREAD)
    stories = {
        "nothing": np.outer(point_offset, point_ratio),
        "length": np.outer(of_length, point_ratio),
        "ratio": np.outer(point_offset, of_ratio),
        "both": np.outer(of_length, of_ratio),
        "slack": np.outer(of_slack, point_ratio),
    }
    masses = {name: shares[name] * story * likelihood for name, story in stories.items()}
    total = sum(float(mass.sum()) for mass in masses.values())
    all_masses = sum(masses.values(), np.zeros_like(likelihood)) / total
    length = (masses["length"] + masses["both"]) / total
    odds: dict[Cause, float] = {
        "nothing": float(masses["nothing"].sum() / total),
        "length": float(length.sum()),
        "ratio": float(masses["ratio"].sum() / total),
        "slack": float(masses["slack"].sum() / total),
    }
    return _Belief(odds, all_masses.sum(axis=1), length.sum(axis=1) / length.sum(), all_masses.sum(axis=0))


def _shares(free_play_proven: bool, joints_tight: bool) -> Mapping[str, float]:
    """What to expect before any reading, by judgement.

    Free play at the link rules out a bank held off its stop, not slack in a joint; tight joints rule out the slack.
    """
    slack = (0.0 if joints_tight else 0.06) + (0.0 if free_play_proven else 0.30)
    shares = {"nothing": 0.40, "length": 0.24, "ratio": 0.20, "both": 0.10, "slack": slack}
    total = sum(shares.values())
    return {name: share / total for name, share in shares.items()}


def _bell(grid: Floats, spread: float) -> Floats:
    weights: Floats = np.exp(-((grid / spread) ** 2) / 2)
    weights /= weights.sum()
    return weights


def _centre(grid: Floats, weights: Floats) -> tuple[float, float]:
    """Mean and standard deviation of a spread on a grid."""
    mean = float(grid @ weights)
    return mean, math.sqrt(float((grid - mean) ** 2 @ weights))


def _tell(
    names: tuple[str, ...],
    differences: tuple[BankDifference, ...],
    travels: Floats,
    belief: _Belief,
    hardware: Hardware,
    free_play_proven: bool,
    both_hands: bool,
) -> BankStory:
    """Put the belief into words the page can show: cause, flats, and what to read next."""
    leading = max(belief.odds, key=lambda cause: belief.odds[cause])
    enough = NOTHING_FROM if leading == "nothing" else NAMED_FROM
    cause: Cause = leading if belief.odds[leading] >= enough else "unknown"
    offset, offset_sd = _centre(OFFSETS, belief.offsets)
    ratio, ratio_sd = _centre(RATIOS, belief.ratios)
    extra, extra_travel = _what_next(cause, travels, belief, free_play_proven)

    flats = 0.0
    if cause == "length" and free_play_proven and len(np.unique(travels)) > 1:
        step = 0.25 if both_hands else 0.5
        length_offset, _ = _centre(OFFSETS, belief.offsets_if_length)
        flats = -step * round(abs(flats_for(length_offset, hardware, both_hands)) / step)
    early, late = (names[1], names[0]) if offset > 0 else (names[0], names[1])
    return BankStory(
        cause,
        names,
        differences,
        offset,
        offset_sd,
        ratio,
        ratio_sd,
        belief.odds,
        flats or 0.0,
        early if flats else None,
        late if flats else None,
        extra,
        extra_travel,
    )


def _what_next(cause: Cause, travels: Floats, belief: _Belief, free_play_proven: bool) -> tuple[Extra, float]:
    """The reading or check that would tell most, and the lever travel [m] if it is an opening."""
    if not free_play_proven:
        return "free_play", 0.0
    if len(np.unique(travels)) < 2:
        only = float(travels[0])
        return "opening", (only / 3 if only >= NEXT_TRAVEL else max(3 * only, NEXT_TRAVEL))
    widest = float(travels.max())
    still_on_stop = np.abs(OFFSETS) > widest / CENTRAL_LEVER - FREE_PLAY
    if float(belief.offsets[still_on_stop].sum()) > 0.1:
        return "wider_opening", max(2 * widest, WIDE_TRAVEL)
    if cause != "nothing" and belief.odds["slack"] > 0.15:
        return "both_ways", 0.0
    if cause != "nothing" and belief.odds["ratio"] > 0.3:
        return "angle_gauge", 0.0
    return ("again" if cause == "unknown" else "none"), 0.0
