"""A visit in stages, each what was read with nothing moved and what was done then; and how something stood after the
latest of them, so that what is asked next begins there and not at the start of the visit."""

from collections.abc import Callable, Sequence
from typing import Generic, NamedTuple, TypeVar

from app.sync.engine.events import ColdSetting, Event, IdleSpeed, Move, Reading

Seen = tuple[Reading | IdleSpeed, ...]

T = TypeVar("T")

REMEMBERED = 8
"""How many of the latest stages are remembered: a move taken back, or an idle speed read some moves ago, is asked for
as well (our judgement)."""


class Stage(NamedTuple):
    """What was ``seen`` with nothing moved, then either one ``move`` or plates set ``cold`` one after the other; the
    first ``end`` events of the visit end with it."""

    seen: Seen
    move: Move | None
    cold: tuple[ColdSetting, ...]
    end: int


def stages(events: Sequence[Event], begun: int = 0) -> tuple[list[Stage], Seen]:
    """The stages of a visit, and what was seen after the last of them.

    Parameters: ``events`` oldest first; ``begun``, how many of them are left out.
    """
    found, seen, cold = list[Stage](), list[Reading | IdleSpeed](), list[ColdSetting]()
    for end in range(begun + 1, len(events) + 1):
        event, move = events[end - 1], None
        if isinstance(event, Reading | IdleSpeed):
            seen.append(event)
            continue
        if isinstance(event, ColdSetting):
            cold.append(event)
            if _more_set_cold(events, end):
                continue
        else:
            move = event
        found.append(Stage(tuple(seen), move, tuple(cold), end))
        seen, cold = [], []
    return found, tuple(seen)


def _more_set_cold(events: Sequence[Event], end: int) -> bool:
    """Whether the first ``end`` events stop between two plates set cold."""
    return len(events) > end and all(isinstance(one, ColdSetting) for one in events[end - 1 : end + 1])


class Trail(Generic[T]):
    """How something stood at the ``start`` of a visit and after the latest stages of it that were asked for."""

    def __init__(self, start: T) -> None:
        self._start = start
        self._kept: tuple[tuple[tuple[Event, ...], T], ...] = ()

    def after(self, events: tuple[Event, ...], step: Callable[[T, Stage], T]) -> tuple[T, Seen]:
        """How it stands after the last stage, and what was seen since.

        Parameters: ``events`` oldest first; ``step`` from before a stage to after it, the same at every call.
        """
        begun, state = max([*self._passed(events), (0, self._start)], key=lambda one: one[0])
        found, seen = stages(events, begun)
        for stage in found:
            state = step(state, stage)
            self._kept = (*self._kept[1 - REMEMBERED :], (events[: stage.end], state))
        return state, seen

    def _passed(self, events: tuple[Event, ...]) -> list[tuple[int, T]]:
        """The remembered stages that these events went through, by where they end."""
        ends = [(len(passed), state) for passed, state in self._kept if events[: len(passed)] == passed]
        return [(end, state) for end, state in ends if not _more_set_cold(events, end)]
