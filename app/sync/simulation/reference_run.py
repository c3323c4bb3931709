"""What a careful technician would have needed at a simulated engine: the advice, followed to its end by other hands."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from statistics import median

from app.sync.planning.advice import Advice, AdviceKind, AdviceReason, move_of
from app.sync.planning.planner import next_move
from app.sync.simulation.simulator import PER_BORE, WANTED, SimulatedEngine

MOST_STEPS = 250  # our judgement


@dataclass(frozen=True, slots=True)
class ReferenceRun:
    """A careful technician's work, as medians of ``runs``: minutes, moves, readings. ``even`` of the runs ended with
    every bore truly inside the window."""

    minutes: float
    moves: float
    readings: float
    even: int
    runs: int


def follow_advice(
    stand: SimulatedEngine, blades: tuple[float, ...], window: float, advise: Callable[..., Advice] = next_move
) -> str:
    """Do at an engine what the advice says until it says to stop, and return its last word.

    Parameters: ``stand`` to work at, which it changes; ``blades`` there are [m]; ``window`` as a fraction of the mean;
    ``advise`` the adviser to ask.
    """
    layout, displacement = stand.layout, PER_BORE * len(stand.layout.bores)
    stand.read_speed()
    for _ in range(MOST_STEPS):
        advice = advise(layout, stand.hardware, stand.meter, stand.events, WANTED, blades, window, displacement)
        if advice.kind in (AdviceKind.DONE, AdviceKind.CANNOT):
            return f"{advice.kind} {advice.why}"
        if advice.kind is AdviceKind.MEASURE:
            stand.read(advice.bores[0], closing=advice.why is AdviceReason.CLOSE_ROUND)
        elif (move := move_of(advice)) is not None:
            stand.make(move)
            stand.read_speed()
    return "no end"


def median_run(stand: SimulatedEngine, blades: Sequence[float], window: float, runs: int = 3) -> ReferenceRun:
    """What a careful technician would have needed to even an engine at idle, from where it stood at first.

    Parameters: ``stand`` whose engine it is, left as it is; ``blades`` there are [m]; ``window`` as a fraction of the
    mean; ``runs`` at least 1, each with another meter noise and other hands.

    >>> from app.sync.engine.layout import Bank, Layout
    >>> from app.sync.engine.units import THOU
    >>> four = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
    >>> work = median_run(SimulatedEngine(four, seed=2003), [t * THOU / 2 for t in range(3, 20)], 0.08, runs=1)
    >>> work.minutes >= 0.3 * 5  # a round and its closing reading at least
    True
    """
    ends: list[SimulatedEngine] = []
    for hand in range(1, runs + 1):
        fresh = replace(stand, hand=hand, events=[], minutes=0.0, readings=0, moves=0)
        follow_advice(fresh, tuple(blades), window)
        ends.append(fresh)
    return ReferenceRun(
        float(median(one.minutes for one in ends)),
        float(median(one.moves for one in ends)),
        float(median(one.readings for one in ends)),
        sum(one.worst() <= window for one in ends),
        runs,
    )
