"""How even the bores of a round stand, by everything read of the same state of the engine: ``evenness``.

This is the one verdict of the program: the card, the tiles, the ruler, the board, paper and programs say what stands
here and judge nothing themselves.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial
from operator import attrgetter

from app.sync.engine.engine_air import sharing_of
from app.sync.engine.events import Meter, Reading
from app.sync.engine.hardware import NINE_IN_TEN
from app.sync.engine.layout import Layout
from app.sync.estimation.conformity import PASS_PROBABILITY, Conformity, Decision, decide
from app.sync.estimation.shares import BoreShare, LogReading, SharePosterior, pooled
from app.sync.readings.carried import apart, judged_by
from app.sync.readings.observation import far_from_others, log_air, own_of, per_air, scale_of
from app.sync.readings.rounds import fit
from app.sync.readings.untouched import Untouched


class BoreVerdict(StrEnum):
    """How one bore compares with the mean. `wide` is a plate open too far, `tight` one closed too far; `too close`: it
    is not sure on which side of the tolerance limit it lies."""

    EVEN = "even"
    AT_LIMIT = "too close"
    OPEN = "wide"
    CLOSED = "tight"


@dataclass(frozen=True, slots=True)
class BoreResult:
    """One bore: its ``value`` in the round with the drift corrected [kg/s or Pa], and what all readings say of it.

    ``share`` is its air beside the mean, +0.08 for 8 % more, with ``low`` and ``high`` around it in nine cases of ten;
    ``inside``, ``above`` and ``below`` are the chances that it lies inside the tolerance or beyond it. ``verdict`` is
    about the plate. ``deviation`` is the share in the unit of the meter, ``opening`` the same with the sign of the
    plate, positive when open, and ``uncertainty`` half the width of the interval in that unit; ``share_sd`` is the
    standard deviation of the share that the interval says.
    """

    bore: int
    value: float
    share: float
    low: float
    high: float
    inside: float
    above: float
    below: float
    verdict: BoreVerdict
    deviation: float
    opening: float
    uncertainty: float
    share_sd: float


@dataclass(frozen=True, slots=True)
class RoundResult:
    """How even the engine stands as of a round. Values in kg/s or Pa.

    ``tolerance`` is the allowed deviation from the ``mean`` and ``window`` the same as a fraction of the air, both
    narrower where sensors read that differ from bore to bore;
    ``uncertainty`` the widest of the bores; ``drift`` the change over the round that was corrected, with ``drift_seen``
    when it is beyond its own error; ``bank_means`` are means of values and ``bank_shares`` those of shares, by bank, of
    the bores read; ``outliers`` the bores to read again first. ``decision`` has the verdict, the chance that all bores
    are inside, and what more readings would decide; ``verdict`` is its own. ``counted`` readings were gone by.
    ``alone``: one bore was read and no other, so that there is nothing to compare it with.
    """

    mean: float
    window: float
    tolerance: float
    uncertainty: float
    drift: float
    drift_seen: bool
    standings: tuple[BoreResult, ...]
    bank_means: Mapping[str, float]
    bank_shares: Mapping[str, float]
    decision: Decision
    outliers: frozenset[int]
    counted: int
    verdict: Conformity = field(init=False)
    alone: bool = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "verdict", self.decision.conformity)
        object.__setattr__(self, "alone", len(self.standings) == 1)

    @property
    def least_likely(self) -> int:
        """The bore that is least likely inside."""
        return min(self.standings, key=lambda one: one.inside).bore


def evenness(
    layout: Layout,
    readings: Sequence[Reading],
    meter: Meter,
    window: float,
    before: Sequence[Reading] = (),
    pass_probability: float = PASS_PROBABILITY,
    sharing: float | None = None,
    earlier: Sequence[Untouched] = (),
    *,
    sharing_sd: float = 0.0,
    ahead: bool = True,
) -> RoundResult:
    """How even the bores stand, as far as they were read.

    Parameters: ``layout`` of the engine; ``readings`` of one round in the order taken, with no move between them, at
    least one; ``meter`` they were read with; ``window`` the half width as a fraction of the mean, above 0; ``before``,
    readings of earlier rounds since the last move; ``pass_probability`` from which the engine is called even;
    ``sharing`` the part of a runner's pressure that all runners share, the usual one when None, and ``sharing_sd`` how
    well it is known; ``earlier`` readings of bores that no move acted on since; ``ahead`` as for ``decide``. Raises
    ValueError without a reading, or for a bore the layout does not have.

    >>> from app.sync.engine.layout import Bank
    >>> four = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))
    >>> flows = [Reading(b, f / 3600, 20.0 * n) for n, (b, f) in enumerate([(1, 6.5), (2, 6.5), (3, 8.5), (4, 6.5)])]
    >>> round_ = evenness(four, [*flows, Reading(1, 6.5 / 3600, 80.0, closing=True)], Meter(), 0.08)
    >>> print(round_.verdict, round_.standings[2].verdict, sep=", ")
    not even, wide
    """
    if {r.bore for r in readings} - set(layout.bores):
        raise ValueError("a reading names a bore the engine does not have")
    closed = any(map(attrgetter("closing"), readings))
    shared = sharing_of(layout.plenum) if sharing is None else sharing
    far = partial(apart, meter=meter, sharing=shared)
    before, readings, earlier, window, unproved = judged_by(before, readings, earlier, window, far)
    fitted = fit(readings, meter, earlier)
    past = [log for one in earlier for log in _as_air(one.readings, meter, shared, one.moves)]
    air = [*past, *_as_air((*before, *readings), meter, shared)]
    unsure = scale_of(fitted.mean, meter, shared, sharing_sd) if sharing_sd else 0.0
    posterior = pooled(layout.bores, air, window, own=own_of(meter), scale=unsure)
    decision = decide(posterior, pass_probability, closed=closed, ahead=ahead).unless_unproved(unproved)
    scale = per_air(fitted.mean, meter, shared)
    read = [bore for bore in layout.bores if bore in fitted.values]
    standings = [_standing(posterior.shares[bore], fitted.values[bore], scale, pass_probability) for bore in read]
    return RoundResult(
        mean=fitted.mean,
        window=window,
        tolerance=window * abs(scale),
        uncertainty=max([one.uncertainty for one in standings]),
        drift=fitted.drift,
        drift_seen=fitted.drift_seen,
        standings=tuple(standings),
        bank_means=_bank_means(layout, fitted.values),
        bank_shares=_bank_means(layout, {one.bore: one.share for one in standings}),
        decision=decision,
        outliers=far_from_others(fitted.values, meter) | frozenset(posterior.contradictory),
        counted=_counted(posterior),
    )


def _as_air(readings: Sequence[Reading], meter: Meter, sharing: float, moves: int = 0) -> list[LogReading]:
    found = []
    for one in readings:
        air, sd = log_air(one.value, meter, sharing, one.sd)
        found.append(LogReading(one.bore, air, sd**2, one.at, moves=moves))
    return found


def _standing(one: BoreShare, value: float, scale: float, sure: float) -> BoreResult:
    """A bore, with ``scale`` the change of a reading for a relative change of air."""
    return BoreResult(
        bore=one.bore,
        value=value,
        share=one.median,
        low=one.low,
        high=one.high,
        inside=one.inside,
        above=one.above,
        below=one.below,
        verdict=_verdict(one, sure),
        deviation=one.median * scale,
        opening=one.median * abs(scale),
        uncertainty=(one.high - one.low) / 2 * abs(scale),
        share_sd=(one.high - one.low) / (2 * NINE_IN_TEN),
    )


def _verdict(one: BoreShare, sure: float) -> BoreVerdict:
    if one.inside >= sure:
        return BoreVerdict.EVEN
    if one.above >= sure:
        return BoreVerdict.OPEN
    return BoreVerdict.CLOSED if one.below >= sure else BoreVerdict.AT_LIMIT


def _counted(posterior: SharePosterior) -> int:
    return sum([one.readings for one in posterior.shares.values()])


def _bank_means(layout: Layout, by_bore: Mapping[int, float]) -> dict[str, float]:
    means: dict[str, float] = {}
    for bank in layout.banks:
        read = [by_bore[bore] for bore in bank.bores if bore in by_bore]
        if read:
            means[bank.name] = sum(read) / len(read)
    return means
