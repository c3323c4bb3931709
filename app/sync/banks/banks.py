"""The two banks just off idle: does one leave its stop before the other, and is its link rod to blame?

Once off its stop a bank stands where its link rod puts it: opening less free play, times its lever ratio. Two errors
look different as the lever opens. A link rod of the wrong length keeps the same difference in kg/h; a wrong lever ratio
lets it grow; a bank still on its stop shows next to nothing first and the whole difference later. The readings are
weighed against all of these at once, on a grid of offset and ratio, so that a bank still on its stop needs no special
case.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from app.sync.banks.link_hypotheses import (
    FREE_PLAY,
    OFFSETS,
    RATIOS,
    Cause,
    LinkPosterior,
    expected_shares,
    posterior_weights,
)
from app.sync.engine.engine_air import IdleFlowModel, idling_on
from app.sync.engine.events import Meter
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout
from app.sync.engine.linkage import flats_for
from app.sync.engine.off_idle import gain_curve
from app.sync.engine.units import INCH
from app.sync.readings.rounds import reading_sd
from app.sync.slips.changes import Floats

CENTRAL_LEVER = 1.0 * INCH  # a rounded guess serves: the difference hardly depends on the exact opening; our judgement
LEAST_TRAVEL, NEXT_TRAVEL, WIDE_TRAVEL = (
    0.010 * CENTRAL_LEVER,
    0.030 * CENTRAL_LEVER,
    0.060 * CENTRAL_LEVER,
)  # our judgement
# Where a bank that was still on its stop at the first opening has left it; our judgement.
BETWEEN_TRAVEL = 0.020 * CENTRAL_LEVER

GAIN_DOUBT = 0.15
"""Relative spread of the model's gain at the plates as left (our judgement; on simulated engines 0.14 to 0.15, most of
it the meter's scale)."""

GAIN_DOUBT_LEARNED = 0.05
"""The same of a gain that was learned on the engine itself (our judgement)."""


# Bores even at idle part company off idle: 1.2 % of flow at 20 mrad, 2.1 % at 60 mrad in simulation.
MISMATCH, MISMATCH_AT, MISMATCH_POWER, MISMATCH_SHARED = 0.012, 0.020, 0.5, 0.5  # our judgement

# A cause is named from these odds. Readings of flow can hardly rule out a small ratio error, and one that they cannot
# see does no harm (5 % of ratio costs at most 2.5 % between the banks), so nothing at all is named earlier.
NAMED_FROM, NOTHING_FROM = 0.6, 0.5  # our judgement
LOOKS_ALIKE, RATIO_DOUBT = 0.05, 0.45  # our judgement

Z95 = 1.96
"""Standard deviations that flats are good to, at 95 % (quantile of the normal law, any table)."""

SAME_OPENING = 0.2  # an opening counts as read within that part of it; our judgement


class Extra(StrEnum):
    """What would tell most next of the banks: `none`, `flow_meter` (a vacuum gauge shows nothing here), readings of
    both banks at `idle`, `free_play` checked at both link rods, both banks at another `opening` or a `wider_opening`,
    `both_ways` (that opening approached from open as well), `angle_gauge` (engine off, on both shafts), `again` (more
    bores, or the same ones again)."""

    NONE = "none"
    FLOW_METER = "flow_meter"
    IDLE = "idle"
    FREE_PLAY = "free_play"
    OPENING = "opening"
    WIDER_OPENING = "wider_opening"
    BOTH_WAYS = "both_ways"
    ANGLE_GAUGE = "angle_gauge"
    AGAIN = "again"


@dataclass(frozen=True, slots=True)
class Opening:
    """One part-throttle opening: the feeler under the central lever [m] and the readings taken there [kg/s].

    ``readings`` are means of ``times`` readings per bore. ``from_above``: the lever was opened further first and came
    back, so that lost motion in a joint no longer holds its bank back.
    """

    lever_travel: float
    readings: Mapping[int, float]
    times: int = 1
    from_above: bool = False


@dataclass(frozen=True, slots=True)
class BankDifference:
    """Second bank less first bank at one opening: mean flow per bore [kg/s], its error, and per cent of their mean.

    ``lever_travel`` [m] is 0 at idle; ``first`` and ``second`` are the banks' mean flows per bore [kg/s].
    ``from_above`` as in ``Opening``. Worked out from those: ``difference``, second less first [kg/s], and ``percent``,
    the same in per cent of the mean of both, 0 where nothing flowed.
    """

    lever_travel: float
    first: float
    second: float
    sd: float
    from_above: bool = False
    difference: float = field(init=False)
    percent: float = field(init=False)

    def __post_init__(self) -> None:
        difference, both = self.second - self.first, self.first + self.second
        object.__setattr__(self, "difference", difference)
        object.__setattr__(self, "percent", 200 * difference / both if both else 0.0)


@dataclass(frozen=True, slots=True)
class BankAssessment:
    """What the banks do off idle, why, and what to turn.

    cause
        Why they part. ``odds`` are the chances of each cause, summing to 1; ``length`` includes a link rod that is
        wrong together with the ratio.
    offset
        How much earlier the second bank leaves [rad at its plates], with ``offset_sd``; negative when it leaves later.
    ratio
        How much faster the second bank opens, as a fraction, with ``ratio_sd``.
    flats
        Sixths of a turn of the link rod of ``bank``, negative making it open later; the same number with the other sign
        at ``or_bank`` does as well. Zero when nothing should be turned. ``bank`` is the one that leaves first: turning
        it later adds free play, turning the other earlier uses it up.
    flats_sd
        Standard deviation of ``flats`` before rounding; infinite when none are offered.
    sharper_travel
        Where flats are offered that may be off by more than half a flat: the lever travel [m] at which both banks, read
        once more, tell most about them. 0 when they are good enough, or that opening was read already.
    extra
        What would tell most next. An opening is read at ``extra_travel`` [m] under the central lever.
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
    extra: Extra = Extra.NONE
    extra_travel: float = 0.0
    flats_sd: float = math.inf
    sharper_travel: float = 0.0


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
    idle_times: int = 1,
    gauged_ratio: float | None = None,
    engine: IdleFlowModel | None = None,
) -> BankAssessment:
    """What the readings at a few part-throttle openings say about the two banks.

    Flats are offered only when the free play of both link rods was proven, lost motion ruled out, at least two openings
    read on both banks and the length of a rod is the probable cause. Only bores read at idle and at the opening count.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``idle`` flow per bore [kg/s] of the evened engine, on
    the same meter; ``openings`` read, in any order; ``meter`` they were read with; ``free_play_proven`` True when
    both link rods were felt to have play with the pedal released; ``both_hands`` True for rods with a left-hand and a
    right-hand thread; ``gain`` of ln(flow) per opening [1/rad] of this engine at idle, None when not known;
    ``joints_tight`` True when no lost motion was felt by hand, which readings both ways may overrule; ``idle_times``
    readings per bore behind ``idle``; ``gauged_ratio`` how much faster the second bank's shaft turns, as a fraction, by
    an angle gauge over the whole travel, or None; ``engine`` how it draws air, a usual one of that idle when None.

    Source: plate geometry and a simulated engine; priors and thresholds are judgement.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> from app.sync.engine.layout import Bank
    >>> single = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
    >>> print(balance(single, likely_hardware(2e-3, 4), {}, [], Meter(), free_play_proven=True).cause)
    single
    """
    if len(layout.banks) < 2:
        return BankAssessment(Cause.SINGLE)
    names = tuple(bank.name for bank in layout.banks)
    if meter.quantity != "flow":
        return BankAssessment(Cause.UNKNOWN, names, extra=Extra.FLOW_METER)
    at_idle = _difference(layout, Opening(0.0, idle, idle_times), idle, meter)
    if at_idle is None:
        return BankAssessment(Cause.UNKNOWN, names, extra=Extra.IDLE)
    pairs = _read_openings(layout, openings, idle, meter)
    differences = (at_idle, *(difference for _, difference in pairs))
    if not pairs:
        return BankAssessment(Cause.UNKNOWN, names, differences, extra=Extra.OPENING, extra_travel=LEAST_TRAVEL)
    usable = [opening for opening, _ in pairs]
    travels = np.array([opening.lever_travel for opening in usable])
    posterior = posterior_weights(
        travels / CENTRAL_LEVER,
        np.array([opening.from_above for opening in usable]),
        np.array([_log_difference(layout, opening.readings, idle) for opening in usable]),
        _noise(layout, usable, idle, idle_times, meter),
        _bank_curves(layout, hardware, at_idle, idle, gain, engine),
        GAIN_DOUBT if gain is None else GAIN_DOUBT_LEARNED,
        expected_shares(free_play_proven, joints_tight, gauged_ratio, any(o.from_above for o in usable)),
        RATIOS if gauged_ratio is None else np.array([gauged_ratio]),
    )
    return _classify(names, differences, travels, posterior, hardware, free_play_proven, both_hands)


def _read_openings(
    layout: Layout, openings: Sequence[Opening], idle: Mapping[int, float], meter: Meter
) -> list[tuple[Opening, BankDifference]]:
    """The openings read on both banks, the smallest first, each with the difference of the banks there."""
    read = sorted((o for o in openings if o.lever_travel > 0), key=lambda opening: opening.lever_travel)
    return [(o, d) for o in read if (d := _difference(layout, o, idle, meter)) is not None]


def _bank_curves(
    layout: Layout,
    hardware: Hardware,
    at_idle: BankDifference,
    idle: Mapping[int, float],
    gain: float | None,
    engine: IdleFlowModel | None,
) -> tuple[Floats, Floats, Floats]:
    """Openings and the mean rise of ln(flow) of either bank, as its bores stand at idle.

    Plates gain nearly the same air per angle, whatever they idle with, so one that idles with less climbs by more.
    """
    mean = (at_idle.first + at_idle.second) / 2
    usual = engine or idling_on(len(layout.bores), mean, layout.plenum)
    openings, rise = gain_curve(hardware, mean, usual, gain)
    first, second = (
        np.mean([np.log1p(mean / idle[bore] * np.expm1(rise)) for bore in _shared(bank.bores, idle, idle)], axis=0)
        for bank in layout.banks
    )
    return openings, first, second


def _shared(bores: Sequence[int], readings: Mapping[int, float], idle: Mapping[int, float]) -> list[int]:
    return [bore for bore in bores if readings.get(bore, 0.0) > 0 and idle.get(bore, 0.0) > 0]


def _log_difference(layout: Layout, readings: Mapping[int, float], idle: Mapping[int, float]) -> float:
    """Second bank less first, in ln(flow), less the same at idle."""
    first, second = (
        [math.log(readings[bore] / idle[bore]) for bore in _shared(bank.bores, readings, idle)] for bank in layout.banks
    )
    return sum(second) / len(second) - sum(first) / len(first)


def _difference(layout: Layout, opening: Opening, idle: Mapping[int, float], meter: Meter) -> BankDifference | None:
    """The banks side by side at one opening, or None when one of them was not read."""
    means, variance = [], 0.0
    for bank in layout.banks:
        values = [opening.readings[bore] for bore in _shared(bank.bores, opening.readings, idle)]
        if not values:
            return None
        means.append(sum(values) / len(values))
        variance += sum(reading_sd(value, meter) ** 2 for value in values) / opening.times / len(values) ** 2
    return BankDifference(opening.lever_travel, means[0], means[1], math.sqrt(variance), opening.from_above)


def _noise(
    layout: Layout, openings: Sequence[Opening], idle: Mapping[int, float], idle_times: int, meter: Meter
) -> Floats:
    """Covariance of the log differences: meter, the idle reference they share, and bores that part off idle."""
    count = len(openings)
    covariance = np.zeros((count, count))
    for row, one in enumerate(openings):
        for column, other in enumerate(openings):
            for bank in layout.banks:
                here, there = (_shared(bank.bores, opening.readings, idle) for opening in (one, other))
                both = [bore for bore in here if bore in there]
                alike = one.lever_travel == other.lever_travel
                parted = _mismatch(one) * _mismatch(other) * (1.0 if alike else MISMATCH_SHARED)
                common = sum((reading_sd(idle[bore], meter) / idle[bore]) ** 2 / idle_times + parted for bore in both)
                own = sum((reading_sd(one.readings[bore], meter) / one.readings[bore]) ** 2 for bore in here)
                covariance[row, column] += (common + (own / one.times if row == column else 0.0)) / (
                    len(here) * len(there)
                )
    return covariance


def _mismatch(opening: Opening) -> float:
    return MISMATCH * float((opening.lever_travel / CENTRAL_LEVER / MISMATCH_AT) ** MISMATCH_POWER)


def _centre(grid: Floats, weights: Floats) -> tuple[float, float]:
    """Mean and standard deviation of a spread on a grid."""
    mean = float(grid @ weights)
    return mean, math.sqrt(float((grid - mean) ** 2 @ weights))


def _classify(
    names: tuple[str, ...],
    differences: tuple[BankDifference, ...],
    travels: Floats,
    posterior: LinkPosterior,
    hardware: Hardware,
    free_play_proven: bool,
    both_hands: bool,
) -> BankAssessment:
    """The posterior as codes and figures: cause, flats, and what to read next."""
    leading = max(posterior.odds, key=lambda cause: posterior.odds[cause])
    enough = NOTHING_FROM if leading is Cause.NOTHING else NAMED_FROM
    cause = leading if posterior.odds[leading] >= enough else Cause.UNKNOWN
    # A wrong length, lost motion and a bank held off its stop look the same while opening.
    alike = (Cause.LENGTH, Cause.SLACK, Cause.HELD)
    if cause is not Cause.NOTHING and sum(posterior.odds[one] > LOOKS_ALIKE for one in alike) > 1:
        cause = Cause.UNKNOWN
    offset, offset_sd = _centre(OFFSETS, posterior.offsets)
    ratio, ratio_sd = _centre(posterior.ratio_grid, posterior.ratios)
    extra, extra_travel = _most_informative_test(cause, differences, travels, posterior, free_play_proven)

    flats, flats_sd, sharper = 0.0, math.inf, 0.0
    if cause is Cause.LENGTH and free_play_proven and len(np.unique(travels)) > 1:
        step = 0.25 if both_hands else 0.5
        length_offset, length_sd = _centre(OFFSETS, posterior.offsets_if_length)
        flats = -step * round(abs(flats_for(length_offset, hardware, both_hands)) / step)
        if flats:
            flats_sd = abs(flats_for(length_sd, hardware, both_hands))
            read = np.abs(travels - BETWEEN_TRAVEL) <= SAME_OPENING * BETWEEN_TRAVEL
            sharper = BETWEEN_TRAVEL if Z95 * flats_sd > 0.5 and not read.any() else 0.0
    early, late = (names[1], names[0]) if offset > 0 else (names[0], names[1])
    return BankAssessment(
        cause,
        names,
        differences,
        offset,
        offset_sd,
        ratio,
        ratio_sd,
        posterior.odds,
        flats or 0.0,
        early if flats else None,
        late if flats else None,
        extra,
        extra_travel,
        flats_sd,
        sharper,
    )


def _most_informative_test(
    cause: Cause,
    differences: tuple[BankDifference, ...],
    travels: Floats,
    posterior: LinkPosterior,
    free_play_proven: bool,
) -> tuple[Extra, float]:
    """The reading or check that would tell most, and the lever travel [m] if it is an opening."""
    if not free_play_proven:
        return Extra.FREE_PLAY, 0.0
    if len(np.unique(travels)) < 2:
        only = float(travels[0])
        return Extra.OPENING, (only / 3 if only >= NEXT_TRAVEL else max(3 * only, NEXT_TRAVEL))
    widest = float(travels.max())
    still_on_stop = np.abs(OFFSETS) > widest / CENTRAL_LEVER - FREE_PLAY
    if float(posterior.offsets[still_on_stop].sum()) > 0.1:
        return Extra.WIDER_OPENING, max(2 * widest, WIDE_TRAVEL)
    if cause in (Cause.NOTHING, Cause.SLACK):
        return Extra.NONE, 0.0
    come_back = {d.lever_travel for d in differences if d.from_above}
    one_way = [d for d in differences if d.lever_travel > 0 and d.lever_travel not in come_back]
    if posterior.odds[Cause.SLACK] > LOOKS_ALIKE and one_way:
        return Extra.BOTH_WAYS, max(one_way, key=lambda d: abs(d.percent)).lever_travel
    if posterior.unequal > RATIO_DOUBT and len(posterior.ratio_grid) > 1:
        return Extra.ANGLE_GAUGE, 0.0
    return (Extra.AGAIN if cause is Cause.UNKNOWN else Extra.NONE), 0.0
