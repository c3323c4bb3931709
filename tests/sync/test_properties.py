"""What must hold for any plate, any air, any engine."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.sync.banks.bank_means import Opening
from app.sync.banks.banks import balance
from app.sync.engine.air import critical_ratio, flow_function
from app.sync.engine.events import Meter
from app.sync.engine.hardware import Figure, Hardware, likely_hardware
from app.sync.engine.layout import Bank, Bypass, Coupler, Layout, Link, OtherScrew, StopScrew
from app.sync.engine.linkage import stop_rotation, turns_for
from app.sync.engine.plate import angle_at, gap_at, open_area
from app.sync.engine.units import MM, THOU
from app.sync.planning.preset import turns_for_idle
from app.sync.slips.changes import Pooled
from app.sync.slips.slip_detection import slipped
from tests.sync.oracles import (
    area_of_gap,
    gap_after_turns,
    influence,
    mass_flow,
    turns_between,
)
from tests.sync.strategies import closed_angles, diameters, hardwares, layouts, shares

parts = st.floats(0.0, 1.0)
temperatures = st.floats(250.0, 330.0)
pressures = st.floats(60e3, 110e3)


@given(diameter=diameters, closed=closed_angles, part=parts)
def test_gap_and_angle_undo_one_another(diameter: float, closed: float, part: float) -> None:
    gap = part * diameter / 2
    assert gap_at(max(angle_at(gap, diameter, closed), closed), diameter, closed) == pytest.approx(gap, abs=1e-10)


@given(diameter=diameters, share=shares, closed=closed_angles, one=parts, other=parts)
def test_opening_a_plate_never_takes_area_away(
    diameter: float, share: float, closed: float, one: float, other: float
) -> None:
    less, more = (closed + part * (math.pi / 2 - closed) for part in sorted((one, other)))
    shut, open_ = (open_area(min(angle, math.pi / 2), diameter, share * diameter, closed) for angle in (less, more))
    bore = math.pi * diameter**2 / 4
    assert -1e-15 <= shut <= open_ + 1e-12 <= bore + 1e-11


@given(diameter=diameters, share=shares, closed=closed_angles, gap=st.floats(0.1 * THOU, 20 * THOU))
def test_the_shaft_only_takes_area_away(diameter: float, share: float, closed: float, gap: float) -> None:
    with_shaft = area_of_gap(gap, diameter, share * diameter, closed)
    assert 0 < with_shaft <= area_of_gap(gap, diameter, 0.0, closed) * (1 + 1e-12)


@given(scale=st.floats(0.1, 10), diameter=diameters, share=shares, closed=closed_angles, part=parts)
def test_area_grows_with_the_square_of_size(
    scale: float, diameter: float, share: float, closed: float, part: float
) -> None:
    angle = min(closed + part * (math.pi / 2 - closed), math.pi / 2)
    small = open_area(angle, diameter, share * diameter, closed)
    large = open_area(angle, scale * diameter, share * scale * diameter, closed)
    assert large == pytest.approx(scale**2 * small, rel=1e-6, abs=1e-12)


@given(gamma=st.floats(1.05, 1.7), ratio=parts)
def test_flow_never_falls_as_the_pressure_behind_falls(gamma: float, ratio: float) -> None:
    assert flow_function(1.0, gamma) == 0.0
    assert 0 <= flow_function(ratio, gamma) <= flow_function(critical_ratio(gamma), gamma) * (1 + 1e-12)
    assert flow_function(ratio / 2, gamma) >= flow_function(ratio, gamma)


@given(pressure=pressures, temperature=temperatures, area=st.floats(1e-7, 1e-3))
def test_no_flow_at_equal_pressures(pressure: float, temperature: float, area: float) -> None:
    assert mass_flow(area, pressure, pressure, temperature) == 0.0


@given(hardware=hardwares(), turns=st.floats(-3, 3))
def test_turns_and_rotation_undo_one_another(hardware: Hardware, turns: float) -> None:
    assert turns_for(stop_rotation(turns, hardware), hardware) == pytest.approx(turns)


@given(hardware=hardwares(), before=st.floats(1 * THOU, 15 * THOU), after=st.floats(1 * THOU, 15 * THOU))
def test_turning_by_the_turns_between_two_gaps_gets_there(hardware: Hardware, before: float, after: float) -> None:
    turned = gap_after_turns(before, turns_between(before, after, hardware), hardware)
    assert turned == pytest.approx(after, abs=1e-9)


def relabeled(layout: Layout, shift: Callable[[int], int]) -> Layout:
    return Layout(
        tuple(
            Bank(bank.name, tuple(map(shift, bank.bores)), shift(bank.stop), shift(bank.drive), bank.joints)
            for bank in layout.banks
        ),
        bypass=frozenset(map(shift, layout.bypass)),
        plenum=layout.plenum,
    )


@given(layout=layouts(), hardware=hardwares())
def test_relabeling_bores_changes_no_influence(layout: Layout, hardware: Hardware) -> None:
    other = relabeled(layout, lambda bore: bore + 7)
    assert np.array_equal(influence(layout, hardware).matrix, influence(other, hardware).matrix)


@given(layout=layouts(), hardware=hardwares())
def test_influence_is_a_tree(layout: Layout, hardware: Hardware) -> None:
    found = influence(layout, hardware)
    for adjuster in found.adjusters:
        moved = set(found.of(adjuster))
        if isinstance(adjuster, Coupler):
            assert adjuster.far in moved
            assert adjuster.near not in moved
        elif isinstance(adjuster, Bypass | OtherScrew):
            assert moved == {adjuster.bore}
        else:
            assert moved == set(layout.bank(adjuster.bank).bores)
    # Each bore is held by its stop screw and by the couplers between the two.
    for bore in layout.bores:
        holds = [a for a in found.adjusters if not isinstance(a, Link | Bypass) and bore in found.of(a)]
        bank = layout.bank_of(bore)
        between = sorted((bank.bores.index(bore), bank.bores.index(bank.stop)))
        shafts = bank.joints[slice(*between)].count("shaft")
        assert len(holds) == 1 + between[1] - between[0] - shafts
        assert holds[0] == StopScrew(bank.name)


@given(layout=layouts(banks=2), data=st.data())
@settings(max_examples=25)
def test_relabeling_bores_tells_the_same_story(layout: Layout, data: st.DataObject) -> None:
    noise = {bore: data.draw(st.floats(0.85, 1.15)) for bore in layout.bores}
    left = {bore: Pooled(6.5 / 3600, 3) for bore in layout.bores}
    found = {bore: Pooled(6.5 / 3600 * noise[bore], 2) for bore in layout.bores}
    other = relabeled(layout, lambda bore: 40 - bore)
    story = slipped(layout, left, found, Meter(), same_meter=True)
    same = slipped(
        other,
        {40 - bore: pooled for bore, pooled in left.items()},
        {40 - bore: pooled for bore, pooled in found.items()},
        Meter(),
        same_meter=True,
    )
    assert same.verdict == story.verdict
    assert list(same.odds.values()) == pytest.approx(list(story.odds.values()))


@given(layout=layouts(banks=2), offsets=st.lists(st.floats(0.9, 1.1), min_size=2, max_size=2))
@settings(max_examples=25)
def test_swapping_the_banks_turns_the_story_round(layout: Layout, offsets: list[float]) -> None:
    swapped = replace(layout, banks=layout.banks[::-1])
    idle = dict.fromkeys(layout.bores, 6.5 / 3600)
    second = layout.banks[1].bores
    read = [
        Opening(travel, {bore: flow / 3600 * (by if bore in second else 1.0) for bore in layout.bores})
        for travel, flow, by in zip((0.25 * MM, 0.76 * MM), (7.5, 9.5), offsets, strict=True)
    ]
    hardware = likely_hardware(4e-3, 8)
    one, other = (balance(engine, hardware, idle, read, Meter(), True) for engine in (layout, swapped))
    assert sum(one.odds.values()) == pytest.approx(1.0)
    assert list(other.odds.values()) == pytest.approx(list(one.odds.values()), abs=1e-9)
    assert other.offset == pytest.approx(-one.offset, abs=1e-9)
    assert other.ratio == pytest.approx(-one.ratio, abs=1e-9)


@given(
    hardware=hardwares(),
    displacement=st.floats(0.5e-3, 12e-3),
    bores=st.integers(2, 12),
    idle=st.floats(8.0, 30.0),
    measured=st.booleans(),
)
def test_a_preset_lies_inside_its_band(
    hardware: Hardware, displacement: float, bores: int, idle: float, measured: bool
) -> None:
    if measured:
        hardware = Hardware(*(Figure(getattr(hardware, name).value, measured=True) for name in hardware.estimated()))
    preset = turns_for_idle(displacement, bores, idle, hardware)
    assert 0 < preset.low <= preset.turns <= preset.high
    assert preset.basis == ("physics" if measured else "usual")
