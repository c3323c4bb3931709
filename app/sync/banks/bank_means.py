"""What either bank reads at idle and at an opening, in the meter's unit and as ln(air)."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean

import numpy as np

from app.sync.engine.engine_air import sharing_of
from app.sync.engine.events import Meter
from app.sync.engine.layout import Layout
from app.sync.engine.units import INCH
from app.sync.readings.observation import log_air, own_of, shows_nothing
from app.sync.readings.rounds import reading_sd
from app.sync.slips.changes import Floats

CENTRAL_LEVER = 1.0 * INCH  # a rounded guess serves: the difference hardly depends on the exact opening; our judgement

# Bores even at idle part company off idle: 1.2 % of flow at 20 mrad, 2.1 % at 60 mrad in simulation.
MISMATCH, MISMATCH_AT, MISMATCH_POWER, MISMATCH_SHARED = 0.012, 0.020, 0.5, 0.5  # our judgement

COLUMN_MISMATCH = 0.010
"""Standard deviation of a bore's ln(air) by its column from idle to an opening, from its cylinder's own filling, which
a column sees the less the nearer it comes to zero (our judgement, from simulated engines)."""


@dataclass(frozen=True, slots=True)
class Opening:
    """One part-throttle opening: the feeler under the central lever [m] and the readings taken there [kg/s or Pa].

    ``readings`` are means of ``times`` readings per bore. ``from_above``: the lever was opened further first and came
    back, so that lost motion in a joint no longer holds its bank back.
    """

    lever_travel: float
    readings: Mapping[int, float]
    times: int = 1
    from_above: bool = False


@dataclass(frozen=True, slots=True)
class BankDifference:
    """Second bank less first bank at one opening: mean reading per bore [kg/s or Pa], its error, and per cent of air.

    ``lever_travel`` [m] is 0 at idle; ``first`` and ``second`` are the banks' mean readings per bore. ``air`` is what
    they stand for: the flows themselves [kg/s], or by columns in a unit of its own; ``log_sd`` is the error of their
    ln(ratio), what columns have of their own included. ``from_above`` as in ``Opening``. Worked out from those:
    ``difference`` of the readings and ``apart`` in air, second less first, and ``percent``, the latter in per cent of
    the mean of both, 0 where nothing flowed.
    """

    lever_travel: float
    first: float
    second: float
    sd: float
    air: tuple[float, float]
    log_sd: float
    from_above: bool = False
    difference: float = field(init=False)
    apart: float = field(init=False)
    percent: float = field(init=False)

    def __post_init__(self) -> None:
        (first, second), both = self.air, sum(self.air)
        object.__setattr__(self, "difference", self.second - self.first)
        object.__setattr__(self, "apart", second - first)
        object.__setattr__(self, "percent", 200 * (second - first) / both if both else 0.0)


@dataclass(frozen=True, slots=True)
class BankChange:
    """Mean change of ln(air) of a bank from idle to an opening, with its standard deviation by the meter."""

    change: float
    sd: float


def read_both(
    bores: Sequence[int], readings: Mapping[int, float], idle: Mapping[int, float], meter: Meter
) -> list[int]:
    """The bores that were read at an opening and at idle; those where nothing flowed are left out.

    Parameters: ``bores`` to look for, in their order; ``readings`` at the opening and ``idle``, by bore; ``meter`` they
    were read with.
    """
    columns = meter.quantity != "flow"
    return [b for b in bores if b in readings and b in idle and (columns or (readings[b] > 0 and idle[b] > 0))]


def bank_change(
    bores: Sequence[int], readings: Mapping[int, float], idle: Mapping[int, float], meter: Meter, plenum: bool
) -> BankChange | None:
    """How a bank's air rose from idle to an opening; None where no bore was read both times.

    Parameters: ``bores`` of the bank; ``readings`` at the opening and ``idle``, by bore [kg/s or Pa]; ``meter`` they
    were read with; ``plenum`` whether a common balance plenum joins the runners.
    """
    both = read_both(bores, readings, idle, meter)
    if not both:
        return None
    sharing = sharing_of(plenum)
    pairs = [(log_air(readings[bore], meter, sharing), log_air(idle[bore], meter, sharing)) for bore in both]
    change = fmean(here[0] - at_idle[0] for here, at_idle in pairs)
    return BankChange(change, math.sqrt(sum(one[1] ** 2 for pair in pairs for one in pair)) / len(pairs))


def difference(layout: Layout, opening: Opening, idle: Mapping[int, float], meter: Meter) -> BankDifference | None:
    """The banks side by side at one opening, or None when one of them was not read.

    Parameters: ``layout`` of the engine; ``opening`` with its readings; ``idle`` by bore [kg/s or Pa]; ``meter``.
    """
    means, air, variance, log_variance = [], [], 0.0, 0.0
    sharing = sharing_of(layout.plenum)
    for bank in layout.banks:
        values = [opening.readings[bore] for bore in read_both(bank.bores, opening.readings, idle, meter)]
        if not values:
            return None
        means.append(fmean(values))
        logs = [log_air(value, meter, sharing) for value in values]
        air.append(fmean(log for log, _ in logs))
        variance += sum(reading_sd(value, meter) ** 2 for value in values) / opening.times / len(values) ** 2
        log_variance += sum(sd**2 for _, sd in logs) / opening.times / len(values) ** 2
        log_variance += own_of(meter) ** 2 / len(values)
    stand_for = means if meter.quantity == "flow" else [math.exp(one) for one in air]
    return BankDifference(
        opening.lever_travel,
        means[0],
        means[1],
        math.sqrt(variance),
        (stand_for[0], stand_for[1]),
        math.sqrt(log_variance),
        opening.from_above,
    )


def cannot_tell(opening: Opening, meter: Meter) -> bool:
    """Whether a column stands too near zero at an opening to tell the air; never for a flow meter.

    One is enough: left out, it would make its bank look further closed than it is.

    Parameters: ``opening`` with its readings; ``meter`` they were read with.
    """
    return any(shows_nothing(value, meter) for value in opening.readings.values())


def log_difference(layout: Layout, opening: Opening, idle: Mapping[int, float], meter: Meter) -> float:
    """Second bank less first at an opening read on both banks, in ln(air), less the same at idle.

    Parameters: ``layout`` of the engine; ``opening`` with its readings; ``idle`` by bore [kg/s or Pa]; ``meter``.
    """
    changes = (bank_change(bank.bores, opening.readings, idle, meter, layout.plenum) for bank in layout.banks)
    first, second = (one.change for one in changes if one is not None)
    return second - first


def noise(
    layout: Layout, openings: Sequence[Opening], idle: Mapping[int, float], idle_times: int, meter: Meter
) -> Floats:
    """Covariance of the log differences, shape (openings, openings): meter, the idle reference they share, and bores
    that part off idle.

    Parameters: ``layout`` of the engine; ``openings`` read on both banks; ``idle`` by bore [kg/s or Pa], each of
    ``idle_times`` readings; ``meter``.
    """
    covariance = np.zeros((len(openings), len(openings)))
    for row, one in enumerate(openings):
        for column, other in enumerate(openings):
            for bank in layout.banks:
                here, there = (read_both(bank.bores, opening.readings, idle, meter) for opening in (one, other))
                both = [bore for bore in here if bore in there]
                alike = one.lever_travel == other.lever_travel
                parted = _mismatch(one, meter) * _mismatch(other, meter) * (1.0 if alike else MISMATCH_SHARED)
                common = sum(
                    log_air(idle[b], meter, sharing_of(layout.plenum))[1] ** 2 / idle_times + parted for b in both
                )
                own = sum(log_air(one.readings[bore], meter, sharing_of(layout.plenum))[1] ** 2 for bore in here)
                covariance[row, column] += (common + (own / one.times if row == column else 0.0)) / (
                    len(here) * len(there)
                )
    return covariance


def _mismatch(opening: Opening, meter: Meter) -> float:
    parted = MISMATCH * float((opening.lever_travel / CENTRAL_LEVER / MISMATCH_AT) ** MISMATCH_POWER)
    return parted if meter.quantity == "flow" else math.hypot(parted, COLUMN_MISMATCH)
