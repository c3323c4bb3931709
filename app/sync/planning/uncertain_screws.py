"""What turns of screws with a gain add to a set of moves, many sets at once.

Some turn plates, but those that a feeler further out sets outright: a coupler's screw every plate beyond it. Others add
to what leaks past a plate, as bypass screws do. How much, is part of the posterior (``uncertain_gains``).
"""

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.adjusters.kind import ScrewWithGain
from app.sync.engine.adjusters.registry import (
    adjuster_of,
    adjusters_with_gain,
    gain_kind,
    kind_of,
    moved_bores,
    own_adjuster,
    own_screws,
    reach_of,
)
from app.sync.engine.events import SEEN, Event
from app.sync.engine.layout import Adjuster, Layout
from app.sync.engine.plate import FIT, closed_leakage
from app.sync.estimation.posterior import TURN_SD, Posterior, gain_size

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Truths = NDArray[np.bool_]


class Screws(NamedTuple):
    """The screws with a gain of an engine as numbers, in the order of ``adjusters_with_gain``.

    ``couplers`` are the places of those that set a coupler among all couplers; they come first. ``plates`` are the
    bores that each of those that turn plates reaches, ``air`` those of the ones that let air past; ``steps`` the turns
    of a step of each; ``owned`` the bores that a screw of any kind evens.
    """

    couplers: Ints
    plates: Truths
    air: Truths
    steps: Floats
    owned: Truths


@lru_cache(maxsize=64)
def screws_of(layout: Layout) -> Screws:
    """The screws with a gain of an engine; not to be written to.

    Parameters: ``layout`` of the engine.
    """
    screws = adjusters_with_gain(layout)
    kinds = [gain_kind(layout, screw) for screw in screws]
    couplers = [at for at, coupler in enumerate(layout.couplers()) if layout.by_screw(coupler)]
    turning = sum(kind.effect == "turns plates" for kind in kinds)
    return Screws(
        np.array(couplers, dtype=np.int64),
        reach_of(layout, screws[:turning]),
        reach_of(layout, screws[turning:]),
        np.array([kind.step for kind in kinds]),
        np.array([own_adjuster(layout, bore) in screws for bore in layout.bores], dtype=bool),
    )


@dataclass(frozen=True, eq=False)
class Turned:
    """What the turns of several choices do. Shapes begin (choices, bores) unless it says otherwise.

    ``turns`` have shape (choices, screws), in the order of ``adjusters_with_gain``; ``origin`` is the row of the bore
    whose feeler sets a bore, -1 where none does.
    """

    posterior: Posterior
    turns: Floats
    origin: Ints

    @property
    def _screws(self) -> Screws:
        return screws_of(self.posterior.layout)

    @property
    def _turning(self) -> int:
        """How many of the screws turn plates; the others let air past."""
        return len(self._screws.plates)

    @cached_property
    def _gains(self) -> Floats:
        """What a turn of each screw does."""
        return self.posterior.mean[2 * self.posterior.bores : self.posterior.at_travel(0)]

    @cached_property
    def _sizes(self) -> Floats:
        return np.array([gain_size(self.posterior, screw) for screw in adjusters_with_gain(self.posterior.layout)])

    @cached_property
    def _acts(self) -> Floats:
        """Turns of each screw that turns plates as they reach each bore, shape (choices, screws, bores)."""
        plates = self._screws.plates
        by_feeler = np.take(plates, np.maximum(self.origin, 0), axis=1).swapaxes(0, 1) & (self.origin >= 0)[:, None, :]
        return self.turns[:, : self._turning, None] * (plates & ~by_feeler)

    @cached_property
    def _passes(self) -> Floats:
        """Turns of each screw that lets air past as they reach each bore, shape (choices, screws, bores)."""
        return self.turns[:, self._turning :, None] * self._screws.air

    @cached_property
    def rotation(self) -> Floats:
        """Angle that screws turn each plate by [rad]."""
        return np.asarray((self._acts * self._gains[: self._turning, None]).sum(axis=1))

    @cached_property
    def leaks(self) -> Floats:
        """Area that screws open beside each plate [m2]."""
        return np.asarray((self._passes * self._gains[self._turning :, None]).sum(axis=1))

    @property
    def touched(self) -> Truths:
        """Bores that a screw acts on."""
        return np.asarray((self._acts != 0).any(axis=1) | (self._passes != 0).any(axis=1))

    @property
    def moved(self) -> Truths:
        """Bores whose own screw is turned."""
        return np.asarray(self.touched & self._screws.owned)

    @property
    def count(self) -> Ints:
        """Screws turned, shape (choices,)."""
        return np.asarray((self.turns != 0).sum(axis=1))

    def add_answer(self, lever: Floats, rates: Floats) -> None:
        """Add to ``lever`` how gaps and leaks answer to what a turn does; ``rates`` of each plate [m/rad]."""
        first = 2 * self.posterior.bores
        middle, end = first + self._turning, first + self.turns.shape[1]
        lever[:, :, first:middle] += (self._acts * rates[:, None, :]).swapaxes(1, 2)
        lever[:, :, middle:end] += self._passes.swapaxes(1, 2) / self.posterior.width

    def noise(self, rates: Floats) -> Floats:
        """What hands add, as covariance of gaps [m2], shape (choices, bores, bores)."""
        sizes = TURN_SD * self._sizes[:, None]
        shaken = sizes[: self._turning] * (self._acts != 0) * rates[:, None, :]
        passed = sizes[self._turning :] * (self._passes != 0) / self.posterior.width
        return np.asarray(shaken.swapaxes(1, 2) @ shaken + passed.swapaxes(1, 2) @ passed)


def screw_room(
    layout: Layout, opened: Mapping[Adjuster, float], helpless: Container[int] = ()
) -> list[tuple[int, int]]:
    """How far each of ``own_screws`` can still be turned, in its steps: towards its closed end and towards the other.

    Parameters: ``layout`` of the engine; ``opened`` turns by which each stands further open than after the preset;
    ``helpless`` bores where their own screw is left as it is.

    >>> from app.sync.engine.layout import Bank, Bypass
    >>> screw_room(Layout((Bank("A", (1,), 1, 1),), bypass=frozenset({1})), {Bypass(1): 0.5})
    [(-16, 16)]
    """
    room = []
    for screw in own_screws(layout):
        idle = all(bore in helpless for bore in moved_bores(layout, screw))
        room.append((0, 0) if idle else gain_kind(layout, screw).room(opened.get(screw, 0.0)))
    return room


def turned_out(posterior: Posterior) -> dict[Adjuster, float]:
    """Turns by which each screw that has an end seems to stand further open than after the preset: 0 for a usual prior.

    Told from what leaks past its plate; the plate's own leak cannot be told from it, so it is right to a turn or so.

    Parameters: ``posterior`` about the engine.
    """
    layout = posterior.layout
    closed = FIT * closed_leakage(posterior.hardware.bore_diameter.value)
    found = {}
    for screw in own_screws(layout):
        kind, (bore, *others) = gain_kind(layout, screw), moved_bores(layout, screw)
        if kind.has_end and kind.effect == "lets air past" and not others:
            beyond = float(posterior.leaks[posterior.row(bore)]) - closed
            found[screw] = beyond / gain_size(posterior, screw) - kind.preset
    return found


def as_if_known(posterior: Posterior) -> Posterior:
    """A posterior in which every screw of unknown way opens when turned its positive way, to plan with: it is turned a
    little first.

    Parameters: ``posterior`` about the engine.
    """
    unknown = [screw for screw in adjusters_with_gain(posterior.layout) if not posterior.sign_known(screw)]
    if not unknown:
        return posterior
    at = [posterior.at_gain(screw) for screw in unknown]
    mean, cov = posterior.mean.copy(), posterior.covariance.copy()
    mean[at] = [gain_size(posterior, screw) for screw in unknown]
    cov[at], cov[:, at] = 0.0, 0.0
    return replace(posterior, mean=mean, covariance=cov)


def opened_by(start: Posterior, events: Sequence[Event]) -> dict[Adjuster, float]:
    """Turns by which each screw that meets an end stands further open than after the preset: as an earlier visit left
    it, and all turns of this one.

    Parameters: ``start`` before the visit; ``events`` of it, oldest first.
    """
    opened = turned_out(start)
    for event in events:
        if not isinstance(event, SEEN):
            kind, adjuster = kind_of(event.kind), adjuster_of(event)
            if isinstance(kind, ScrewWithGain) and kind.has_end:
                opened[adjuster] = opened.get(adjuster, 0.0) + event.amount
    return opened
