"""The two banks just off idle: does one leave its stop before the other, and is its link rod to blame?

Once off its stop a bank stands where its link rod puts it: opening less free play, times its lever ratio. Two errors
look different as the lever opens. A link rod of the wrong length keeps the same difference in kg/h; a wrong lever ratio
lets it grow; a bank still on its stop shows next to nothing first and the whole difference later. The readings are
weighed against all of these at once, on a grid of offset and ratio, so that a bank still on its stop needs no special
case.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from statistics import fmean

import numpy as np
from numpy.typing import NDArray

from app.sync.banks.bank_means import (
    CENTRAL_LEVER,
    BankDifference,
    Opening,
    cannot_tell,
    difference,
    log_difference,
    noise,
)
from app.sync.banks.gain_doubt import gain_doubt
from app.sync.banks.link_hypotheses import (
    FREE_PLAY,
    OFFSETS,
    RATIOS,
    Cause,
    LinkPosterior,
    expected_shares,
    posterior_weights,
)
from app.sync.engine.engine_air import IdleFlowModel, idling_on, sharing_of
from app.sync.engine.events import Meter
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout
from app.sync.engine.linkage import flats_for
from app.sync.engine.off_idle import gain_curve
from app.sync.readings.observation import log_air
from app.sync.slips.changes import Floats

LEAST_TRAVEL, NEXT_TRAVEL, WIDE_TRAVEL = (
    0.010 * CENTRAL_LEVER,
    0.030 * CENTRAL_LEVER,
    0.060 * CENTRAL_LEVER,
)  # our judgement
# Where a bank that was still on its stop at the first opening has left it; our judgement.
BETWEEN_TRAVEL = 0.020 * CENTRAL_LEVER

GAIN_DOUBT_LEARNED = 0.05
"""Relative spread of a gain that was learned on the engine itself (our judgement)."""

ROD_DOUBT = 0.15
"""The same of what a flat does, where thread or lever arm of the link rod is estimated (our judgement)."""

COLUMN_DOUBT = 0.45
"""Relative spread of what a column makes of a difference between the banks: how much of a runner's pressure all share,
0 to 0.6, is not known (standard deviation of ln ``engine_air.kappa`` over that, 0.33 at idle and 0.51 where the runner
comes to 0.85 of ambient; our judgement)."""

FARTHER = 1.3
"""An opening is another one from this many times the one before (our judgement)."""

LEAST_READ = 0.002 * CENTRAL_LEVER
"""The smallest opening that is worth a feeler [m] (our judgement)."""

# A cause is named from these odds. Readings of flow can hardly rule out a small ratio error, and one that they cannot
# see does no harm (5 % of ratio costs at most 2.5 % between the banks), so nothing at all is named earlier.
NAMED_FROM, NOTHING_FROM = 0.6, 0.5  # our judgement
LOOKS_ALIKE, RATIO_DOUBT = 0.05, 0.45  # our judgement

Z95 = 1.96
"""Standard deviations that flats are good to, at 95 % (quantile of the normal law, any table)."""

SAME_OPENING = 0.2  # an opening counts as read within that part of it; our judgement


class Extra(StrEnum):
    """What would tell most next of the banks: `none`, `flow_meter` (a vacuum gauge shows nothing here), readings of
    both banks at `idle`, `free_play` checked at both link rods, both banks at another `opening`, a `wider_opening` or,
    where columns stand too near zero, a `smaller_opening`, `both_ways` (that opening approached from open as well),
    `angle_gauge` (engine off, on both shafts), `again` (more bores, or the same ones again)."""

    NONE = "none"
    FLOW_METER = "flow_meter"
    IDLE = "idle"
    FREE_PLAY = "free_play"
    OPENING = "opening"
    WIDER_OPENING = "wider_opening"
    SMALLER_OPENING = "smaller_opening"
    BOTH_WAYS = "both_ways"
    ANGLE_GAUGE = "angle_gauge"
    AGAIN = "again"


@dataclass(frozen=True, slots=True)
class BankAssessment:
    """What the banks do off idle, why, and what to turn.

    cause
        Why they part. ``odds`` are the chances of each cause, summing to 1; ``length`` includes a link rod that is
        wrong together with the ratio.
    offset
        How much earlier the second bank leaves [rad at its plates], with ``offset_sd``; negative when it leaves later.
        What ``flats`` go by where the length of a rod is the cause, else over all causes.
    ratio
        How much faster the second bank opens, as a fraction, with ``ratio_sd``.
    flats
        Sixths of a turn of the link rod of ``bank``, negative making it open later; the same number with the other sign
        at ``or_bank`` does as well. Zero when nothing should be turned. ``bank`` is the one that leaves first: turning
        it later adds free play, turning the other earlier uses it up.
    flats_sd
        Standard deviation of ``flats`` as offered: of the readings, of how steeply the banks open, of what a flat does
        where rod and lever are estimated, and of the rounding; infinite when none are offered.
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
    read on both banks and the length of a rod is the probable cause. Only bores read at idle and at the opening count,
    and no opening at which a column stands at zero.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``idle`` reading per bore [kg/s or Pa] of the evened
    engine; ``openings`` read, in any order; ``meter`` for both; ``free_play_proven`` True when both link rods were felt
    to have play with the pedal released; ``both_hands`` True for rods with threads of both hands; ``gain`` of ln(flow)
    per opening [1/rad] of this engine at idle, None when not known; ``joints_tight`` True when no lost motion was felt
    by hand, which readings both ways may overrule; ``idle_times`` readings per bore behind ``idle``; ``gauged_ratio``
    how much faster the second bank's shaft turns, as a fraction, by an angle gauge over the whole travel, or None;
    ``engine`` how it draws air, a usual one of that idle when None. Raises ValueError for columns without an
    ``engine``, as they say nothing of how much air it draws.

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
    at_rest = Opening(0.0, idle, idle_times)
    at_idle = difference(layout, at_rest, idle, meter)
    if at_idle is None:
        return BankAssessment(Cause.UNKNOWN, names, extra=Extra.IDLE)
    if cannot_tell(at_rest, meter):
        return BankAssessment(Cause.UNKNOWN, names, (at_idle,), extra=Extra.FLOW_METER)
    usable, apart, blind_from = _read_openings(layout, openings, idle, meter)
    if not usable:
        nothing = BankAssessment(Cause.UNKNOWN, names, (at_idle,), extra=Extra.OPENING, extra_travel=LEAST_TRAVEL)
        return _where_columns_tell(nothing, 0.0, blind_from)
    travels = np.array([opening.lever_travel for opening in usable])
    posterior = posterior_weights(
        *_observed(layout, usable, idle, idle_times, meter),
        *_bank_curves(layout, hardware, _flows(layout, idle, meter, engine), meter, gain, engine),
        expected_shares(free_play_proven, joints_tight, gauged_ratio, any(o.from_above for o in usable)),
        RATIOS if gauged_ratio is None else np.array([gauged_ratio]),
    )
    found = _classify(names, (at_idle, *apart), travels, posterior, hardware, free_play_proven, both_hands)
    return _where_columns_tell(found, float(travels.max()), blind_from)


def _observed(
    layout: Layout, openings: Sequence[Opening], idle: Mapping[int, float], idle_times: int, meter: Meter
) -> tuple[Floats, NDArray[np.bool_], Floats, Floats]:
    """Of each opening: the lever's angle [rad], whether it came back from further open, and the difference in ln(air);
    and the covariance of these differences."""
    lever = np.array([opening.lever_travel for opening in openings]) / CENTRAL_LEVER
    from_above = np.array([opening.from_above for opening in openings])
    apart = np.array([log_difference(layout, opening, idle, meter) for opening in openings])
    return lever, from_above, apart, noise(layout, openings, idle, idle_times, meter)


def _where_columns_tell(found: BankAssessment, widest: float, blind_from: float) -> BankAssessment:
    """The same with no opening asked for at which columns tell nothing; ``widest`` is one [m] at which they do."""
    extra, travel = _within_sight(found.extra, found.extra_travel, widest, blind_from)
    sharper = found.sharper_travel if found.sharper_travel < blind_from else 0.0
    return replace(found, extra=extra, extra_travel=travel, sharper_travel=sharper)


def _read_openings(
    layout: Layout, openings: Sequence[Opening], idle: Mapping[int, float], meter: Meter
) -> tuple[list[Opening], list[BankDifference], float]:
    """The openings read on both banks, the smallest first; the difference of the banks at each; and the
    smallest one [m] at which a column told nothing, infinite for none."""
    read = sorted((o for o in openings if o.lever_travel > 0), key=lambda opening: opening.lever_travel)
    blind = [one.lever_travel for one in read if cannot_tell(one, meter)]
    seen = [one for one in read if not cannot_tell(one, meter)]
    pairs = [(o, d) for o in seen if (d := difference(layout, o, idle, meter)) is not None]
    return [o for o, _ in pairs], [d for _, d in pairs], min(blind, default=math.inf)


def _within_sight(extra: Extra, travel: float, widest: float, blind_from: float) -> tuple[Extra, float]:
    """What is asked for next, at an opening [m] where columns still tell: they do at ``widest``, not at ``blind_from``.

    A flow meter where there is none.
    """
    if extra not in (Extra.OPENING, Extra.WIDER_OPENING) or travel < blind_from:
        return extra, travel
    between = (widest + blind_from) / 2
    if between < max(FARTHER * widest, LEAST_READ):
        return Extra.FLOW_METER, 0.0
    return Extra.SMALLER_OPENING, between


def _flows(layout: Layout, idle: Mapping[int, float], meter: Meter, engine: IdleFlowModel | None) -> list[list[float]]:
    """Flows of each bank's bores at idle [kg/s]; by columns, the engine's demand as they share it."""
    if meter.quantity == "flow":
        flows = {bore: flow for bore, flow in idle.items() if flow > 0}
    elif engine is None:
        raise ValueError("columns do not tell how much air an engine draws")
    else:
        shares = {bore: math.exp(log_air(value, meter, sharing_of(layout.plenum))[0]) for bore, value in idle.items()}
        size = engine.demand / engine.bores / fmean(shares.values())
        flows = {bore: size * share for bore, share in shares.items()}
    return [[flows[bore] for bore in bank.bores if bore in flows] for bank in layout.banks]


def _bank_curves(
    layout: Layout,
    hardware: Hardware,
    banks: Sequence[Sequence[float]],
    meter: Meter,
    gain: float | None,
    engine: IdleFlowModel | None,
) -> tuple[tuple[Floats, Floats, Floats], float]:
    """Openings and the mean rise of ln(flow) of either bank, as its bores stand at idle; and the relative spread of
    the difference that it foresees between the banks, as this meter shows it.

    Plates gain nearly the same air per angle, whatever they idle with, so one that idles with less climbs by more.
    """
    mean = fmean(fmean(flows) for flows in banks)
    usual = engine or idling_on(len(layout.bores), mean, layout.plenum)
    openings, rise = gain_curve(hardware, mean, usual, gain)
    first, second = (np.mean([np.log1p(mean / flow * np.expm1(rise)) for flow in flows], axis=0) for flows in banks)
    doubt = GAIN_DOUBT_LEARNED if gain is not None else gain_doubt(hardware, mean, usual)
    return (openings, first, second), doubt if meter.quantity == "flow" else math.hypot(doubt, COLUMN_DOUBT)


def _center(grid: Floats, weights: Floats) -> tuple[float, float]:
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
    of_length = _center(OFFSETS, posterior.offsets_if_length)
    offset, offset_sd = of_length if cause is Cause.LENGTH else _center(OFFSETS, posterior.offsets)
    ratio, ratio_sd = _center(posterior.ratio_grid, posterior.ratios)
    extra, extra_travel = _most_informative_test(cause, differences, travels, posterior, free_play_proven)

    flats, flats_sd, sharper = 0.0, math.inf, 0.0
    if cause is Cause.LENGTH and free_play_proven and len(np.unique(travels)) > 1:
        step = 0.25 if both_hands else 0.5
        wanted, sd = (abs(flats_for(one, hardware, both_hands)) for one in of_length)
        flats = -step * round(wanted / step)
        if flats:
            flats_sd = math.hypot(sd, wanted + flats, _rod_doubt(hardware) * wanted)
            read = np.abs(travels - BETWEEN_TRAVEL) <= SAME_OPENING * BETWEEN_TRAVEL
            sharper = BETWEEN_TRAVEL if Z95 * sd > 0.5 and not read.any() else 0.0
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


def _rod_doubt(hardware: Hardware) -> float:
    """Relative spread of what a flat of a link rod does."""
    return 0.0 if hardware.link_pitch.measured and hardware.link_lever.measured else ROD_DOUBT


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
