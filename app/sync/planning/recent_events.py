"""Which events the planner goes by: those since the last move or reading, and the moves that it looks back on."""

from collections.abc import Sequence

from app.sync.engine.events import ColdSetting, Event, IdleSpeed, Reading
from app.sync.engine.layout import Layout

MOST_REMEMBERED, FORGOTTEN_AT_ONCE = 16, 8
"""Moves that are looked back on at the least, because later readings overtook what was before them; and how many older
ones are dropped together, so that results worked out from the rest can be reused (our judgement)."""

SEEN = (Reading, IdleSpeed, ColdSetting)
"""What is no move of the engine as it runs: what was read, and how its plates were set before it ever ran."""


def moves_at(events: Sequence[Event]) -> list[int]:
    """The positions of the moves.

    Parameters: ``events``, oldest first.
    """
    return [at for at, event in enumerate(events) if not isinstance(event, SEEN)]


def since_last_seen(events: Sequence[Event]) -> Sequence[Event]:
    """What came after the last reading or idle speed.

    Parameters: ``events``, oldest first.
    """
    newest = (at for at in reversed(range(len(events))) if isinstance(events[at], SEEN))
    return events[next(newest, -1) + 1 :]


def since_last_move(events: Sequence[Event]) -> Sequence[Event]:
    """What came after the last move.

    Parameters: ``events``, oldest first.
    """
    newest = (at for at in reversed(range(len(events))) if not isinstance(events[at], SEEN))
    return events[next(newest, -1) + 1 :]


def remembered(events: Sequence[Event], layout: Layout) -> Sequence[Event]:
    """The events since the last moves that are looked back on, if every bore was read since; otherwise all.

    Parameters: ``events``, oldest first; ``layout`` of the engine.
    """
    moves = moves_at(events)
    dropped = (len(moves) - MOST_REMEMBERED) // FORGOTTEN_AT_ONCE * FORGOTTEN_AT_ONCE
    if dropped <= 0:
        return events
    recent = events[moves[dropped] :]
    return recent if {e.bore for e in recent if isinstance(e, Reading)} >= set(layout.bores) else events
