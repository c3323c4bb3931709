"""A careful technician at a simulated engine: what is advised is done, and what it took is told in medians."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest

from app.sync.engine.events import IdleSpeed, Reading, StopTurn
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import LITER, THOU
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.simulation import reference_run
from app.sync.simulation.reference_run import MOST_STEPS, follow_advice, median_run
from app.sync.simulation.simulator import WANTED, Imperfections, SimulatedEngine

FOUR = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
BLADES = tuple(t * THOU / 2 for t in range(3, 20))
READ = Advice(AdviceKind.MEASURE, AdviceReason.UNREAD, bores=(3, 4))
CLOSE = Advice(AdviceKind.MEASURE, AdviceReason.CLOSE_ROUND, bores=(1,))
TURN = Advice(AdviceKind.STOP, AdviceReason.STOP_SPEED, bank="A", turns=0.125)
DONE = Advice(AdviceKind.DONE, AdviceReason.EVEN)
CANNOT = Advice(AdviceKind.CANNOT, AdviceReason.SCATTER)


@dataclass
class Adviser:
    """Says one thing after the other, and keeps what it was asked with."""

    words: Iterator[Advice]
    asked: tuple[object, ...] = ()

    def __call__(self, *asked: object) -> Advice:
        self.asked = asked
        return next(self.words)


def followed(*words: Advice) -> tuple[SimulatedEngine, str, Adviser]:
    stand, adviser = SimulatedEngine(FOUR, 3), Adviser(iter(words))
    return stand, follow_advice(stand, BLADES, 0.08, adviser), adviser


def test_each_advice_is_done_and_idle_is_looked_at_first_and_after_every_move() -> None:
    stand, word, adviser = followed(READ, TURN, CLOSE, DONE)
    assert word == "done even"
    kinds = [type(event) for event in stand.events]
    assert kinds == [IdleSpeed, Reading, StopTurn, IdleSpeed, Reading]
    read, closing = (event for event in stand.events if isinstance(event, Reading))
    assert (read.bore, read.closing, closing.bore, closing.closing) == (3, False, 1, True)
    (turn,) = (event for event in stand.events if isinstance(event, StopTurn))
    assert (turn.bank, turn.turns) == ("A", 0.125)
    assert (stand.readings, stand.moves) == (2, 1)
    assert adviser.asked[:-1] == (*(stand.layout, stand.hardware, stand.meter, stand.events, WANTED, BLADES, 0.08),)
    assert adviser.asked[-1] == pytest.approx(4 * 0.5 * LITER)  # half a liter a bore


def test_what_cannot_be_done_ends_it_too_and_nothing_is_asked_after_the_last_word() -> None:
    assert followed(CANNOT, DONE)[1] == "cannot slop"


def test_an_adviser_that_never_ends_is_left_after_so_many_steps() -> None:
    stand, word, _ = followed(*[replace(READ, bores=(2,))] * (MOST_STEPS + 1))
    assert word == "no end"
    assert stand.readings == MOST_STEPS


def test_a_run_is_told_in_medians_of_hands_that_begin_where_the_engine_stood(monkeypatch: pytest.MonkeyPatch) -> None:
    """By a technician who takes 1, 4 and 10 readings and turns as often less one: medians by hand."""
    begun: list[SimulatedEngine] = []
    sizes = {1: 1, 2: 10, 3: 4}

    def follow(stand: SimulatedEngine, blades: tuple[float, ...], window: float) -> str:
        begun.append(replace(stand, events=list(stand.events)))
        for _ in range(sizes[stand.hand]):
            stand.read(1)
        for _ in range(sizes[stand.hand] - 1):
            stand.turn("A", 0.01)
        assert (blades, window) == (BLADES, 0.08)
        return "done even"

    monkeypatch.setattr(reference_run, "follow_advice", follow)
    stand = SimulatedEngine(FOUR, 3)
    stand.read(2)
    told = median_run(stand, list(BLADES), 0.08)
    assert [one.hand for one in begun] == [1, 2, 3]
    assert all((one.seed, one.events, one.minutes, one.readings, one.moves) == (3, [], 0.0, 0, 0) for one in begun)
    assert (told.readings, told.moves, told.runs) == (4.0, 3.0, 3)
    assert told.minutes == pytest.approx(4 * 0.3 + 3 * 0.7)
    assert (stand.readings, stand.moves) == (1, 0)  # as it was


@pytest.mark.parametrize(("window", "even"), [(0.99, 2), (1.01, 0)])
def test_only_runs_that_end_truly_inside_the_window_are_even(
    monkeypatch: pytest.MonkeyPatch, window: float, even: int
) -> None:
    monkeypatch.setattr(reference_run, "follow_advice", lambda *_: "done even")
    stand = SimulatedEngine(FOUR, 3, replace(Imperfections(), lost_motion=0.0))
    off = stand.worst()
    assert median_run(stand, BLADES, off / window, runs=2).even == even
    assert median_run(stand, BLADES, off, runs=1).even == 1  # the limit itself is inside
