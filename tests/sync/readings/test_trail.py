"""How something stood after the latest stages of a visit is found again, and never another visit's."""

from collections.abc import Callable

import pytest

from app.sync.engine.events import BladeReset, ColdSetting, Event, IdleSpeed, Reading, StopTurn
from app.sync.engine.units import THOU
from app.sync.readings.trail import REMEMBERED, Stage, Trail, stages

Told = tuple[str, ...]


def read(bore: int) -> Reading:
    return Reading(bore, 6.5 / 3600, float(bore))


def turn(turns: float) -> StopTurn:
    return StopTurn("A", turns, 0.0)


def cold(bore: int) -> ColdSetting:
    return ColdSetting(bore, 6 * THOU, (6 * THOU,), 0.0)


COLDS = (cold(1), cold(2))
RESET = BladeReset(1, 2, 6 * THOU, (6 * THOU,), 0.0)
VISIT: tuple[Event, ...] = (*COLDS, read(1), IdleSpeed(15.0, 2.0), turn(0.5), RESET, read(2), turn(-0.25), read(3))


def said(asked: list[Stage]) -> Callable[[Told, Stage], Told]:
    """A step that tells what it went through, and notes that it was asked."""

    def step(state: Told, stage: Stage) -> Told:
        asked.append(stage)
        return *state, f"{len(stage.seen)} seen, {stage.move or len(stage.cold)}"

    return step


def test_a_visit_comes_in_stages() -> None:
    found, since = stages(VISIT)
    assert [(len(one.seen), one.move, one.cold, one.end) for one in found] == [
        (0, None, COLDS, 2),
        (2, turn(0.5), (), 5),
        (0, RESET, (), 6),
        (1, turn(-0.25), (), 8),
    ]
    assert since == (read(3),)


def test_what_was_asked_before_is_not_worked_out_again() -> None:
    trail, asked = Trail[Told](()), list[Stage]()
    for end in range(len(VISIT) + 1):
        trail.after(VISIT[:end], said(asked))
    assert len(asked) == len(stages(VISIT)[0]) + 1, "two plates set cold are one stage, and were asked for after each"


@pytest.mark.parametrize(
    "then",
    [
        pytest.param(VISIT[:-2], id="a move taken back"),
        pytest.param((*VISIT[:-2], turn(0.125), read(3)), id="another move instead"),
        pytest.param((*VISIT[:4], turn(0.75), *VISIT[5:]), id="an earlier move corrected"),
        pytest.param((cold(1), cold(2), cold(3), *VISIT[2:]), id="one more plate set cold"),
        pytest.param((), id="nothing at all"),
    ],
)
def test_another_course_of_events_is_another_answer(then: tuple[Event, ...]) -> None:
    trail = Trail[Told](())
    for end in range(len(VISIT) + 1):
        trail.after(VISIT[:end], said([]))
    assert trail.after(then, said([])) == Trail[Told](()).after(then, said([]))


def test_a_day_of_moves_is_followed_without_keeping_all_of_it() -> None:
    day = tuple(turn(0.125 * (-1) ** n) for n in range(2000))
    trail, asked = Trail[Told](()), list[Stage]()
    trail.after(day, said(asked))
    trail.after(day[: -REMEMBERED + 1], said(asked))
    assert len(asked) == len(day)
    trail.after(day[:-REMEMBERED], said(asked))
    assert len(asked) == 2 * len(day) - REMEMBERED, "the oldest that is kept lies after these events"
