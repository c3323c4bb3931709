"""Which events the planner goes by: those since the last move or reading, and the moves that it looks back on."""

from collections.abc import Sequence
from itertools import takewhile

from app.sync.engine.adjusters.kind import ScrewWithGain
from app.sync.engine.adjusters.registry import adjuster_of, adjusters, kind_at, kind_of
from app.sync.engine.events import SEEN, Event, IdleSpeed, Move, Reading, StopTurn
from app.sync.engine.layout import Adjuster, Layout, StopScrew

MOVES_AN_ADJUSTER, TIRING = 4, 1.0
"""Moves in a visit for each adjuster there is, and by how many minutes each one beyond makes the next dearer: what so
many did not even, one more seldom does, and every visit has to end (our judgement)."""


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


def last_move(events: Sequence[Event]) -> Move | None:
    """The last move; None before the first.

    Parameters: ``events``, oldest first.
    """
    return next((event for event in reversed(events) if not isinstance(event, SEEN)), None)


def first_tried(layout: Layout, events: Sequence[Event]) -> bool:
    """Whether the last move turned a screw of unknown way for the first time: the reading after it is what it was
    turned for.

    Parameters: ``layout`` of the engine; ``events``, oldest first.
    """
    move = last_move(events)
    if move is None:
        return False
    kind, adjuster = kind_of(move.kind), adjuster_of(move)
    if not isinstance(kind, ScrewWithGain) or kind.way(layout, adjuster):
        return False
    return sum(not isinstance(event, SEEN) and adjuster_of(event) == adjuster for event in events) == 1


def idle_as_read(events: Sequence[Event]) -> float | None:
    """The idle speed [rev/s] as it was read last; None where a move came after it, or none was read.

    Parameters: ``events``, oldest first.
    """
    return next((e.speed for e in reversed(since_last_move(events)) if isinstance(e, IdleSpeed)), None)


def weariness(layout: Layout, events: Sequence[Event]) -> float:
    """What another move has to bring beside what it costs, after the many that did not bring it [min].

    Parameters: ``layout`` of the engine; ``events``, oldest first.
    """
    made = len(moves_at(events))
    if made <= MOVES_AN_ADJUSTER * len(layout.banks):  # no bank has fewer adjusters than its stop screw
        return 0.0
    at_idle = sum(kind_at(layout, one).at_idle for one in adjusters(layout))
    return TIRING * max(made - MOVES_AN_ADJUSTER * at_idle, 0)


def recently_turned(events: Sequence[Event]) -> frozenset[tuple[Adjuster, int]]:
    """The screws that are not to be turned, each with the way: the sign of its turns.

    Neither way while nothing was seen since it was turned, and not back again where it went to and fro with nothing
    else moved: no more is known then than when it was turned, and that another turn looks better has only come out of
    the search.

    Parameters: ``events``, oldest first.
    """
    found: set[tuple[Adjuster, int]] = set()
    for event in since_last_seen(events):
        if not isinstance(event, SEEN) and _is_turned(event):
            found |= {(adjuster_of(event), 1), (adjuster_of(event), -1)}
    made = [event for event in reversed(events) if not isinstance(event, SEEN)]
    last = adjuster_of(made[0]) if made else None
    run = takewhile(lambda one: adjuster_of(one) == last, made)
    ways = [1 if one.amount > 0 else -1 for one in run if _is_turned(one)]
    if last is not None and set(ways) == {1, -1}:
        found.add((last, -ways[0]))
    return frozenset(found)


def not_back(events: Sequence[Event]) -> frozenset[tuple[Adjuster, int]]:
    """The way back of each screw that was turned since a bore was read last.

    The speed alone tells little of the bores: while it is inside its limit, a turn taken back before one was read was
    for nothing, both times.

    Parameters: ``events``, oldest first.
    """
    unread = takewhile(lambda event: not isinstance(event, Reading), reversed(events))
    turns = [event for event in unread if not isinstance(event, SEEN) and _is_turned(event)]
    return frozenset([(adjuster_of(move), -1 if move.amount > 0 else 1) for move in turns])


def to_and_fro(events: Sequence[Event]) -> frozenset[tuple[Adjuster, int]]:
    """The way back of each stop screw that went both ways since anything but stop screws was moved.

    With two banks, one is opened for the other and both are closed again, time after time: what either way leaves
    outside is much the same, and which is better a reading between decides by chance.

    Parameters: ``events``, oldest first.
    """
    moves = [event for event in reversed(events) if not isinstance(event, SEEN)]
    ways = dict[Adjuster, list[int]]()
    for move in moves:
        if not isinstance(move, StopTurn):
            break
        ways.setdefault(StopScrew(move.bank), []).append(1 if move.turns > 0 else -1)
    return frozenset([(screw, -way[0]) for screw, way in ways.items() if len(set(way)) > 1])


def _is_turned(move: Move) -> bool:
    """Whether a screw was turned that changes the idle."""
    kind = kind_of(move.kind)
    return kind.at_idle and kind.unit == "turns"
