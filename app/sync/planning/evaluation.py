"""What a set of moves would lead to: every bore's chance of ending outside the window, and what that costs.

A choice is a row of whole numbers: sixteenths of a turn for each stop screw, then for each coupler which of the feelers
owned it is reset on, or ``UNCHANGED``, or where a screw sets it the steps of that screw, then the steps of each of
``own_screws``. Many choices are judged at once, all bores together: a bore's chance depends on the mean of the others.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from app.sync.engine.adjusters.registry import own_screws
from app.sync.engine.engine_air import IDLE_RATIO, SHARING, alone
from app.sync.engine.idle_flow import FlowJacobian, IdleSolution, slopes, solve_idle
from app.sync.engine.layout import Adjuster, Layout
from app.sync.engine.units import REV_PER_MIN
from app.sync.engine.work_minutes import READ_MINUTES, RESET_MINUTES, TURN_MINUTES
from app.sync.estimation.posterior import FEELER_SD, LEAST_GAP, Posterior, rates, rotation_between, turn_noise, turned
from app.sync.planning.dependency import Dependency, dependency_of
from app.sync.planning.uncertain_screws import Turned, screws_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Candidate = tuple[int, ...]

UNCHANGED = -1  # by definition no feeler
SIXTEENTH = 1 / 16  # our judgement
PLAUSIBLE = 2.5  # our judgement
# A move is as good as always read after (our judgement).
STOP_MINUTES = TURN_MINUTES + READ_MINUTES
BLADE_MINUTES = RESET_MINUTES + READ_MINUTES

SPEED_WINDOW = 60 * REV_PER_MIN  # our judgement

# Prices of what ends outside, in minutes, our judgement. A bore costs at least what correcting it costs, or the plan
# would leave it out for ever: a feeler and a reading, again when that misses, and what hangs on it is disturbed as
# well (``dependency``).
SCREW_PRICE = 2.0  # of a bore that a screw of its own evens: it is turned and read, and now and then again
SPEED_PRICE = 4.0  # of an idle speed that ends outside: a stop turn a bank, and the last round again

FLOW_PER_AREA = float(alone(IDLE_RATIO, SHARING))
"""Per cent of flow for one per cent of a bore's area (our judgement, by the constants of ``engine_air``)."""


@dataclass(frozen=True, slots=True)
class PlanningProblem:
    """What is to be reached, and with what.

    ``stacks`` are the feelers that can be laid, each its leaves [m], thinnest first; ``window`` the half width as a
    fraction of the mean; ``speed_known`` whether the idle speed was read: if not, it is to stay as it is.
    ``dearness`` is the price of a bore that no feeler is laid at against one that was set and missed: above 1, so that
    what is outside is corrected in the end.
    ``weary`` is what any move costs beside itself [min], ``undone`` the readings that it undoes by bore that it acts on
    [min].
    ``own`` is the standard deviation of ln(air) of a bore that no reading of this meter tells.
    ``opened`` are turns by which screws that meet an end stand further open than after the preset; ``helpless`` are the
    bores that nothing of their own evens any more: what carries them may still set them less far off. ``no_way`` are
    the screws that are not to be turned, each with the way: the sign of its turns. ``seen_beside`` is ln of the idle
    speed as it stands by the tachometer over the one that the posterior makes of everything.
    """

    stacks: tuple[tuple[float, ...], ...]
    window: float
    speed_known: bool
    dearness: float = 2.0
    weary: float = 0.0
    undone: Mapping[int, float] = field(default_factory=dict)
    own: float = 0.0
    opened: Mapping[Adjuster, float] = field(default_factory=dict)
    helpless: frozenset[int] = frozenset()
    no_way: frozenset[tuple[Adjuster, int]] = frozenset()
    seen_beside: float = 0.0

    @property
    def sizes(self) -> Floats:
        """Thickness of every stack [m]."""
        return np.array([sum(stack) for stack in self.stacks])


@dataclass(frozen=True, slots=True, eq=False)
class Evaluation:
    """What each of several choices leads to. Shapes (choices,) or (choices, bores), bores in walking order.

    ``cost`` in minutes, risks included; ``outside`` the chance of each bore, ``off_speed`` that of the idle speed,
    ``speed`` by how much it is above the one wanted as a fraction; ``flows`` [kg/s] with their relative spread.
    """

    cost: Floats
    outside: Floats
    off_speed: Floats
    speed: Floats
    flows: Floats
    spread: Floats


def feeler_stacks(blades: Sequence[float]) -> tuple[tuple[float, ...], ...]:
    """Every feeler a hand can lay, one leaf or two, thinnest first; of equal ones the one with fewer leaves.

    Parameters: ``blades`` owned, single leaves [m].

    >>> feeler_stacks([1e-4, 2e-4, 3e-4])
    ((0.0001,), (0.0002,), (0.0003,), (0.0001, 0.0003), (0.0002, 0.0003))
    """
    found: dict[int, tuple[float, ...]] = {}
    for stack in [(leaf,) for leaf in blades] + list(combinations(blades, 2)):
        found.setdefault(round(sum(stack) * 1e8), stack)
    return tuple(dict(sorted(found.items())).values())


def plausible_stacks(blades: Sequence[float], posterior: Posterior) -> tuple[tuple[float, ...], ...]:
    """Those of ``feeler_stacks`` that suit a plate of this engine: within a factor of ``PLAUSIBLE`` of its gaps.

    Parameters: ``blades`` owned, single leaves [m]; ``posterior`` about the engine.
    """
    middle = float(np.median(posterior.gaps))
    least, most = middle / PLAUSIBLE, middle * PLAUSIBLE
    return tuple([stack for stack in feeler_stacks(blades) if least <= sum(stack) <= most])


def idle_is_off(seen: float, wanted: float) -> bool:
    """Whether an idle speed as it was read is to be set right: farther from the one wanted than ``SPEED_WINDOW``.

    Parameters: ``seen`` on the tachometer and ``wanted`` [rev/s], to the thousandth of a revolution a minute.

    >>> [idle_is_off(rpm * REV_PER_MIN, 850 * REV_PER_MIN) for rpm in (789, 790, 910, 911)]
    [True, False, False, True]
    """
    return round(abs(seen - wanted) / REV_PER_MIN, 3) > round(SPEED_WINDOW / REV_PER_MIN, 3)


def no_change(layout: Layout) -> Candidate:
    """The choice to leave everything as it is.

    Parameters: ``layout`` of the engine.
    """
    couplers = [0 if layout.by_screw(coupler) else UNCHANGED for coupler in layout.couplers()]
    return (*(0,) * len(layout.banks), *couplers, *(0,) * len(own_screws(layout)))


def outcomes(posterior: Posterior, task: PlanningProblem, choices: Sequence[Candidate]) -> Evaluation:
    """What each choice leads to, all bores together.

    Parameters: ``posterior`` before; ``task``; ``choices`` at least one.
    """
    n, width = posterior.bores, posterior.width
    picked = np.array(choices, dtype=np.int64)
    after = _After(posterior, task, picked)
    areas = after.areas
    settled = solve_idle(posterior.engine, areas, posterior.log_demand)
    found = slopes(posterior.engine, areas, settled)
    scaled = after.lever * (width / areas)[..., None]
    cov = np.zeros((len(choices), n + 1, n + 1))
    cov[:, :n, :n] = scaled @ posterior.covariance @ scaled.swapaxes(1, 2)
    cov[:, :n, :n] += after.noise * width**2 / (areas[:, :, None] * areas[:, None, :])
    cov[:, :n, n] = cov[:, n, :n] = scaled @ posterior.covariance[:, -1]
    cov[:, n, n] = posterior.covariance[-1, -1]
    off, from_mean = _beside_mean(settled, found)
    outside = outside_of(off, np.hypot(_spread(from_mean, cov), task.own), task.window)
    wanted, speed_spread = -task.seen_beside, _spread(found.log_speed[:, None, :], cov)[:, 0]
    if not task.speed_known:
        wanted, speed_spread = (
            float(solve_idle(posterior.engine, posterior.areas, posterior.log_demand).log_speed),
            np.array(0.01),
        )
    speed = np.expm1(settled.log_speed - wanted)
    off_speed = outside_of(speed, speed_spread, SPEED_WINDOW / posterior.engine.speed)
    minutes = after.minutes + task.weary * (after.minutes > 0)
    if task.undone:
        minutes += after.touched @ [task.undone.get(bore, 0.0) for bore in posterior.layout.bores]
    helpless = np.array([bore in task.helpless for bore in posterior.layout.bores])
    price = shortfall_costs(posterior, task) * np.where(after.set_anew | helpless, 1.0, task.dearness)
    risk = (price * outside).sum(axis=1) + task.dearness * SPEED_PRICE * off_speed
    return Evaluation(minutes + risk, outside, off_speed, speed, settled.flows, _spread(found.flows, cov))


def all_bores_inside(stack: Posterior, chances: Floats, task: PlanningProblem) -> float:
    """The chance that every bore is inside as it stands, whichever of several posteriors is the right one.

    It is the mean of what each says, weighed by how likely it is: one of them alone, were it the likeliest, says too
    much of what the others doubt.

    Parameters: ``stack`` of posteriors about one engine; ``chances`` of each, shape (stack,), 1 together; ``task``, of
    which ``own`` and ``window`` count.

    Source: the law of total probability.
    """
    n, areas, demand = stack.bores, stack.areas, stack.mean[..., -1]
    settled = solve_idle(stack.engine, areas, demand)
    off, from_mean = _beside_mean(settled, slopes(stack.engine, areas, settled))
    answer = np.zeros((*off.shape, stack.mean.shape[-1]))
    answer[..., :n] = from_mean[..., :n] * (stack.width / areas)[..., None, :]
    answer[..., n : 2 * n] = from_mean[..., :n] / areas[..., None, :]
    answer[..., -1] = from_mean[..., n]
    outside = outside_of(off, np.hypot(_spread(answer, stack.covariance), task.own), task.window)
    return float(chances @ np.prod(1 - outside, axis=-1))


def _beside_mean(settled: IdleSolution, found: FlowJacobian) -> tuple[Floats, Floats]:
    """How far each bore's flow is from the mean, as a fraction, shape (..., bores), and how that answers to areas and
    demand, shape (..., bores, bores + 1)."""
    share = settled.flows / settled.flows.sum(axis=-1, keepdims=True)
    return share.shape[-1] * share - 1, found.flows - share[..., None, :] @ found.flows


def outside_of(off: Floats, spread: Floats, window: float) -> Floats:
    """Chance of ending outside a window for something ``off`` its middle, known to within ``spread``, all relative.

    One chance for each, in their shape (...).

    Parameters: ``off`` and ``spread`` (standard deviation), both of shape (...); ``window`` half width.

    >>> outside_of(np.array([0.0, 0.08]), np.array([0.04, 0.01]), 0.08).round(3)
    array([0.046, 0.5  ])
    """
    below_one = ndtr(np.stack([-window - off, off - window]) / spread)
    return np.asarray(below_one[0] + below_one[1])


def shortfall_costs(posterior: Posterior, task: PlanningProblem) -> Floats:
    """What it costs that each bore ends outside [min], in walking order, shape (bores,).

    A feeler and a reading, and again where that misses: ``work / (1 - chance of a miss)``.

    Parameters: ``posterior`` about the engine; ``task``.
    """
    return _prices(posterior, task.window, task.own)


@lru_cache(maxsize=16)
def _prices(posterior: Posterior, window: float, own: float) -> Floats:
    """``shortfall_costs``, asked for several times about one posterior; not to be written to."""
    n = posterior.bores
    leak_variance = np.diag(posterior.covariance)[n : 2 * n] / posterior.width**2
    spread = FLOW_PER_AREA * posterior.width * np.sqrt(FEELER_SD**2 + leak_variance) / posterior.areas.mean()
    tree = dependency_of(posterior.layout)
    price = BLADE_MINUTES / (1 - outside_of(np.zeros(n), np.hypot(spread, own), window))
    price[tree.stops] = 0.0
    return np.where(screws_of(posterior.layout).owned, SCREW_PRICE, price + tree.weight)


def achievable_tolerance(posterior: Posterior) -> float:
    """The half width, as a fraction of the mean, that a well-aimed feeler meets every other time; 0 without feelers.

    Parameters: ``posterior`` about the engine.
    """
    if posterior.layout.couplers() and all(map(posterior.layout.by_screw, posterior.layout.couplers())):
        return 0.0
    quartile = float(ndtri(0.75))
    return quartile * FLOW_PER_AREA * posterior.width * FEELER_SD / float(posterior.areas.mean())


@dataclass(frozen=True, eq=False)
class _After:
    """Where the plates stand after each choice. Shapes begin (choices, bores).

    ``origin`` is the row of the bore whose feeler sets a bore, -1 where none does. ``lever`` says how a gap answers to
    the posterior's state, ``noise`` what hands add [m2].
    """

    posterior: Posterior
    task: PlanningProblem
    picked: Ints

    @cached_property
    def _tree(self) -> Dependency:
        return dependency_of(self.posterior.layout)

    @cached_property
    def _before(self) -> Floats:
        return self.posterior.gaps

    @cached_property
    def _turns(self) -> Ints:
        return self.picked[:, : len(self._tree.stops)]

    @cached_property
    def _couplers(self) -> Ints:
        first = len(self._tree.stops)
        return self.picked[:, first : first + len(self._tree.far)]

    @cached_property
    def _blades(self) -> Ints:
        by_screw = screws_of(self.posterior.layout).couplers
        if not len(by_screw):
            return self._couplers
        blades = self._couplers.copy()
        blades[:, by_screw] = UNCHANGED
        return blades

    @cached_property
    def _screws(self) -> Turned | None:
        """What is turned beside the stop screws; None where there is nothing of the kind."""
        if self.posterior.layout.blades_alone:
            return None
        screws = screws_of(self.posterior.layout)
        own = self.picked[:, len(self._tree.stops) + len(self._tree.far) :]
        steps = np.concatenate([self._couplers[:, screws.couplers], own], axis=1)
        return Turned(self.posterior, np.asarray(steps * screws.steps), self.origin)

    @property
    def minutes(self) -> Floats:
        """What the moves take, shape (choices,)."""
        turned = (self._turns != 0).sum(axis=1) + (self._screws.count if self._screws else 0)
        return np.asarray(STOP_MINUTES * turned + BLADE_MINUTES * (self._blades != UNCHANGED).sum(axis=1))

    @property
    def set_anew(self) -> NDArray[np.bool_]:
        """Bores that a feeler or a screw of their own sets."""
        on_blade = np.asarray(self.origin == np.arange(self.posterior.bores))
        return on_blade | self._screws.moved if self._screws else on_blade

    @property
    def touched(self) -> NDArray[np.bool_]:
        """Bores that anything acts on."""
        by_feeler_or_stop = (self.origin >= 0) | (self._turns[:, self._tree.bank] != 0)
        return np.asarray(by_feeler_or_stop | self._screws.touched if self._screws else by_feeler_or_stop)

    @cached_property
    def origin(self) -> Ints:
        if not len(self._tree.far):
            return np.full((len(self.picked), self.posterior.bores), -1)
        numbers = (self._tree.beyond * (self._blades != UNCHANGED)[:, :, None]).max(axis=1)  # the nearest one upstream
        return np.asarray(np.append(-1, self._tree.far)[numbers])

    @cached_property
    def _turned(self) -> Floats:
        """Angle that each bank's stop screw turns each plate by [rad]."""
        bank = self._tree.bank
        return np.asarray(SIXTEENTH * self.posterior.stop_travel[bank] * self._turns[:, bank])

    @cached_property
    def gaps(self) -> Floats:
        posterior, tree = self.posterior, self._tree
        sizes = np.append(self.task.sizes, self._before.mean())  # the last for LEFT
        blade = np.full(self.origin.shape, LEAST_GAP)
        blade[:, tree.far] = sizes[self._blades]
        swings = rotation_between(posterior, self._before, blade)
        swing = np.where(self.origin < 0, self._turned, np.take_along_axis(swings, np.maximum(self.origin, 0), axis=1))
        if self._screws:
            swing = swing + self._screws.rotation
        return np.where(self.origin == np.arange(posterior.bores), blade, turned(posterior, self._before, swing))

    @property
    def areas(self) -> Floats:
        posterior = self.posterior
        leaks = np.maximum(posterior.leaks + self._screws.leaks, 0.0) if self._screws else posterior.leaks
        return np.maximum(posterior.width * self.gaps + leaks, posterior.width * LEAST_GAP)

    @cached_property
    def _rates(self) -> Floats:
        return rates(self.posterior, self.gaps)

    @property
    def lever(self) -> Floats:
        posterior, n = self.posterior, self.posterior.bores
        rows, before = np.arange(n), rates(posterior, self._before)
        found = np.zeros((len(self.picked), n, len(posterior.mean)))
        found[:, rows, n + rows] = 1 / posterior.width
        found[:, rows, rows] = np.where(self.origin == rows, 0.0, self._rates / before)
        found[:, rows, posterior.at_travel(0) + self._tree.bank] = np.where(
            self.origin < 0, self._rates * self._turned, 0.0
        )
        choice, row = np.nonzero((self.origin >= 0) & (self.origin != rows))
        origin = self.origin[choice, row]
        found[choice, row, origin] -= self._rates[choice, row] / before[origin]
        if self._screws:
            self._screws.add_answer(found, self._rates)
        return found

    @property
    def noise(self) -> Floats:
        bank = self._tree.bank
        shaken = np.where(self._turns, turn_noise(self.posterior, np.asarray(self._turns * SIXTEENTH)), 0.0)
        at_origin = np.take_along_axis(self._rates, np.maximum(self.origin, 0), axis=1)
        by_hand = np.where(self.origin < 0, shaken[:, bank], FEELER_SD / at_origin)
        together = (self.origin[:, :, None] == self.origin[:, None, :]) & (bank[:, None] == bank)
        moved = by_hand * self._rates
        hands = np.where(together, moved[:, :, None] * moved[:, None, :], 0.0)
        return hands + self._screws.noise(self._rates) if self._screws else hands


def _spread(answer: Floats, cov: Floats) -> Floats:
    """Standard deviations of linear answers, shapes (choices, answers, states) and (choices, states, states)."""
    return np.asarray(np.sqrt(np.maximum(((answer @ cov) * answer).sum(axis=-1), 1e-12)))
