"""The next move: only bores, blades and turns that exist, and an order a person can follow."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.sync.engine.events import BladeReset, BypassTurn, Event, IdleSpeed, Meter, Reading, ScrewTurn, StopTurn
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.idle_flow import solve_idle
from app.sync.engine.layout import Bank, Bypass, Coupler, Layout, StopScrew
from app.sync.engine.units import KG_PER_HOUR, THOU
from app.sync.estimation.conformity import Conformity, Decision
from app.sync.estimation.filter import followed
from app.sync.estimation.posterior import LEAST_GAP, Floats, Posterior, start_prior
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.planning.evaluation import SIXTEENTH, idle_is_off
from app.sync.planning.planner import next_move
from app.sync.planning.recent_events import not_back, recently_turned, to_and_fro

V8 = Layout((Bank("A", (1, 2, 3, 4), 2, 1), Bank("B", (5, 6, 7, 8), 5, 5)))
FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))
BLADES = tuple(t * THOU for t in (1.5, 2, 3, 4, 5, 6, 8, 10))


def advised(events: list[Event], layout: Layout = V8, meter: Meter | None = None) -> Advice:
    hardware = likely_hardware(0.5e-3 * len(layout.bores), len(layout.bores))
    return next_move(layout, hardware, meter or Meter(), events, 15.0, BLADES, 0.08, 0.5e-3 * len(layout.bores))


def a_round(values: list[float], layout: Layout = V8, unit: float = KG_PER_HOUR) -> list[Event]:
    pairs = zip(layout.bores, values, strict=True)
    read: list[Event] = [Reading(b, v * unit, 20.0 * n) for n, (b, v) in enumerate(pairs)]
    return [*read, Reading(layout.bores[0], values[0] * unit, 20.0 * len(read), closing=True)]


def test_the_first_thing_is_to_read_every_bore() -> None:
    assert advised([]) == Advice(AdviceKind.MEASURE, AdviceReason.FIRST_ROUND, bores=V8.bores)


def test_nothing_is_called_even_before_the_round_is_closed() -> None:
    open_round = a_round([6.5] * 4, FOUR)[:-1]
    assert advised(open_round, FOUR) == Advice(AdviceKind.MEASURE, AdviceReason.CLOSE_ROUND, bores=(1,))


def test_after_a_move_the_bores_it_acts_on_are_read_again_the_most_doubtful_first() -> None:
    uneven = a_round([6.5, 6.5, 6.5, 8.0], FOUR)
    last = advised([*uneven, BladeReset(3, 4, 5 * THOU, (5 * THOU,), 200.0)], FOUR)
    assert (last.kind, last.why, last.bores) == ("measure", "last-round", (4,))
    whole = advised([*a_round([6.5, 6.5, 6.5, 6.75], FOUR), StopTurn("A", -0.0625, 200.0)], FOUR)
    assert (whole.kind, whole.why, set(whole.bores), whole.bores[0]) == ("measure", "last-round", {1, 2, 3, 4}, 4)


def test_a_round_that_leaves_bores_out_ends_with_one_of_them() -> None:
    reset = BladeReset(3, 4, 5 * THOU, (5 * THOU,), 200.0)
    events = [*a_round([6.5, 6.5, 6.5, 8.0], FOUR), reset, Reading(4, 6.5 * KG_PER_HOUR, 260.0)]
    asked = advised(events, FOUR)
    assert (asked.kind, asked.why, asked.bores) == ("measure", "close-round", (1,))
    ended = advised([*events, Reading(1, 6.5 * KG_PER_HOUR, 280.0, closing=True)], FOUR)
    assert (ended.kind, ended.why) == ("done", "even")


def test_an_even_round_is_left_alone() -> None:
    assert advised(a_round([6.5] * 8)) == Advice(AdviceKind.DONE, AdviceReason.EVEN)


def test_a_wide_bore_is_reset_at_its_own_coupler_and_carries_what_lies_beyond() -> None:
    found = advised(a_round([6.5, 6.5, 8.0, *[6.5] * 5]))
    assert (found.kind, found.near, found.far, found.bores) == ("blade", 2, 3, (3, 4))
    assert 3 * THOU < found.gap < 6 * THOU
    assert found.expected[3].low < 6.5 * KG_PER_HOUR < found.expected[3].high
    assert found.expected[4].value < 6.5 * KG_PER_HOUR


def test_a_bore_still_wide_on_a_blade_gets_a_thinner_one() -> None:
    reset = BladeReset(3, 4, 5 * THOU, (5 * THOU,), 200.0)
    before, after = a_round([6.5, 6.5, 6.5, 9.5, *[6.5] * 4]), a_round([6.5, 6.5, 6.5, 8.0, *[6.5] * 4])
    found = advised([*before, reset, *after])
    assert (found.kind, found.far) == ("blade", 4)
    assert found.gap < 5 * THOU


@pytest.mark.parametrize(("wide", "laid"), [(8.5, 4), (9.0, 4), (8.5, 3)])
def test_a_bore_missed_more_likely_than_one_in_four_is_read_before_the_next_feeler(wide: float, laid: int) -> None:
    """The chance of having missed by draws of the posterior through the flow law; the limit is our judgement."""
    gap = laid * THOU
    events = [*a_round([6.5, 6.5, wide, 6.5, 6.5, 6.5, 8.5, 6.5]), BladeReset(2, 3, gap, (gap,), 200.0)]
    posterior = followed(start_prior(V8, likely_hardware(4e-3, 8), 4e-3, 15.0), Meter(), tuple(events))
    flows = np.array([flows_of(posterior, state) for state in drawn(posterior, 400)])
    missed = float((abs(flows[:, 2] / flows.mean(axis=1) - 1) > 0.08).mean())
    assert 0.25 < missed < 0.85
    found = advised(events)
    assert (found.kind, found.why, found.bores) == ("measure", "after-move", (3,))


def drawn(posterior: Posterior, times: int) -> Iterable[Floats]:
    """States of an engine that are as likely as the posterior says."""
    return np.random.default_rng(5).multivariate_normal(posterior.mean, posterior.covariance, times)


def flows_of(posterior: Posterior, state: Floats) -> Floats:
    """The air of each bore of an engine in that state."""
    there = replace(posterior, mean=np.r_[np.maximum(state[:8], LEAST_GAP), state[8:]])
    return solve_idle(there.engine, there.areas, there.log_demand).flows


def test_a_doubtful_bore_is_read_once_more_and_then_set() -> None:
    """Two readings are enough before two minutes are spent (our judgement), though it is still in doubt."""
    once = a_round([6.5, 5.75, 7.0, 6.0], FOUR)
    again = Reading(2, 5.75 * KG_PER_HOUR, 300.0)
    asked, set_now = advised(once, FOUR), advised([*once, again], FOUR)
    assert (asked.kind, asked.why, asked.bores) == ("measure", "doubtful", (2,))
    assert (set_now.kind, set_now.far) == ("blade", 2)


def test_a_vacuum_column_still_high_on_a_blade_gets_a_thicker_one() -> None:
    reset = BladeReset(3, 4, 3 * THOU, (3 * THOU,), 200.0)
    meter = Meter("vacuum", 250.0, 0.01)
    events = [*a_round([33, 33, 33, 50], FOUR, 1000.0), reset, *a_round([33, 33, 33, 45], FOUR, 1000.0)]
    found = advised(events, FOUR, meter)
    (blade,) = [one for one in (found, *found.then) if one.kind == "blade"]
    assert blade.far == 4
    assert blade.gap > 3 * THOU


def test_a_bank_that_stands_tight_is_opened_at_its_stop_screw() -> None:
    found = advised(a_round([5.5] * 4 + [7.5] * 4))
    assert (found.kind, found.bank) == ("stop", "A")
    assert found.turns > 0


def test_a_stop_bore_out_of_the_window_that_no_sixteenth_mends_is_not_called_even() -> None:
    coarse = likely_hardware(2e-3, 4)
    off = a_round([9.5, 2.2, 9.5, 9.5], Layout((Bank("A", (1, 2, 3, 4), 2, 1),)))
    layout = Layout((Bank("A", (1, 2, 3, 4), 2, 1),))
    assert next_move(layout, coarse, Meter(), off, 15.0, (), 0.08, 2e-3).why != "even"


@pytest.mark.slow
@settings(max_examples=150)
@given(
    st.lists(st.floats(0.5, 20.0), min_size=8, max_size=8),
    st.sampled_from([0.002, 0.02, 0.05]),
    st.lists(st.sampled_from(BLADES), max_size=3),
)
def test_advice_names_only_what_exists(values: list[float], repeatability: float, set_before: list[float]) -> None:
    before: list[Event] = [BladeReset(2, 3, gap, (gap,), -100.0) for gap in set_before]
    found = advised([*before, *a_round(values)], meter=Meter(repeatability=repeatability))
    assert set(found.bores) <= set(V8.bores)
    assert set(found.expected) <= set(V8.bores)
    if found.kind == "blade":
        assert (found.near, found.far) in {(c.near, c.far) for c in V8.couplers()}
        assert 1 <= len(found.leaves) <= 2
        assert set(found.leaves) <= set(BLADES)
    if found.kind == "stop":
        assert found.bank in {"A", "B"}
        assert found.turns != 0
        assert found.turns / SIXTEENTH == round(found.turns / SIXTEENTH)


def test_a_value_that_does_not_fit_is_read_again_before_anything_is_believed() -> None:
    found = advised(a_round([6.5, 6.5, 65.0, *[6.5] * 5]))
    assert found == Advice(AdviceKind.MEASURE, AdviceReason.MISREAD, bores=(3,))


def test_two_readings_that_cannot_both_be_right_ask_for_a_third() -> None:
    found = advised([*a_round([6.5] * 8), Reading(3, 9.5 * KG_PER_HOUR, 300.0)])
    assert found == Advice(AdviceKind.MEASURE, AdviceReason.DISAGREE, bores=(3,))


def test_readings_that_scatter_with_nothing_moved_point_at_slack() -> None:
    again: list[Event] = [Reading(3, v * KG_PER_HOUR, 300.0) for v in (7.25, 6.0, 7.25, 6.0)]
    found = advised([*a_round([6.5] * 8), *again])
    assert (found.kind, found.why, found.about) == ("cannot", "slop", (3,))


def test_a_screw_that_twice_moved_nothing_is_not_turned_again() -> None:
    low = a_round([5.0] * 4 + [7.0] * 4)
    events = [*low, StopTurn("A", 0.375, 200.0), *low, StopTurn("A", 0.375, 400.0), *low]
    assert (advised(events).kind, advised(events).why) == ("cannot", "no-answer")


def test_a_window_finer_than_hands_can_set_is_said_to_be_finer() -> None:
    hardware = likely_hardware(4e-3, 8)
    found = next_move(V8, hardware, Meter(), a_round([6.5] * 8), 15.0, BLADES, 0.01, 4e-3)
    for rounds in range(2, 5):
        if found.kind != "measure":
            break
        found = next_move(V8, hardware, Meter(), a_round([6.5] * 8) * rounds, 15.0, BLADES, 0.01, 4e-3)
    assert (found.kind, found.why) == ("done", "finest")


def test_the_low_ones_are_raised_to_the_high_ones_where_idle_speed_allows() -> None:
    """Some bores at 10 and others at 6 kg/h: common practice, no published source."""
    events: list[Event] = [IdleSpeed(0.84 * 15.0, 0.0), *a_round([10.0] * 4 + [6.0] * 4)]
    found = advised(events)
    assert (found.kind, found.bank) == ("stop", "B")
    assert found.turns > 0


def test_an_idle_speed_seen_outside_is_set_whatever_the_readings_make_of_it() -> None:
    """Sixty rpm either way of the one wanted: our judgement, the limit that ends the phase."""
    even = a_round([6.5] * 8)
    for rpm, way, why in ((838, 1, "stop-speed"), (962, -1, "stop-fast")):  # 900 is wanted
        found = advised([*even, IdleSpeed(rpm / 60, 200.0)])
        assert (found.kind, found.why) == ("stop", why), rpm
        assert found.turns * way > 0
    for rpm in (842, 958):
        assert advised([*even, IdleSpeed(rpm / 60, 200.0)]).kind == "done", rpm


def test_the_limit_of_the_idle_speed_is_inside_whatever_speed_is_wanted() -> None:
    """As the phase has it, which counts in whole revolutions a minute: no error of a float tells the two apart."""
    for wanted in range(500, 1500):
        assert not any(idle_is_off((wanted + by) / 60, wanted / 60) for by in (-60, 60))
        assert all(idle_is_off((wanted + by) / 60, wanted / 60) for by in (-61, 61))


@pytest.mark.parametrize(
    ("decided", "why"),
    [
        (Decision(Conformity.UNDECIDED, 0.8, move_advised=True), "too-close"),
        (Decision(Conformity.NOT_EVEN, 0.02, above=(3,)), "nothing-helps"),
    ],
)
def test_what_the_meter_cannot_tell_is_not_told_as_what_no_hand_can_set(decided: Decision, why: str) -> None:
    read = [one for _ in range(3) for one in a_round([6.5] * 8)]
    found = next_move(V8, likely_hardware(4e-3, 8), Meter(), read, 15.0, BLADES, 0.08, 4e-3, decision=decided)
    assert (found.kind, found.why) == ("cannot", why)
    assert len(found.about) == 1


def test_the_moves_that_follow_the_first_are_told_with_it() -> None:
    found = advised(a_round([6.5] * 4 + [7.5] * 3 + [6.5]))
    assert (found.kind, found.bank) == ("stop", "B")
    assert [(one.kind, one.near, one.far) for one in found.then] == [("blade", 7, 8)]
    assert advised(a_round([6.5, 6.5, 6.5, 8.5, *[6.5] * 4])).then == ()


def test_two_banks_are_not_opened_and_closed_again_for_one_another() -> None:
    """By hand: of A less, B less, A more, B more each screw has gone both ways, so neither goes its first way again."""
    reading, reset = Reading(3, 6.5 * KG_PER_HOUR, 5.0), BladeReset(2, 3, 4 * THOU, (4 * THOU,), 5.0)
    a_less, b_less, a_more, b_more = (StopTurn(bank, by, 10.0) for by in (-0.125, 0.125) for bank in "AB")
    there: list[Event] = [a_less, reading, b_less, reading]
    back: list[Event] = [a_more, IdleSpeed(14.0, 20.0), b_more, reading]
    assert to_and_fro([]) == to_and_fro([reading]) == to_and_fro(there) == set()
    assert to_and_fro([*there, a_more]) == {(StopScrew("A"), -1)}
    assert to_and_fro([*there, *back]) == {(StopScrew("A"), -1), (StopScrew("B"), -1)}
    assert to_and_fro([*back, *there]) == {(StopScrew("A"), 1), (StopScrew("B"), 1)}
    assert to_and_fro([*there, reset, *back]) == to_and_fro([*there, *back, reset]) == set()


def test_a_screw_is_not_turned_again_unseen_nor_back_again_after_to_and_fro() -> None:
    more, less = (StopTurn("A", by * SIXTEENTH, 10.0) for by in (1, -1))
    reading, reset = Reading(3, 6.5 * KG_PER_HOUR, 5.0), BladeReset(2, 3, 4 * THOU, (4 * THOU,), 5.0)
    stop = StopScrew("A")
    neither = {(stop, 1), (stop, -1)}
    assert recently_turned([]) == set()
    assert recently_turned([reading, more]) == recently_turned([more, reset]) == neither
    assert recently_turned([more, reading]) == recently_turned([more, reading, more, reading]) == set()
    assert recently_turned([more, reading, less, reading]) == {(stop, 1)}
    assert recently_turned([more, more, reading, less, less, reading]) == {(stop, 1)}
    assert recently_turned([more, reading, less, reading, reset, reading]) == set()
    assert recently_turned([ScrewTurn(2, 3, 0.25, 5.0), BypassTurn(4, -0.5, 5.0)]) == {
        (place, way) for place in (Coupler(2, 3), Bypass(4)) for way in (1, -1)
    }


def test_a_turn_is_not_taken_back_before_a_bore_was_read() -> None:
    more, less = (StopTurn("A", by * SIXTEENTH, 10.0) for by in (1, -1))
    reading, speed, reset = (
        Reading(3, 6.5 * KG_PER_HOUR, 5.0),
        IdleSpeed(15.0, 5.0),
        BladeReset(2, 3, THOU, (THOU,), 5.0),
    )
    assert not_back([]) == not_back([more, reading]) == not_back([reading, reset, speed]) == set()
    assert not_back([reading, more, speed, reset, speed]) == {(StopScrew("A"), -1)}
    assert not_back([more, reading, less, speed]) == {(StopScrew("A"), 1)}
    assert not_back([BypassTurn(4, -0.5, 5.0), speed]) == {(Bypass(4), 1)}


@pytest.mark.parametrize(("rpm", "back"), [(847.0, False), (760.0, True)])
def test_an_idle_inside_its_limit_takes_no_turn_back_and_one_outside_does(rpm: float, back: bool) -> None:
    """Sixty rpm either way of 850 is inside: our judgement. The turn itself was for an idle that was too fast."""
    read = a_round([8.5, 9.25, 10.75, 11.5, 8.0, 7.5, 7.5, 5.5])
    events = [IdleSpeed(932 / 60, 0.0), *read, StopTurn("A", -4 * SIXTEENTH, 200.0), IdleSpeed(rpm / 60, 200.0)]
    found = next_move(V8, likely_hardware(5.6e-3, 8), Meter(), events, 850 / 60, BLADES, 0.08, 5.6e-3)
    assert ((found.bank, found.turns > 0) == ("A", True)) is back
