"""Shared shafts, bypass screws, couplers with a screw, a common plenum: the advice, followed at a simulated engine."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.sync.engine.adjusters.bypass_screw import BYPASS_AREA, BYPASS_BASE, BYPASS_MOST, BypassScrewKind
from app.sync.engine.adjusters.registry import adjusters, moved_bores, own_adjuster
from app.sync.engine.engine_air import usual_breathing
from app.sync.engine.events import BladeReset, BypassTurn, Event, IdleSpeed, Meter, Reading, ScrewTurn
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Bypass, Coupler, JointKind, Layout
from app.sync.engine.units import KG_PER_HOUR, THOU
from app.sync.estimation.posterior import prior_for
from app.sync.estimation.predict import predict
from app.sync.estimation.uncertain_gains import A_LITTLE
from app.sync.planning.advice import Advice
from app.sync.planning.planner import next_move
from app.sync.planning.uncertain_screws import Turned, screw_room, turned_out
from app.sync.simulation.reference_run import follow_advice
from app.sync.simulation.simulator import WANTED, SimulatedEngine
from tests.sync.strategies import layouts

BLADES = [t * THOU / 2 for t in range(3, 20)]
SCREWS = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("screw-in", "screw-out", "screw-in")),))
NO_WAY = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("screw", "screw", "screw")),))
TWINS = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("shaft", "screw-in", "shaft")),), bypass=frozenset({1, 2, 3, 4}))
ONE_SHAFT_A_BANK: tuple[JointKind, ...] = ("shaft", "shaft")
OPPOSED = Layout(
    (Bank("A", (1, 2, 3), 3, 1, ONE_SHAFT_A_BANK), Bank("B", (4, 5, 6), 4, 4, ONE_SHAFT_A_BANK)),
    bypass=frozenset(range(1, 7)),
    plenum=True,
)


def advised(events: list[Event], layout: Layout) -> Advice:
    n = len(layout.bores)
    return next_move(layout, likely_hardware(5e-4 * n, n), Meter(), events, WANTED, BLADES, 0.08, 5e-4 * n)


def a_round(values: list[float], layout: Layout) -> list[Event]:
    """Every bore at so many kg/h, the first one again, and the idle speed wanted."""
    read: list[Event] = [
        Reading(b, v * KG_PER_HOUR, 20.0 * at) for at, (b, v) in enumerate(zip(layout.bores, values, strict=True))
    ]
    return [*read, Reading(layout.bores[0], values[0] * KG_PER_HOUR, 20.0 * len(values), True), IdleSpeed(WANTED, 0.0)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("layout", "kinds"),
    [
        (SCREWS, {"stop", "screw"}),
        (NO_WAY, {"stop", "screw"}),
        (TWINS, {"stop", "screw", "bypass"}),
        (OPPOSED, {"stop", "bypass"}),
    ],
    ids=["screws", "screws of unknown way", "twin plates", "one shaft a bank"],
)
def test_engines_are_brought_to_even_by_the_screws_they_have(layout: Layout, kinds: set[str]) -> None:
    ended, turned = [], set()

    def advise(*facts: object) -> Advice:
        found = next_move(*facts)  # type: ignore[arg-type]
        turned.add(found.kind)
        return found

    for seed in range(5016, 5026):
        stand = SimulatedEngine(layout, seed)
        said = follow_advice(stand, tuple(BLADES), 0.08, advise)
        ended.append(said.startswith("done") and stand.worst() <= 0.1)
    assert sum(ended) >= 9
    assert kinds <= turned <= kinds | {"measure", "done"}


@pytest.mark.slow
def test_a_screw_of_unknown_way_is_turned_a_little_and_read_and_then_the_right_way() -> None:
    right = []
    for seed in range(5000, 5014):
        stand, said = SimulatedEngine(NO_WAY, seed), list[Advice]()

        def advise(*facts: object, stand: SimulatedEngine = stand, said: list[Advice] = said) -> Advice:
            found = next_move(*facts)  # type: ignore[arg-type]
            if found.kind == "screw" and found.why != "way" and found.near is not None and found.far is not None:
                opens = found.turns * stand.per_turn[Coupler(found.near, found.far)] > 0
                read = next(e.value for e in reversed(stand.events) if isinstance(e, Reading) and e.bore == found.far)
                right.append(opens == (found.expected[found.far].value > read))
            said.append(found)
            return found

        follow_advice(stand, tuple(BLADES), 0.08, advise)
        tried: set[int] = set()
        for found, then in itertools.pairwise(said):
            if found.kind == "screw" and found.far is not None and found.far not in tried:
                assert (found.why, found.turns, found.expected) == ("way", A_LITTLE, {})
                assert then.kind == "measure"
                assert found.far in then.bores
                tried.add(found.far)
    assert len(right) > 10
    assert sum(right) >= 0.9 * len(right)


def test_a_plate_apart_from_its_mate_on_the_shaft_is_evened_by_its_bypass_screw_alone() -> None:
    found = advised(a_round([6.5, 6.5, 7.1, 5.4], TWINS), TWINS)
    assert (found.kind, found.near, found.bores) in (("bypass", 3, (3,)), ("bypass", 4, (4,)))
    (bore,) = found.bores
    out = 1 if bore == 4 else -1  # out lets more air past
    assert found.turns * out > 0
    assert (found.expected[bore].value - {3: 7.1, 4: 5.4}[bore] * KG_PER_HOUR) * out > 0
    assert found.turns / BypassScrewKind.step == round(found.turns / BypassScrewKind.step)


def test_where_nothing_sets_two_plates_apart_it_says_so_and_moves_nothing_for_it() -> None:
    layout = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("shaft", "screw-in", "shaft")),))
    read_again = Reading(2, 5.1 * KG_PER_HOUR, 120.0)  # bore 1 is read twice in the round; one figure may be a misread
    found = advised([*a_round([7.9, 5.1, 6.5, 6.5], layout), read_again], layout)
    assert (found.kind, found.why) == ("cannot", "no-adjuster")
    assert set(found.about) <= {1, 2}


OPPOSED_TWO = Layout(
    (Bank("A", (1, 2), 1, 1, ("shaft",)), Bank("B", (3, 4), 3, 3, ("shaft",))), bypass=frozenset({1, 2, 3, 4})
)


def test_a_plate_that_leaks_more_than_its_bypass_screw_can_take_away_is_said_to_be_so() -> None:
    stand = SimulatedEngine(OPPOSED_TWO, 5001)
    stand.leak[3] += 6e-6  # six times what is usual
    assert follow_advice(stand, tuple(BLADES), 0.08) == "cannot bypass-end"
    assert stand.turned_out[Bypass(4)] < 0.5
    assert stand.moves < 12


def test_how_far_a_bypass_screw_stands_out_is_remembered_from_an_earlier_visit() -> None:
    usual = prior_for(TWINS, likely_hardware(2e-3, 4), usual_breathing(4, 2e-3, WANTED))
    assert turned_out(usual) == pytest.approx(dict.fromkeys(map(Bypass, (1, 2, 3, 4)), 0.0), abs=1e-9)
    left = predict(predict(usual, BypassTurn(3, 2.0, 0.0)), BypassTurn(4, -1.0, 0.0))
    known = {Bypass(1): 0.0, Bypass(2): 0.0, Bypass(3): 2.0, Bypass(4): -1.0}
    assert turned_out(left) == pytest.approx(known, abs=1e-9)
    assert screw_room(TWINS, turned_out(left))[2:] == [(-28, 4), (-4, 28)]


def test_a_hand_at_a_bypass_screw_leaves_its_own_bore_less_sure_and_no_other() -> None:
    """By hand: 0.012 of a turn, whatever the turn was, in air beside one plate, as gap of that plate."""
    usual = prior_for(OPPOSED_TWO, likely_hardware(2e-3, 4), usual_breathing(4, 2e-3, WANTED))
    turned = Turned(usual, np.array([[0.5, 0.0, -0.25, 0.0]]), np.full((1, 4), -1))
    each = (0.012 * BYPASS_AREA / usual.width) ** 2
    assert turned.noise(np.full((1, 4), 0.03)) / each == pytest.approx(np.diag([1, 0, 1, 0])[None])


@pytest.mark.slow
@settings(max_examples=80)
@given(layouts(), st.lists(st.floats(3.0, 12.0), min_size=8, max_size=8), st.booleans())
def test_advice_names_only_what_exists_on_any_hardware(layout: Layout, values: list[float], moved: bool) -> None:
    events = a_round(values[: len(layout.bores)], layout)
    if moved and layout.couplers():
        coupler = layout.couplers()[0]
        before = (
            ScrewTurn(coupler.near, coupler.far, A_LITTLE, -1.0)
            if layout.by_screw(coupler)
            else BladeReset(coupler.near, coupler.far, 5 * THOU, (5 * THOU,), -1.0)
        )
        events = [*events, before, *events]
    found = advised(events, layout)
    existing = adjusters(layout)
    assert set(found.bores) <= set(layout.bores)
    assert set(found.expected) <= set(found.bores)
    if found.kind in ("blade", "screw"):
        coupler = Coupler(found.near or 0, found.far or 0)
        assert coupler in existing
        assert layout.by_screw(coupler) == (found.kind == "screw")
        assert found.bores == moved_bores(layout, coupler)
    if found.kind == "bypass":
        assert Bypass(found.near or 0) in existing
        assert 0 < abs(found.turns) <= max(BYPASS_BASE, BYPASS_MOST - BYPASS_BASE)
    if found.kind == "stop":
        assert found.bank in {bank.name for bank in layout.banks}
    if found.why == "no-adjuster":
        assert own_adjuster(layout, found.about[0]) is None
