"""The cheapest set of moves: the best for each flow that may be aimed at, then trimmed with all bores together.

Where every joint is a coupler on a feeler, the best of them is found exactly (``bank_search``); elsewhere a good one
is found step by step (``greedy_starts``) and trimmed for longer.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain

import numpy as np

from app.sync.engine.adjusters.registry import own_screws
from app.sync.engine.layout import Adjuster, Layout, StopScrew
from app.sync.estimation.posterior import Posterior
from app.sync.planning.bank_search import MOST_SIXTEENTHS, best_for_each_target
from app.sync.planning.evaluation import UNCHANGED, Candidate, Floats, PlanningProblem, no_change, outcomes
from app.sync.planning.greedy_starts import greedy_candidates, neighborhood

BEST_FEW = 3
"""Choices that are trimmed (our judgement)."""

MOST_TRIMS, MOST_TRIMS_WALKED = 7, 16  # our judgement
WORTH = 0.02
"""Minutes below which one choice is no better than another (our judgement)."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A set of moves, those made only, in the order to make them: stop screws, couplers outward, other screws.

    Each is the adjuster with the amount of the choice: steps of its screw, or for a coupler on feelers an index into
    the stacks owned. ``cost`` in minutes, risks included.
    """

    moves: tuple[tuple[Adjuster, int], ...]
    cost: float

    def __bool__(self) -> bool:
        return bool(self.moves)


def optimize(posterior: Posterior, task: PlanningProblem) -> Plan:
    """The set of moves that costs least, risks included; an empty one where no move pays.

    Parameters: ``posterior`` about the engine; ``task`` to do.
    """
    layout = posterior.layout
    leave = no_change(layout)
    exact = layout.blades_alone
    if exact:
        choices = [leave, *(best_for_each_target(posterior, task) if task.stacks else ())]
    else:
        choices = [leave, *greedy_candidates(posterior, task)]
    if task.no_way:
        choices = list(dict.fromkeys(_without_barred(choice, layout, task) for choice in choices))
    costs = outcomes(posterior, task, choices).cost
    order = np.argsort(costs)
    best, cost = choices[order[0]], float(costs[order[0]])
    leaders = list(dict.fromkeys([*(choices[at] for at in order[:BEST_FEW]), leave]))
    sizes = task.sizes
    likely = _likely_sizes(posterior, sizes)
    tried = set(leaders)
    for _ in range(MOST_TRIMS if exact else MOST_TRIMS_WALKED):
        variants = chain.from_iterable(
            _local_variants(choice, layout, likely, len(sizes)) if exact else neighborhood(choice, posterior, task)
            for choice in leaders
        )
        fresh = _allowed([one for one in dict.fromkeys(variants) if one not in tried], layout, task)
        if not fresh:
            break
        tried.update(fresh)
        found = outcomes(posterior, task, fresh).cost
        least = int(found.argmin())
        if found[least] > cost - WORTH:
            break
        best, cost = fresh[least], float(found[least])
        leaders = [best]
    return _as_plan(best, cost, layout)


def first_at(suspect: Adjuster, plan: Plan, posterior: Posterior, task: PlanningProblem) -> Plan:
    """A plan that begins at one adjuster: the same where it is part of it, else the best move of that one alone.

    The plan itself where no move of it pays.

    Parameters: ``suspect`` to begin at; ``plan`` as it was found; ``posterior`` about the engine; ``task`` to do.
    """
    mine = [move for move in plan.moves if move[0] == suspect]
    if mine:
        return Plan((*mine, *(move for move in plan.moves if move[0] != suspect)), plan.cost)
    layout, places = posterior.layout, _places(posterior.layout)
    if suspect not in places:
        return plan
    at, leave = places.index(suspect), no_change(layout)
    blades = len(layout.banks) <= at < len(layout.banks) + len(layout.couplers()) and leave[at] == UNCHANGED
    amounts = range(len(task.sizes)) if blades else range(-MOST_SIXTEENTHS, MOST_SIXTEENTHS + 1)
    choices = [leave, *((*leave[:at], amount, *leave[at + 1 :]) for amount in amounts if amount != leave[at])]
    choices = _allowed(choices, layout, task)
    costs = outcomes(posterior, task, choices).cost
    best = int(costs.argmin())
    return _as_plan(choices[best], float(costs[best]), layout) if best else plan


def _allowed(choices: list[Candidate], layout: Layout, task: PlanningProblem) -> list[Candidate]:
    return [choice for choice in choices if _may(choice, layout, task)] if task.no_way else choices


def _may(choice: Candidate, layout: Layout, task: PlanningProblem) -> bool:
    """Whether no screw goes a way that it is not to go."""
    made = ((place, 1 if amount > 0 else -1) for place, amount in zip(_places(layout), choice, strict=True) if amount)
    return task.no_way.isdisjoint(made)


def _without_barred(choice: Candidate, layout: Layout, task: PlanningProblem) -> Candidate:
    """A choice with the screws left alone that are not to go its way."""
    if _may(choice, layout, task):
        return choice
    each = zip(_places(layout), choice, no_change(layout), strict=True)
    return tuple(
        unmoved if (place, 1 if amount > 0 else -1) in task.no_way else amount for place, amount, unmoved in each
    )


def _places(layout: Layout) -> tuple[Adjuster, ...]:
    """The adjuster of each number of a choice."""
    return (*(StopScrew(bank.name) for bank in layout.banks), *layout.couplers(), *own_screws(layout))


def _likely_sizes(posterior: Posterior, sizes: Floats) -> list[int]:
    """For each coupler the feeler that would bring its bore to the mean area."""
    if not len(sizes):
        return [UNCHANGED for _ in posterior.layout.couplers()]
    wanted = (posterior.areas.mean() - posterior.leaks) / posterior.width
    far = [posterior.row_of_bore[coupler.far] for coupler in posterior.layout.couplers()]
    return [int(np.abs(sizes - wanted[row]).argmin()) for row in far]


def _local_variants(choice: Candidate, layout: Layout, likely: Iterable[int], sizes: int) -> list[Candidate]:
    """A choice with one move left out, one added, or one a step more or less."""
    banks, found = len(layout.banks), []
    for at in range(banks):
        for turn in {0, choice[at] - 1, choice[at] + 1} - {choice[at]}:
            if abs(turn) <= MOST_SIXTEENTHS:
                found.append((*choice[:at], turn, *choice[at + 1 :]))
    for at, size in enumerate(likely, start=banks):
        now = choice[at]
        for blade in {UNCHANGED, size} if now == UNCHANGED else {UNCHANGED, now - 1, now + 1}:
            if blade != now and UNCHANGED <= blade < sizes:
                found.append((*choice[:at], blade, *choice[at + 1 :]))
    return found


def _as_plan(choice: Candidate, cost: float, layout: Layout) -> Plan:
    unmoved = no_change(layout)
    every = zip(_places(layout), choice, unmoved, strict=True)
    return Plan(tuple((place, amount) for place, amount, nothing in every if amount != nothing), cost)
