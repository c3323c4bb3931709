"""One round: the idle's drift corrected, how far each bore is from the mean, and whether the meter can tell.

A round goes once over the bores and reads the first one again, so that drift shows. Items and drift are fitted together
by least squares as in circular comparisons of standards (C. M. Sutton and M. T. Clarkson, "A general approach to
comparisons in the presence of drift", Metrologia 30, 1993/94, 487-493); a prior keeps one closing reading from
inventing a drift that the meter cannot see. The verdict keeps a guard band for the meter's error on both sides of
the tolerance limit, as ISO 14253-1 and ILAC-G8:09/2019 reason: inside by more than that is even, outside by more than
that is not, and between the two it is undecided.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.events import Meter, Reading
from app.sync.engine.layout import Layout

GUARD_BAND_Z = 1.645
"""Standard deviations kept clear on either side of the tolerance limit: one-sided 95 % conformance, the default of
ISO 14253-1:2017 as secondary sources describe it."""

DRIFT_SD = 0.04
"""Drift of a hot idle over one round, as a fraction of the mean, before anything was read (this program's choice)."""

MISREAD_TIMES = 3.0
"""A reading this many times the others', or this fraction of them, is asked for again (this program's choice)."""

MISREAD_OTHERS = 2
"""How many other bores it takes before one can be called far from them (this program's choice)."""


class BoreVerdict(StrEnum):
    """How one bore compares with the mean. `wide` is a plate open too far, `tight` one closed too far; `too close` is
    within the meter's error of the tolerance limit."""

    EVEN = "even"
    AT_LIMIT = "too close"
    OPEN = "wide"
    CLOSED = "tight"


class RoundVerdict(StrEnum):
    """Whether the bores of a round are even. `too close to call`: the meter cannot tell; `incomplete`: none is outside
    so far, and the round goes on."""

    EVEN = "even"
    NOT_EVEN = "not even"
    UNDECIDED = "too close to call"
    INCOMPLETE = "incomplete"


@dataclass(frozen=True, slots=True)
class BoreResult:
    """One bore: its value with the drift corrected, and how far that is from the mean, both in the meter's base unit.

    ``verdict`` is about the plate: open too far is a high reading of a flow meter and a low one of a vacuum gauge.
    ``opening`` is the deviation with the sign of the plate, positive when open; ``uncertainty`` the guard band.
    """

    bore: int
    value: float
    deviation: float
    uncertainty: float
    verdict: BoreVerdict
    opening: float


@dataclass(frozen=True, slots=True)
class RoundResult:
    """How even a round is. Values in kg/s or Pa.

    ``tolerance`` is the allowed deviation from the mean; ``uncertainty`` the widest guard band of a bore against the
    mean; ``drift`` the change over the round that was corrected, with ``drift_seen`` when it is beyond its own
    uncertainty; ``outliers`` the bores to read again first.
    """

    mean: float
    tolerance: float
    uncertainty: float
    drift: float
    drift_seen: bool
    standings: tuple[BoreResult, ...]
    bank_means: Mapping[str, float]
    verdict: RoundVerdict
    outliers: frozenset[int]


def evenness(layout: Layout, readings: Sequence[Reading], meter: Meter, window: float) -> RoundResult:
    """How even the bores of one round stand, as far as it was read.

    A bore read more than once counts with the mean of its readings.

    Parameters: ``layout`` of the engine; ``readings`` of one round in the order taken, with no move between them, at
    least one; ``meter`` they were read with; ``window`` the half width as a fraction of the mean, above 0. Raises
    ValueError without a reading, or for a bore the layout does not have.

    >>> from app.sync.engine.layout import Bank
    >>> four = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))
    >>> flows = [Reading(b, f / 3600, 20.0 * n) for n, (b, f) in enumerate([(1, 6.5), (2, 6.5), (3, 8.5), (4, 6.5)])]
    >>> round_ = evenness(four, [*flows, Reading(1, 6.5 / 3600, 80.0, closing=True)], Meter(), 0.08)
    >>> print(round_.verdict, *(s.verdict for s in round_.standings), sep=", ")
    not even, too close, too close, wide, too close
    """
    if not readings:
        raise ValueError("a round needs a reading")
    read = {r.bore for r in readings}
    bores = [bore for bore in layout.bores if bore in read]
    if len(bores) < len(read):
        raise ValueError("a reading names a bore the engine does not have")
    values, drift, cov = _least_squares(bores, readings, meter)
    mean = float(values.mean())
    tolerance = window * mean
    flips = -1.0 if meter.quantity == "vacuum" else 1.0
    standings = []
    for n, bore in enumerate(bores):
        from_mean = -np.ones(len(bores)) / len(bores)
        from_mean[n] += 1.0
        uncertainty = GUARD_BAND_Z * float(np.sqrt(from_mean @ cov[:-1, :-1] @ from_mean))
        deviation = float(values[n]) - mean
        opening = flips * deviation
        standings.append(
            BoreResult(
                bore, float(values[n]), deviation, uncertainty, _verdict(opening, tolerance, uncertainty), opening
            )
        )
    complete = len(bores) == len(layout.bores) and any(r.closing for r in readings)
    by_bore = dict(zip(bores, values.tolist(), strict=True))
    return RoundResult(
        mean=mean,
        tolerance=tolerance,
        uncertainty=max(s.uncertainty for s in standings),
        drift=drift,
        drift_seen=abs(drift) > GUARD_BAND_Z * float(np.sqrt(cov[-1, -1])),
        standings=tuple(standings),
        bank_means=_bank_means(layout, by_bore),
        verdict=_overall(standings, complete),
        outliers=outliers(by_bore),
    )


def outliers(by_bore: Mapping[int, float]) -> frozenset[int]:
    """The bores to read again before anything is believed: ``MISREAD_TIMES`` the middle one, or that fraction of it.

    Parameters: ``by_bore``, a value for each bore, all in one unit, 0 or more; with fewer than two others beside a
    bore none is outliers.

    >>> sorted(outliers({1: 6.5, 2: 6.25, 3: 62.5}))
    [3]
    """
    if len(by_bore) <= MISREAD_OTHERS:
        return frozenset()
    middle = median(by_bore.values())
    return frozenset(b for b, v in by_bore.items() if v > MISREAD_TIMES * middle or v * MISREAD_TIMES < middle)


def reading_sd(value: float, meter: Meter) -> float:
    """Standard deviation of one reading: repeatability, and rounding to the meter's step as a uniform distribution.

    Parameters: ``value`` read [kg/s or Pa]; ``meter`` it was read with. Source: GUM, JCGM 100:2008, 4.3.7 for the step.

    >>> round(reading_sd(6.5, Meter(step=0.25, repeatability=0.02)), 4)
    0.1487
    """
    return float(np.hypot(meter.repeatability * value, meter.step / np.sqrt(12)))


def _least_squares(
    bores: list[int], readings: Sequence[Reading], meter: Meter
) -> tuple[NDArray[np.float64], float, NDArray[np.float64]]:
    """Values per bore as at the middle of the round, the drift over the round, and their covariance."""
    place = {bore: n for n, bore in enumerate(bores)}
    times = np.array([r.at for r in readings], dtype=float)
    span = times.max() - times.min()
    steps = np.linspace(-0.5, 0.5, len(readings)) if span <= 0 else (times - times.min()) / span - 0.5
    level = float(np.mean([r.value for r in readings]))
    design = np.zeros((len(readings) + 1, len(bores) + 1))
    observed = np.zeros(len(readings) + 1)
    sds = np.zeros(len(readings) + 1)
    for row, reading in enumerate(readings):
        design[row, place[reading.bore]] = 1.0
        design[row, -1] = steps[row] if len(readings) > 1 else 0.0
        observed[row] = reading.value
        sds[row] = max(reading_sd(reading.value, meter), 1e-12)
    design[-1, -1], sds[-1] = 1.0, max(DRIFT_SD * level, 1e-12)
    weighted = design / sds[:, None]
    cov = np.asarray(np.linalg.inv(weighted.T @ weighted), dtype=np.float64)
    fitted = cov @ weighted.T @ (observed / sds)
    return fitted[:-1], float(fitted[-1]), cov


def _verdict(opening: float, tolerance: float, uncertainty: float) -> BoreVerdict:
    if abs(opening) <= tolerance - uncertainty:
        return BoreVerdict.EVEN
    if abs(opening) <= tolerance + uncertainty:
        return BoreVerdict.AT_LIMIT
    return BoreVerdict.OPEN if opening > 0 else BoreVerdict.CLOSED


def _overall(standings: Sequence[BoreResult], complete: bool) -> RoundVerdict:
    kinds = {s.verdict for s in standings}
    if kinds & {BoreVerdict.OPEN, BoreVerdict.CLOSED}:
        return RoundVerdict.NOT_EVEN
    if not complete:
        return RoundVerdict.INCOMPLETE
    return RoundVerdict.UNDECIDED if BoreVerdict.AT_LIMIT in kinds else RoundVerdict.EVEN


def _bank_means(layout: Layout, by_bore: Mapping[int, float]) -> dict[str, float]:
    means: dict[str, float] = {}
    for bank in layout.banks:
        read = [by_bore[bore] for bore in bank.bores if bore in by_bore]
        if read:
            means[bank.name] = sum(read) / len(read)
    return means
