"""Readings that a later adjustment left as they were: those of the bores that it does not act on.

An adjustment changes the idle of the whole engine a little, and so the level of all other bores alike; beside each
other they stand as before.
"""

from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.adjusters.registry import adjuster_of, moved_bores
from app.sync.engine.events import SEEN, Event, Reading
from app.sync.engine.layout import Layout

LEVEL_CHANGE = 0.015
"""Standard deviation of what one adjustment does to ln(air) of all bores that it does not act on, alike (our judgement,
above the 0.5 to 1.2 % of simulated engines of another law)."""

HANDLING = 0.005
"""Standard deviation of what one adjustment does to ln(air) of each bore that it does not act on, on its own: tools
lean on the linkage and it comes to rest anew (our judgement)."""


class Untouched(NamedTuple):
    """Readings of one state of the engine, of bores that none of the ``moves`` made since acts on."""

    moves: int
    readings: tuple[Reading, ...]


def untouched(layout: Layout, events: Sequence[Event]) -> tuple[Untouched, ...]:
    """The readings before the last move that still tell how their bores stand, by state, oldest first.

    Parameters: ``layout`` of the engine; ``events``, oldest first.
    """
    found = list[Untouched]()
    left, moves, state = set(layout.bores), 0, list[Reading]()
    for event in reversed(events):
        if isinstance(event, Reading):
            if moves and event.bore in left:
                state.append(event)
        elif not isinstance(event, SEEN):
            if state:
                found.append(Untouched(moves, tuple(reversed(state))))
                state = []
            moves += 1
            left -= set(moved_bores(layout, adjuster_of(event)))
            if not left:
                break
    if state:
        found.append(Untouched(moves, tuple(reversed(state))))
    return tuple(reversed(found))


def level_changes(moves: NDArray[np.intp]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What adjustments between readings did to the level of all, as terms of a linear model: a column for each change
    from one state to the next, 1 at the readings before it, shape (readings, changes), and the prior standard
    deviation of each in ln(air), shape (changes,).

    Parameters: ``moves`` made since each reading, shape (readings,).

    >>> columns, sds = level_changes(np.array([0, 2, 3]))
    >>> columns.tolist(), (sds / LEVEL_CHANGE).round(3).tolist()
    ([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]], [1.414, 1.0])
    """
    states = np.unique(moves)
    return (moves[:, None] >= states[None, 1:]).astype(float), LEVEL_CHANGE * np.sqrt(np.diff(states))


def ends_with(bores: Sequence[int], read: Sequence[int], before: Collection[int]) -> int:
    """The bore that a round ends with: the first of those left out of it, as they stand by what was read before the
    last move, which ties both together; where none was left out the one it began with.

    Parameters: ``bores`` of the engine in walking order; ``read`` in the round so far, in the order taken, at least
    one; ``before``, those that still stand as they were read before.

    >>> ends_with((1, 2, 3, 4), (4, 3), {1, 2}), ends_with((1, 2, 3, 4), (1, 2, 3, 4), {1, 2})
    (1, 1)
    """
    return next((bore for bore in bores if bore in before and bore not in read), read[0])


def beyond_a_round(bores: Sequence[int], read: int, before: Collection[int]) -> int:
    """How many readings were taken past a whole round: the bores that it does not leave out, and one to end it.

    Parameters: ``bores`` of the engine; ``read`` since the last move; ``before``, the bores left out.

    >>> beyond_a_round((1, 2, 3, 4), 5, ()), beyond_a_round((1, 2, 3, 4), 5, {1, 2})
    (0, 2)
    """
    return max(read - len(set(bores).difference(before)) - 1, 0)
