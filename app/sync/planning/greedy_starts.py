"""Sets of moves to start from where not every joint is a coupler on a feeler, and what to try around them.

For each flow that may be aimed at: the stop screw first, then outward from it joint by joint, each set so that what it
carries meets the flow, then the screws of single bores; what stands well inside the window is left alone. That is what
a careful hand would do. What it leaves to be gained is found by trying each adjuster a step either way, all bores
judged together (``optimize``).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from app.sync.engine.adjusters.registry import gain_kind, moved_bores, own_adjuster, own_screw, own_screws
from app.sync.engine.layout import Adjuster, Bank, Coupler, Layout, StopScrew
from app.sync.estimation.posterior import Posterior, rotation_between, turned
from app.sync.planning.bank_search import MOST_SIXTEENTHS, areas_to_aim_at
from app.sync.planning.evaluation import SIXTEENTH, UNCHANGED, Candidate, Floats, PlanningProblem
from app.sync.planning.uncertain_screws import screw_room

NEAR = 0.5
"""Part of the window within which a bore is left alone (our judgement)."""


def greedy_candidates(posterior: Posterior, task: PlanningProblem) -> list[Candidate]:
    """A choice for each flow that may be aimed at, with the stop screws set by their own bores or by their whole banks.

    Parameters: ``posterior`` about the engine; ``task`` to do.
    """
    low, high = areas_to_aim_at(posterior, task)
    bounds = screw_room(posterior.layout, task.opened, task.helpless)
    sizes = task.sizes
    walks = (
        _GreedyPath(posterior, task, sizes, bounds, float(area), whole)
        for area in (low + high) / 2
        for whole in (False, True)
    )
    return list(dict.fromkeys(walk.choice() for walk in walks))


def neighborhood(choice: Candidate, posterior: Posterior, task: PlanningProblem) -> Iterator[Candidate]:
    """A choice with one move left out, one added, or one a step or two more or less.

    Parameters: ``choice`` to begin from; ``posterior`` about the engine; ``task`` to do.
    """
    layout = posterior.layout
    for at, values in enumerate(_values(layout, task)):
        now = choice[at]
        blade = values.start == UNCHANGED
        steps = {UNCHANGED, now - 1, now + 1} if blade else {0, now - 2, now - 1, now + 1, now + 2}
        for value in steps - {now}:
            if value in values:
                yield (*choice[:at], value, *choice[at + 1 :])


def _values(layout: Layout, task: PlanningProblem) -> list[range]:
    """What each place of a choice may hold."""
    turn = range(-MOST_SIXTEENTHS, MOST_SIXTEENTHS + 1)
    couplers = [turn if layout.by_screw(one) else range(UNCHANGED, len(task.stacks)) for one in layout.couplers()]
    own = [range(least, most + 1) for least, most in screw_room(layout, task.opened, task.helpless)]
    return [*[turn] * len(layout.banks), *couplers, *own]


@dataclass
class _GreedyPath:
    """One way outward, towards ``area`` [m2] at every bore; ``whole`` to set a stop screw by all bores of its bank.

    ``sizes`` are the feelers [m], ``bounds`` how far each of ``own_screws`` may be turned, in steps.
    """

    posterior: Posterior
    task: PlanningProblem
    sizes: Floats
    bounds: Sequence[tuple[int, int]]
    area: float
    whole: bool

    def choice(self) -> Candidate:
        """What is set on the way."""
        layout = self.posterior.layout
        self.gaps, self.leaks = self.posterior.gaps.copy(), self.posterior.leaks.copy()
        self.width = self.posterior.width
        stops = [self._stop(bank) for bank in layout.banks]
        couplers = [self._coupler(coupler) for coupler in layout.couplers()]
        own = [self._own(*one) for one in zip(own_screws(layout), self.bounds, strict=True)]
        return (*stops, *couplers, *own)

    def _off(self, rows: Sequence[int]) -> float:
        """How far the gaps of some bores stand from those aimed at, on average [m]."""
        beyond = sum(float(self.leaks[row]) / self.width + float(self.gaps[row]) for row in rows)
        return self.area / self.width - beyond / len(rows)

    def _near(self, rows: Sequence[int]) -> bool:
        return abs(self._off(rows)) * self.width <= NEAR * self.task.window * self.area

    def _rows(self, bores: Sequence[int]) -> list[int]:
        """Rows of those bores that have no screw of their own, or of all when each has one."""
        plain = [bore for bore in bores if own_screw(self.posterior.layout, bore) is None]
        return [self.posterior.row(bore) for bore in plain or bores]

    def _turn(self, rows: Sequence[int], per_step: float) -> tuple[int, float]:
        """Steps of a screw that bring some bores nearest to their aim, and the angle they turn by [rad]."""
        gaps = self.gaps[rows]
        wanted = rotation_between(self.posterior, gaps, np.maximum(gaps + self._off(rows), gaps / 4))
        steps = round(float(np.mean(wanted)) / per_step)
        steps = min(max(steps, -MOST_SIXTEENTHS), MOST_SIXTEENTHS)
        return steps, steps * per_step

    def _carry(self, bores: Sequence[int], rotation: Floats | float) -> None:
        rows = [self.posterior.row(bore) for bore in bores]
        self.gaps[rows] = turned(self.posterior, self.gaps[rows], rotation)

    def _stop(self, bank: Bank) -> int:
        own = [b for b in bank.bores if own_adjuster(self.posterior.layout, b) == StopScrew(bank.name)]
        rows = self._rows(bank.bores if self.whole else own or bank.shaft(bank.stop))
        if self._near(rows):
            return 0
        travel = self.posterior.stop_travel[self.posterior.layout.banks.index(bank)]
        steps, rotation = self._turn(rows, SIXTEENTH * float(travel))
        self._carry(bank.bores, rotation)
        return steps

    def _coupler(self, coupler: Coupler) -> int:
        layout = self.posterior.layout
        bank, by_screw = layout.bank_of(coupler.far), layout.by_screw(coupler)
        rows = self._rows(bank.shaft(coupler.far))
        if self._near(rows) or (not by_screw and not len(self.sizes)):
            return 0 if by_screw else UNCHANGED
        if by_screw:
            per_step = SIXTEENTH * float(self.posterior.mean[self.posterior.at_gain(coupler)])
            steps, rotation = self._turn(rows, per_step)
        else:
            far = self.posterior.row(coupler.far)
            steps = int(np.abs(self.sizes - (self.gaps[far] + self._off(rows))).argmin())
            rotation = float(rotation_between(self.posterior, self.gaps[far], self.sizes[steps]))
        self._carry(bank.beyond(coupler), rotation)
        return steps

    def _own(self, screw: Adjuster, bounds: tuple[int, int]) -> int:
        """Steps of a screw that sets no coupler; the plates or leaks that it acts on follow."""
        layout = self.posterior.layout
        kind, bores = gain_kind(layout, screw), moved_bores(layout, screw)
        rows = [self.posterior.row(bore) for bore in bores]
        per_step = kind.step * float(self.posterior.mean[self.posterior.at_gain(screw)])
        if kind.effect == "turns plates":
            if self._near(rows) or not per_step:
                return 0
            steps = min(max(self._turn(rows, per_step)[0], bounds[0]), bounds[1])
            self._carry(bores, steps * per_step)
            return steps
        lacks = float(np.mean(self.area - self.leaks[rows] - self.gaps[rows] * self.width))
        if abs(lacks) <= NEAR * self.task.window * self.area or per_step <= 0:
            return 0
        steps = min(max(round(lacks / max(per_step, 1e-12)), bounds[0]), bounds[1])
        self.leaks[rows] += steps * per_step
        return steps
