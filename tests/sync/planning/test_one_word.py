"""Verdict and adviser say one thing: a good word waits until nothing more is asked for."""

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import pytest

from app.sync.engine.events import Event, Reading
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import RoundResult, evenness
from app.sync.planning import planner
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.planning.one_word import GOOD, as_said
from app.sync.planning.optimize import Plan
from app.sync.planning.planner import ENOUGH, _last_round, next_move
from app.sync.planning.recent_events import since_last_move
from app.sync.readings.untouched import untouched
from app.sync.simulation.reference_run import follow_advice
from app.sync.simulation.simulator import SimulatedEngine
from tests.benchmarks.engine import WINDOW, layout_of
from tests.benchmarks.people import BLADES


def even_round() -> RoundResult:
    four = layout_of(4, 1)
    stand = SimulatedEngine(four, 1)
    read = [Reading(bore, 1.8e-3, 20.0 * bore) for bore in four.bores]
    return evenness(four, [*read, *read, Reading(1, 1.8e-3, 100.0, closing=True)], stand.meter, WINDOW)


@pytest.mark.parametrize("why", [AdviceReason.DOUBTFUL, AdviceReason.LOST_MOTION_CHECK])
def test_a_good_word_is_taken_back_while_a_reading_is_asked_for(why: AdviceReason) -> None:
    found = even_round()
    assert found.verdict is Conformity.EVEN
    asked = Advice(AdviceKind.MEASURE, why, bores=(3,), inside=0.85, readings=4)
    said = as_said(found, asked).decision
    assert (said.conformity, said.all_inside, said.read_next, said.readings) == (Conformity.UNDECIDED, 0.85, (3,), 4)
    assert not said.move_advised


def test_and_while_a_plate_is_to_be_moved_but_not_for_the_idle_speed() -> None:
    found = even_round()
    turn = Advice(AdviceKind.STOP, AdviceReason.STOP_BANK, bank="A", turns=0.125, inside=0.6)
    assert as_said(found, turn).decision.move_advised
    speed = Advice(AdviceKind.STOP, AdviceReason.STOP_SPEED, bank="A", turns=0.125, inside=0.99)
    assert as_said(found, speed) is found


@pytest.mark.parametrize("why", [AdviceReason.EVEN, AdviceReason.METER_LIMIT])
def test_what_is_done_is_said_as_it_was_found(why: AdviceReason) -> None:
    found = even_round()
    assert as_said(found, Advice(AdviceKind.DONE, why, inside=0.95)) is found


@pytest.mark.slow
def test_at_no_step_of_a_visit_does_the_verdict_say_more_than_the_adviser() -> None:
    doubted = 0
    for seed in range(70000, 70012):
        stand = SimulatedEngine(layout_of(8, 2), seed)

        def advise(*facts: object, stand: SimulatedEngine = stand) -> Advice:
            nonlocal doubted
            advice = next_move(*facts)  # type: ignore[arg-type]
            found = read_since(stand.events, stand)
            if found is not None and found.verdict in GOOD and advice.kind is not AdviceKind.CANNOT:
                said = as_said(found, advice).verdict
                assert (said in GOOD) == (advice.kind is AdviceKind.DONE or for_speed(advice))
                doubted += said not in GOOD
            return advice

        follow_advice(stand, BLADES, WINDOW, advise)
    assert doubted > 0, "nothing was ever doubted"


def for_speed(advice: Advice) -> bool:
    """Whether a move is for the idle speed alone."""
    return advice.adjuster is not None and advice.inside is not None and advice.inside >= ENOUGH


def read_since(events: list[Event], stand: SimulatedEngine) -> RoundResult | None:
    """How even the bores stand by what was read since the last move."""
    read = [one for one in since_last_move(events) if isinstance(one, Reading)]
    earlier = untouched(stand.layout, events)
    return evenness(stand.layout, read, stand.meter, WINDOW, earlier=earlier) if read else None


def test_a_round_that_is_not_closed_is_closed_first_whatever_is_thought_of_it() -> None:
    def bench(*read: int) -> Any:
        return SimpleNamespace(
            layout=SimpleNamespace(bores=(1, 2, 3)), told={1, 2, 3}, read=read, before=(), outside=lambda bore: bore
        )

    for closed, decision in ((False, even_round().decision), (True, None), (False, None)):
        asked = _last_round(bench(1, 2, 3), closed, decision, False)
        assert (asked.kind, asked.why, asked.bores) == (AdviceKind.MEASURE, AdviceReason.CLOSE_ROUND, (1,))
        doubted = _last_round(bench(), closed, decision, False)
        assert doubted.bores == (3,)  # nothing was read in this round: the bore that is likeliest outside


@dataclass(frozen=True)
class Task:
    """What a plan is asked for."""

    helpless: frozenset[int] = frozenset()


def test_where_no_bore_is_lost_the_cheapest_plan_is_taken_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    cheapest = Plan((), 1.0)
    for name, told in (
        ("optimize", cheapest),
        ("as_if_known", None),
        ("weariness", 0.0),
        ("_why_unadjustable", None),
    ):
        monkeypatch.setattr(planner, name, lambda *_, told=told: told)
    bench: Any = SimpleNamespace(
        layout=SimpleNamespace(bores=(1, 2)), task=Task(), posterior=None, events=(), outside=lambda bore: 0.0,
        standing=SimpleNamespace(off_speed=(0.0,), cost=(0.0,)),
    )  # fmt: skip
    assert planner._plan(bench) is cheapest
