"""The state of an engine at idle: a Gaussian, and the geometry of plates that its numbers stand for.

It is over two numbers per bore and two for the engine: the edge gap, what leaks past beside it (as an area, with all
that is particular to the bore), the meter's scale and the engine's demand, both as logarithms; and what a turn of each
screw with a gain does, where there are such (``uncertain_gains``); and by how much a turn of each bank's stop screw
does more than its drawing says, as a logarithm. Gaps are not independent to begin with: the error of a coupler is
shared by every bore beyond it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.adjusters.registry import adjusters_with_gain, gain_kind, moved_bores
from app.sync.engine.engine_air import DEMAND_SD, LEAK_SD, Ambient, IdleFlowModel, area_at, usual_breathing
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Adjuster, Layout
from app.sync.engine.linkage import IDLE_GAP, gap_width, stop_rotation
from app.sync.engine.plate import FIT, closed_leakage, gap_rate
from app.sync.engine.units import THOU
from app.sync.estimation.uncertain_gains import SIGN_Z, prior_gains

Floats = NDArray[np.float64]

# Before anything was read; all our judgement, the spreads as scatter usually found.
BANK_PRIOR_SD = 0.008  # rad, common to a bank
COUPLER_PRIOR_SD = 0.010  # rad, of each coupler, carried by everything beyond it
SHAFT_PRIOR_SD = 0.004  # rad, between two plates on one shaft
SCALE_PRIOR_SD = 0.10  # of the meter against another

# How well a hand and a screw do what was asked.
FEELER_SD = 0.4 * THOU  # our judgement
TURN_SD = 0.012  # of a turn (our judgement)
PLAY_SD = 0.01  # of a turn of a stop screw, in proportion to what it is turned by (our judgement)

TRAVEL_MEASURED_SD, TRAVEL_ESTIMATED_SD = 0.10, 0.15
"""Of what the drawing says a turn of a stop screw does: where its thread and lever were measured, and where they are
estimates. The same for every turn, so that readings after the first one teach it (our judgement)."""

LEAST_GAP = 0.1 * THOU  # our judgement


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """A Gaussian over gaps [m], leaks [m2], gains, ln(true / drawn travel) of each bank's stop screw, ln(meter scale)
    and ln(demand), in this order; bores as walked.

    Gains are what a turn of each of ``adjusters_with_gain`` does. ``mean`` has shape (2 bores + gains + banks + 2,),
    ``covariance`` its square; ``row_of_bore`` gives each bore's row; ``log_evidence`` is how likely all that was read
    is, as a logarithm up to a constant. Worked out from those: how many ``bores`` there are, and ``width``, the area
    that one meter of gap opens [m]: half the bore's circumference, to 0.5 % at idle. Several of one engine may be
    stacked along leading axes of ``mean`` and ``covariance``.
    """

    layout: Layout
    hardware: Hardware
    engine: IdleFlowModel
    mean: Floats
    covariance: Floats
    row_of_bore: Mapping[int, int]
    log_evidence: Floats | float = 0.0
    bores: int = field(init=False)
    width: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "bores", len(self.row_of_bore))
        object.__setattr__(self, "width", gap_width(self.hardware))

    @property
    def gaps(self) -> Floats:
        """Edge gaps [m], none less than a plate that leaks only."""
        return np.maximum(self.mean[..., : self.bores], LEAST_GAP)

    @property
    def leaks(self) -> Floats:
        """Areas beside the gaps [m2]."""
        return self.mean[..., self.bores : 2 * self.bores]

    @property
    def areas(self) -> Floats:
        """Open areas [m2], above 0."""
        return np.maximum(self.width * self.gaps + self.leaks, self.width * LEAST_GAP)

    @property
    def log_demand(self) -> float:
        """What the engine needs beyond the nominal demand, as a logarithm."""
        return float(self.mean[-1])

    def row(self, bore: int) -> int:
        """Where a bore stands in walking order. Raises KeyError for a bore there is not."""
        return self.row_of_bore[bore]

    @property
    def stop_travel(self) -> Floats:
        """Angle [rad] that a turn of each bank's stop screw gives, shape (banks,)."""
        return np.asarray(stop_rotation(1.0, self.hardware) * np.exp(self.mean[self.at_travel(0) : -2]))

    def at_travel(self, bank: int) -> int:
        """Where in the state the travel of a bank's stop screw stands, by the bank's place in the layout."""
        return len(self.mean) - 2 - len(self.layout.banks) + bank

    def at_gain(self, screw: Adjuster) -> int:
        """Where in the state it stands what a turn of a screw does. Raises ValueError for one there is not."""
        return 2 * self.bores + adjusters_with_gain(self.layout).index(screw)

    def sign_known(self, screw: Adjuster) -> bool:
        """Whether it is known which way a screw opens what it acts on."""
        if gain_kind(self.layout, screw).sign_known:
            return True
        at = self.at_gain(screw)
        return abs(float(self.mean[at])) > SIGN_Z * math.sqrt(float(self.covariance[at, at]))


def prior_for(layout: Layout, hardware: Hardware, engine: IdleFlowModel) -> Posterior:
    """The prior of an engine before its first reading: physics, and the scatter of parts.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``engine`` how it draws air.
    """
    n = len(layout.bores)
    rate = gap_rate(IDLE_GAP, hardware.bore_diameter.value, hardware.closed_angle.value)
    leak = FIT * closed_leakage(hardware.bore_diameter.value)
    gains, gain_cov = prior_gains(layout, hardware)
    travels = 2 * n + len(gains)
    size = travels + len(layout.banks) + 2
    cov = np.zeros((size, size))
    for bank in layout.banks:
        rows = [layout.bores.index(bore) for bore in bank.bores]
        cov[np.ix_(rows, rows)] += (BANK_PRIOR_SD * rate) ** 2
        for joint in bank.outward:
            rows = [layout.bores.index(bore) for bore in bank.beyond(joint)]
            cov[np.ix_(rows, rows)] += ((SHAFT_PRIOR_SD if joint.kind == "shaft" else COUPLER_PRIOR_SD) * rate) ** 2
    cov[range(n, 2 * n), range(n, 2 * n)] = (LEAK_SD * leak) ** 2
    preset = _preset_air(layout, hardware)
    cov[range(n, 2 * n), range(n, 2 * n)] += preset**2 / 4
    cov[2 * n : travels, 2 * n : travels] = gain_cov
    cov[range(travels, size - 2), range(travels, size - 2)] = travel_sd(hardware) ** 2
    cov[-2, -2], cov[-1, -1] = SCALE_PRIOR_SD**2, DEMAND_SD**2
    width = gap_width(hardware)
    needed = float(area_at(engine, 0.0))
    cov[:n, :n] += (needed / width * DEMAND_SD) ** 2  # more demand, more area: it was set to idle near the speed wanted
    cov[:n, -1] = cov[-1, :n] = needed / width * DEMAND_SD**2
    usual = (needed - leak - preset) / width
    mean = np.concatenate([np.maximum(usual, 2 * THOU), leak + preset, gains, np.zeros(size - travels)])
    return Posterior(layout, hardware, engine, mean, cov, {bore: at for at, bore in enumerate(layout.bores)})


@lru_cache(maxsize=64)
def start_prior(
    layout: Layout, hardware: Hardware, displacement: float, wanted_speed: float, ambient: Ambient | None = None
) -> Posterior:
    """The prior of an engine of that size; the same object for the same engine.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``displacement`` [m3] of the whole engine, above 0;
    ``wanted_speed`` [rev/s]; ``ambient`` the air of the day, standard air when None.
    """
    engine = usual_breathing(len(layout.bores), displacement, wanted_speed, layout.plenum, ambient)
    return prior_for(layout, hardware, engine)


def _preset_air(layout: Layout, hardware: Hardware) -> Floats:
    """Area [m2] that screws let past each plate as they stand after the cold preset."""
    found = np.zeros(len(layout.bores))
    for screw in adjusters_with_gain(layout):
        kind = gain_kind(layout, screw)
        if kind.effect == "lets air past":
            for bore in moved_bores(layout, screw):
                found[layout.bores.index(bore)] += kind.preset * kind.size(hardware)
    return found


def rates(posterior: Posterior, gaps: Floats) -> Floats:
    """``app.sync.engine.plate.gap_rate`` of many gaps at once [m/rad], shape (..., bores).

    Parameters: ``posterior`` about the engine; ``gaps`` [m], shape (..., bores).
    """
    diameter, closed = posterior.hardware.bore_diameter.value, posterior.hardware.closed_angle.value
    cosine = math.cos(closed) * (1 - 2 * gaps / diameter)
    return np.asarray(diameter / 2 * np.sqrt(1 - cosine**2) / math.cos(closed))


def turned(posterior: Posterior, gaps: Floats, rotation: Floats | float) -> Floats:
    """Gaps [m] after their plates turned, closed at the least, shape (..., bores).

    Parameters: ``posterior`` about the engine; ``gaps`` [m] before, shape (..., bores); ``rotation`` [rad], positive
    opening, one for all or shape (..., bores).
    """
    diameter, closed = posterior.hardware.bore_diameter.value, posterior.hardware.closed_angle.value
    angle = np.arccos(math.cos(closed) * (1 - 2 * gaps / diameter)) + rotation
    return np.maximum(diameter / 2 * (1 - np.cos(np.maximum(angle, closed)) / math.cos(closed)), LEAST_GAP)


def rotation_between(posterior: Posterior, before: Floats | float, after: Floats | float) -> Floats:
    """Angle [rad] that takes plates from one gap to another, positive opening, shape (..., bores).

    Parameters: ``posterior`` about the engine; ``before`` and ``after``, gaps [m], one for all or shape (..., bores).
    """
    diameter, closed = posterior.hardware.bore_diameter.value, posterior.hardware.closed_angle.value
    cosine = math.cos(closed)
    return np.asarray(
        np.arccos(cosine * (1 - 2 * np.asarray(after) / diameter))
        - np.arccos(cosine * (1 - 2 * np.asarray(before) / diameter))
    )


def travel_sd(hardware: Hardware) -> float:
    """How far what a turn of a stop screw does may be off its drawing, as a standard deviation of its logarithm.

    Parameters: ``hardware`` fitted.
    """
    measured = hardware.stop_pitch.measured and hardware.stop_lever.measured
    return TRAVEL_MEASURED_SD if measured else TRAVEL_ESTIMATED_SD


def turn_noise(posterior: Posterior, turns: Floats | float) -> Floats:
    """Standard deviation of the angle [rad] that so many turns of a stop screw give beside its travel, shape (...).

    Parameters: ``posterior`` about the engine; ``turns`` of the screw, shape (...).
    """
    return np.abs(stop_rotation(1.0, posterior.hardware) * np.hypot(TURN_SD, PLAY_SD * np.asarray(turns)))


def gain_size(posterior: Posterior, screw: Adjuster) -> float:
    """How much a turn of a screw does by the posterior, whichever way: radians at the plates, or square meters.

    Parameters: ``posterior`` about the engine; ``screw`` one of ``adjusters_with_gain``.
    """
    if not posterior.sign_known(screw):
        return gain_kind(posterior.layout, screw).size(posterior.hardware)
    return abs(float(posterior.mean[posterior.at_gain(screw)]))
