"""What turns of couplers' screws and of bypass screws add to a set of moves, many sets at once.

A coupler's screw turns every plate beyond it, but those that a blade further out sets outright; a bypass screw adds to
what leaks past one plate. How much, is what is believed of each of them (``gears``).
"""

from collections.abc import Container, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.layout import Bypass, Layout
from app.sync.engine.linkage import carried
from app.sync.engine.plate import FIT, closed_leakage
from app.sync.estimation.posterior import TURN_SD, Posterior, gain_size
from app.sync.estimation.uncertain_gains import BYPASS_BASE, BYPASS_MOST, adjusters_with_gain

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Truths = NDArray[np.bool_]

EIGHTH = 1 / 8
"""The step of a bypass screw, in turns: about half a per cent of a bore's air."""


class Joined(NamedTuple):
    """The screws of an engine as numbers. ``couplers`` are the places of those set by a screw among all couplers,
    ``beyond`` the bores that each of them moves; ``bypass`` the rows of the bores with a bypass screw; ``owned`` the
    bores that a screw of either kind evens."""

    couplers: Ints
    beyond: Truths
    bypass: Ints
    owned: Truths


@lru_cache(maxsize=64)
def joined(layout: Layout) -> Joined:
    """The screws of an engine; not to be written to.

    Parameters: ``layout`` of the engine.
    """
    rows = {bore: at for at, bore in enumerate(layout.bores)}
    by_screw = np.array(
        [at for at, coupler in enumerate(layout.couplers()) if layout.by_screw(coupler)], dtype=np.int64
    )
    owned = [layout.own_adjuster(bore) in adjusters_with_gain(layout) for bore in layout.bores]
    bypass = np.array([rows[screw.bore] for screw in layout.bypass_screws], dtype=np.int64)
    return Joined(by_screw, carried(layout)[by_screw], bypass, np.array(owned, dtype=bool))


@dataclass(frozen=True, eq=False)
class Turned:
    """What the turns of several choices do. Shapes begin (choices, bores) unless it says otherwise.

    ``coupler_turns`` and ``bypass_turns`` have shapes (choices, screws); ``origin`` is the row of the bore whose blade
    sets a bore, -1 where none does.
    """

    posterior: Posterior
    coupler_turns: Floats
    bypass_turns: Floats
    origin: Ints

    @cached_property
    def _gains(self) -> Floats:
        """What a turn does, in the order of ``adjusters_with_gain``."""
        n = self.posterior.bores
        return self.posterior.mean[2 * n : -2]

    @cached_property
    def _sizes(self) -> Floats:
        return np.array([gain_size(self.posterior, screw) for screw in adjusters_with_gain(self.posterior.layout)])

    @cached_property
    def _acts(self) -> Floats:
        """Turns of each coupler's screw that reach each bore, shape (choices, screws, bores)."""
        beyond = joined(self.posterior.layout).beyond
        by_blade = np.take(beyond, np.maximum(self.origin, 0), axis=1).swapaxes(0, 1) & (self.origin >= 0)[:, None, :]
        return self.coupler_turns[:, :, None] * (beyond & ~by_blade)

    @cached_property
    def rotation(self) -> Floats:
        """Angle that couplers' screws turn each plate by [rad]."""
        return np.asarray((self._acts * self._gains[: self.coupler_turns.shape[1], None]).sum(axis=1))

    @cached_property
    def leaks(self) -> Floats:
        """Area that bypass screws open beside each plate [m2]."""
        found = np.zeros(self.origin.shape)
        found[:, joined(self.posterior.layout).bypass] = self.bypass_turns * self._gains[self.coupler_turns.shape[1] :]
        return found

    @property
    def moved(self) -> Truths:
        """Bores whose own screw is turned."""
        screws = joined(self.posterior.layout)
        found = np.zeros(self.origin.shape, dtype=bool)
        found[:, screws.bypass] = self.bypass_turns != 0
        return np.asarray(found | ((self._acts != 0).any(axis=1) & screws.owned))

    @property
    def count(self) -> Ints:
        """Screws turned, shape (choices,)."""
        return np.asarray((self.coupler_turns != 0).sum(axis=1) + (self.bypass_turns != 0).sum(axis=1))

    def add_answer(self, lever: Floats, rates: Floats) -> None:
        """Add to ``lever`` how gaps and leaks answer to what a turn does; ``rates`` of each plate [m/rad]."""
        n, screws = self.posterior.bores, self.coupler_turns.shape[1]
        lever[:, :, 2 * n : 2 * n + screws] += (self._acts * rates[:, None, :]).swapaxes(1, 2)
        rows = joined(self.posterior.layout).bypass
        lever[:, rows, 2 * n + screws + np.arange(len(rows))] += self.bypass_turns / self.posterior.width

    def noise(self, rates: Floats) -> Floats:
        """What hands add, as covariance of gaps [m2], shape (choices, bores, bores)."""
        screws = self.coupler_turns.shape[1]
        shaken = TURN_SD * self._sizes[:screws, None] * (self._acts != 0) * rates[:, None, :]
        found = np.asarray(shaken.swapaxes(1, 2) @ shaken)
        rows = joined(self.posterior.layout).bypass
        found[:, rows, rows] += ((self.bypass_turns != 0) * TURN_SD * self._sizes[screws:] / self.posterior.width) ** 2
        return found


def bypass_room(layout: Layout, opened: Mapping[int, float], helpless: Container[int] = ()) -> list[tuple[int, int]]:
    """How far each bypass screw can still be turned in and out, in steps of ``EIGHTH``.

    Parameters: ``layout`` of the engine; ``opened`` turns by which each stands out further than after the preset;
    ``helpless`` bores where it is left as it is.

    >>> from app.sync.engine.layout import Bank
    >>> bypass_room(Layout((Bank("A", (1,), 1, 1),), bypass=frozenset({1})), {1: 0.5})
    [(-16, 16)]
    """
    room = []
    for screw in layout.bypass_screws:
        out = BYPASS_BASE + opened.get(screw.bore, 0.0)
        least, most = (-max(int(one / EIGHTH + 1e-6), 0) for one in (out, BYPASS_MOST - out))
        room.append((0, 0) if screw.bore in helpless else (least, -most))
    return room


def turned_out(posterior: Posterior) -> dict[int, float]:
    """Turns by which each bypass screw seems to stand out further than after the preset, by bore: 0 for a usual belief.

    Told from what leaks past its plate; the plate's own leak cannot be told from it, so it is right to a turn or so.

    Parameters: ``posterior`` about the engine.
    """
    closed = FIT * closed_leakage(posterior.hardware.bore_diameter.value)
    found = {}
    for screw in posterior.layout.bypass_screws:
        beyond = float(posterior.leaks[posterior.row(screw.bore)]) - closed
        found[screw.bore] = beyond / gain_size(posterior, screw) - BYPASS_BASE
    return found


def as_if_known(posterior: Posterior) -> Posterior:
    """A belief in which every coupler's screw of unknown way opens inward, to plan with: it is turned a little first.

    Parameters: ``posterior`` about the engine.
    """
    unknown = [
        one
        for one in adjusters_with_gain(posterior.layout)
        if not isinstance(one, Bypass) and not posterior.knows_way(one)
    ]
    if not unknown:
        return posterior
    at = [posterior.at_gain(coupler) for coupler in unknown]
    mean, cov = posterior.mean.copy(), posterior.covariance.copy()
    mean[at] = [gain_size(posterior, coupler) for coupler in unknown]
    cov[at], cov[:, at] = 0.0, 0.0
    return replace(posterior, mean=mean, covariance=cov)
