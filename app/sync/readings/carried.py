"""Readings of sensors that stay at their bores, beside those of one probe that is carried from bore to bore.

One probe reads every bore, so its scale cancels. Sensors that stay each have a scale of their own, and what they differ
by looks exactly like uneven bores, however often they are read. They guide moves; what one probe read stands in their
place, and nothing is called even before it read every bore.
"""

from collections.abc import Collection, Iterable, Sequence
from typing import NamedTuple, TypeVar

from app.sync.engine.events import Event, Reading
from app.sync.readings.trail import stages
from app.sync.readings.untouched import Untouched

E = TypeVar("E", bound=Event)


def carried_first(events: Sequence[Event]) -> Sequence[Event]:
    """What happened, without the readings of fixed sensors at bores that a carried probe read too with nothing moved.

    Parameters: ``events``, oldest first.
    """
    if not any(isinstance(one, Reading) and one.fixed for one in events):
        return events
    passed, since = stages(events)
    left = list[Event]()
    for stage in passed:
        left += [*_without(stage.seen, carried(stage.seen)), *([stage.move] if stage.move is not None else stage.cold)]
    return [*left, *_without(since, carried(since))]


class JudgedReadings(NamedTuple):
    """What an engine is judged by: readings of rounds ``before``, of the ``last`` one, and of ``earlier`` states; and
    the bores that only fixed sensors read, ``unproved``."""

    before: Sequence[Reading]
    last: Sequence[Reading]
    earlier: Sequence[Untouched]
    unproved: tuple[int, ...] = ()


def judged_by(
    before: Sequence[Reading], readings: Sequence[Reading], earlier: Sequence[Untouched] = ()
) -> JudgedReadings:
    """The readings that an engine is judged by: one probe's stand in the place of fixed sensors'.

    Parameters: ``before``, of earlier rounds, and ``readings`` of the last one, with nothing moved between them;
    ``earlier``, of bores that no move acted on since.

    >>> probe, sensor = Reading(1, 6.5, 20.0), Reading(1, 6.7, 0.0, fixed=True)
    >>> judged_by([], [sensor, probe]).last == [probe], judged_by([probe], [sensor]).last == [probe]
    (True, True)
    >>> judged_by([], [sensor]).unproved
    (1,)
    """
    every = [*(one for state in earlier for one in state.readings), *before, *readings]
    if not any(one.fixed for one in every):
        return JudgedReadings(before, readings, earlier)
    bores = carried(every)
    unproved = tuple(dict.fromkeys(one.bore for one in every if one.bore not in bores))
    states = [Untouched(one.moves, tuple(_without(one.readings, bores))) for one in earlier]
    left = [one for one in states if one.readings]
    first, last = _without(before, bores), _without(readings, bores)
    if not last:
        first, last = [], first or list(readings)
    return JudgedReadings(first, last, left, unproved)


def carried(seen: Iterable[Event]) -> set[int]:
    """The bores that a carried probe read.

    Parameters: ``seen``, in any order.
    """
    return {one.bore for one in seen if isinstance(one, Reading) and not one.fixed}


def _without(seen: Sequence[E], bores: Collection[int]) -> list[E]:
    """What was seen without the readings of fixed sensors at those bores."""
    return [one for one in seen if not (isinstance(one, Reading) and one.fixed and one.bore in bores)]
