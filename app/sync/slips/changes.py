"""As left against as found, bore by bore: readings pooled, their change in ln(flow), and what air and speed explain."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.air import pressure_sensitivity
from app.sync.engine.engine_air import IDLE_RATIO, TACHOMETER_SD, sharing_of
from app.sync.engine.events import Meter
from app.sync.engine.layout import Layout
from app.sync.estimation.misreads import screen
from app.sync.estimation.share_mixture import Course
from app.sync.readings.idle_wander import BETWEEN_ROUNDS, EVERY_READING
from app.sync.readings.observation import log_air
from app.sync.readings.repeat_checks import FAR

Floats = NDArray[np.float64]

COMMON_SPREAD = math.hypot(BETWEEN_ROUNDS, math.sqrt(2) * TACHOMETER_SD / 2)
"""Of ln(flow), what all bores did beyond what air and idle speed explain: the idle strayed in both rounds, and both
speeds were read, of whose error the flow has about half (by definition)."""

COMMON_FREE = 1.0  # of ln(flow), where air or speed is not known (our judgement)
AGEING, NOT_SOAKED = 0.008, 0.03  # of a bore's ln(flow) between two visits; our judgement
MISREAD_SPREAD = 0.15  # by how much of ln(flow) a value is wrong that was misread; our judgement


@dataclass(frozen=True, slots=True)
class Pooled:
    """All readings of one bore taken together: their mean [kg/s, or Pa of vacuum] and how many there were.

    ``agreed`` is False when the readings contradict one another and it is not known yet which of them is wrong;
    ``strays`` were left out as misread. ``apart``: by what the scale of the sensor that read them may be off beside
    the other time's, as a fraction of the mean.
    """

    mean: float
    n: int
    agreed: bool = True
    strays: int = 0
    apart: float = 0.0

    @property
    def thin(self) -> bool:
        """Whether one more misread value would be enough for the mean to be wrong: a single reading, or two to one."""
        return self.agreed and (self.n == 1 or self.n <= 2 * self.strays)


@dataclass(frozen=True, slots=True)
class Conditions:
    """Air and speed of a visit's round: ``pressure`` [Pa], ``temperature`` [K], idle ``speed`` [rev/s]."""

    pressure: float
    temperature: float
    speed: float


def pool(values: Sequence[float], meter: Meter, apart: float = 0.0) -> Pooled:
    """Readings of one bore taken together, without those that were misread, by the one rule for that (``misreads``).

    Parameters: ``values`` read at one bore [kg/s, or Pa of vacuum], at least one, in the order taken; ``meter`` they
    were read with; ``apart`` as in ``Pooled``. Raises ValueError without a reading.

    >>> pool([6.5 / 3600, 8.0 / 3600], Meter()).agreed
    False
    >>> pooled = pool([6.5 / 3600, 8.0 / 3600, 6.5 / 3600], Meter())
    >>> round(pooled.mean * 3600, 2), pooled.n, pooled.agreed
    (6.5, 2, True)
    """
    if not values:
        raise ValueError("There is nothing to pool without a reading.")
    airs, sds = np.array([log_air(value, meter) for value in values]).T
    if np.ptp(airs) <= FAR * sds.min():  # none can be further from what the others say
        return Pooled(sum(values) / len(values), len(values), apart=apart)
    at, none = np.arange(len(values)), np.zeros(len(values), dtype=np.intp)
    found = screen(Course(1, none, airs, sds**2, EVERY_READING / 60 * (at - at.mean()), none))
    kept = [value for n, value in enumerate(values) if n not in found.left_out]
    return Pooled(sum(kept) / len(kept), len(kept), not found.contradictory, len(found.left_out), apart)


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


def log_changes(
    layout: Layout,
    left: Mapping[int, Pooled],
    found: Mapping[int, Pooled],
    meter: Meter,
    heat_soaked: bool = True,
    left_meter: Meter | None = None,
    sharing: float | None = None,
) -> tuple[tuple[int, ...], Floats, Floats]:
    """Bores read both times, their ln(found / left) in terms of flow, and its variance without the common part.

    The last two have shape (bores,), of the bores read both times. Where readings of a bore contradict one another,
    the bore counts for next to nothing.

    Parameters: ``layout`` of the engine; ``left`` and ``found`` pooled readings per bore; ``meter`` they were read
    with; ``heat_soaked`` False when one of the rounds was not taken hot, which lets every bore stray further;
    ``left_meter`` that ``left`` was read with, when it was another one or in another day's air; ``sharing`` the part of
    a runner's pressure that all runners share, the usual one when None.

    Source: repeatability and step of the meter, and 0.8 % of ageing and warmth (judgement).

    >>> from app.sync.engine.layout import Bank
    >>> pair = Layout((Bank("A", (1, 2), stop=1, drive=1),))
    >>> bores, changes, _ = log_changes(pair, {1: Pooled(2e-3, 3)}, {1: Pooled(2.2e-3, 2), 2: Pooled(2e-3, 2)}, Meter())
    >>> bores, changes.round(3).tolist()
    ((1,), [0.095])
    """
    bores = tuple(bore for bore in layout.bores if bore in left and bore in found)
    ageing = AGEING if heat_soaked else NOT_SOAKED
    shared = sharing_of(layout.plenum) if sharing is None else sharing
    changes, variances = [], []
    for bore in bores:
        was, was_sd = log_air(left[bore].mean, left_meter or meter, shared)
        now, now_sd = log_air(found[bore].mean, meter, shared)
        changes.append(now - was)
        contradicted = sum(MISREAD_SPREAD**2 for pooled in (left[bore], found[bore]) if not pooled.agreed)
        scales = sum(
            log_air(pooled.mean, read_by, shared, pooled.apart)[1] ** 2
            for pooled, read_by in ((left[bore], left_meter or meter), (found[bore], meter))
            if pooled.apart
        )
        variances.append(was_sd**2 / left[bore].n + now_sd**2 / found[bore].n + ageing**2 + contradicted + scales)
    return bores, np.array(changes), np.array(variances)


def no_slip_covariance(variances: Floats, common_known: bool) -> Floats:
    """Covariance of the changes when nothing slipped: each bore's own noise and what all bores share.

    It has shape (bores, bores).

    Parameters: ``variances`` of each bore's change of ln(flow), shape (bores,); ``common_known`` False when what
    they share is free: another meter's scale, or air and idle speed that were not recorded.

    >>> no_slip_covariance(np.array([1e-4, 1e-4]), common_known=False).round(2).tolist()
    [[1.0, 1.0], [1.0, 1.0]]
    """
    common = COMMON_SPREAD if common_known else COMMON_FREE
    covariance: Floats = np.diag(variances) + common**2
    return covariance
