"""Banks, bores and couplers: what follows what, and what cannot be an engine."""

from typing import Any

import pytest

from app.sync.engine.adjusters.registry import adjusters, own_adjuster
from app.sync.engine.hardware import Figure, likely_hardware
from app.sync.engine.layout import (
    Bank,
    Bypass,
    Coupler,
    JointKind,
    Layout,
    LayoutError,
    LayoutFault,
    Link,
    OtherScrew,
    StopScrew,
)
from app.sync.engine.units import LITER, MM

FRONT = Bank("A", (1, 2, 3, 4, 5, 6), stop=3, drive=3)
REAR = Bank("B", (7, 8, 9, 10, 11, 12), stop=7, drive=8)


def test_couplers_run_outward_from_the_stop_bore() -> None:
    assert list(FRONT.couplers()) == [
        Coupler(3, 4),
        Coupler(4, 5),
        Coupler(5, 6),
        Coupler(3, 2),
        Coupler(2, 1),
    ]
    assert [coupler.far for coupler in REAR.couplers()] == [8, 9, 10, 11, 12]


def test_every_bore_but_the_stop_bore_is_the_far_bore_of_one_coupler() -> None:
    layout = Layout((FRONT, REAR))
    assert sorted(c.far for c in layout.couplers()) == sorted(set(layout.bores) - {FRONT.stop, REAR.stop})


def test_beyond() -> None:
    assert FRONT.beyond(Coupler(4, 5)) == (5, 6)
    assert FRONT.beyond(Coupler(3, 2)) == (2, 1)
    assert FRONT.beyond(Coupler(2, 1)) == (1,)


def test_finding_banks() -> None:
    layout = Layout((FRONT, REAR), sensor=9, springless=frozenset({1, 12}))
    assert layout.bank("B") is REAR
    assert layout.bank_of(4) is FRONT
    with pytest.raises(KeyError):
        layout.bank("C")
    with pytest.raises(KeyError):
        layout.bank_of(13)


def bank(name: str = "A", bores: tuple[int, ...] = (1, 2), stop: int = 1, drive: int = 1) -> Bank:
    return Bank(name, bores, stop, drive)


@pytest.mark.parametrize(
    ("banks", "field", "code"),
    [
        ((), "banks", LayoutFault.BANK_COUNT),
        ((bank("A"), bank("B", (3,), 3, 3), bank("C", (4,), 4, 4)), "banks", LayoutFault.BANK_COUNT),
        ((bank(bores=()),), "bores", LayoutFault.BANK_WITHOUT_BORES),
        ((bank(stop=3),), "stop", LayoutFault.STOP_ELSEWHERE),
        ((bank(drive=3),), "drive", LayoutFault.DRIVE_ELSEWHERE),
        ((bank("A"), bank("A", (3,), 3, 3)), "banks", LayoutFault.BANK_TWICE),
        ((bank(bores=tuple(range(1, 14))),), "bores", LayoutFault.TOO_MANY_BORES),
        ((bank("A"), bank("B", (2,), 2, 2)), "bores", LayoutFault.BORE_TWICE),
        ((bank(bores=(0, 1)),), "bores", LayoutFault.BORE_NUMBER),
    ],
)
def test_what_cannot_be_an_engine(banks: tuple[Bank, ...], field: str, code: LayoutFault) -> None:
    with pytest.raises(LayoutError) as refused:
        Layout(banks)
    assert (refused.value.field, refused.value.code) == (field, code)


@pytest.mark.parametrize(
    ("named", "code"),
    [
        ({"sensor": 3}, LayoutFault.SENSOR_ELSEWHERE),
        ({"springless": frozenset({2, 3})}, LayoutFault.SPRINGLESS_ELSEWHERE),
        ({"bypass": frozenset({3})}, LayoutFault.BYPASS_ELSEWHERE),
        ({"extra": (OtherScrew("wedge", 3),)}, LayoutFault.EXTRA_ELSEWHERE),
        ({"extra": (OtherScrew("wedge", 2), OtherScrew("wedge", 1), OtherScrew("wedge", 2))}, LayoutFault.EXTRA_TWICE),
    ],
)
def test_what_names_a_bore_names_one_that_the_engine_has_and_once(named: dict[str, Any], code: LayoutFault) -> None:
    with pytest.raises(LayoutError) as refused:
        Layout((bank(),), **named)
    assert (refused.value.field, refused.value.code) == (next(iter(named)), code)
    Layout((bank(bores=(1, 2)),), sensor=2, springless=frozenset({1}), extra=(OtherScrew("wedge", 1),))


TWINS = Bank("A", (1, 2, 3, 4, 5), 2, 2, ("shaft", "screw", "shaft", "blade"))


def test_plates_on_one_shaft_have_no_coupler_between_them_and_hang_on_the_one_that_carries_the_shaft() -> None:
    assert list(TWINS.couplers()) == [Coupler(2, 3), Coupler(4, 5)]
    assert [TWINS.shaft(bore) for bore in TWINS.bores] == [(1, 2), (1, 2), (3, 4), (3, 4), (5,)]
    assert [TWINS.carrier(bore) for bore in TWINS.bores] == [None, None, *[Coupler(2, 3)] * 2, Coupler(4, 5)]
    assert TWINS.beyond(Coupler(2, 3)) == (3, 4, 5)


def test_how_a_coupler_is_set() -> None:
    layout = Layout((TWINS,))
    assert layout.by_screw(Coupler(2, 3))
    assert not layout.by_screw(Coupler(4, 5))
    for stranger in (Coupler(1, 2), Coupler(3, 2)):
        with pytest.raises(KeyError):
            layout.by_screw(stranger)


def test_a_plate_is_evened_by_its_bypass_screw_or_by_what_carries_its_shaft_alone() -> None:
    layout = Layout((TWINS,), bypass=frozenset({1}))
    own = [own_adjuster(layout, bore) for bore in layout.bores]
    assert own == [Bypass(1), StopScrew("A"), None, None, Coupler(4, 5)]
    assert not layout.blades_alone


def test_a_bank_that_says_of_every_joint_what_is_usual_is_the_same_bank() -> None:
    said = Bank("A", (1, 2, 3), 2, 2, ("blade", "blade"))
    assert said == Bank("A", (1, 2, 3), 2, 2)
    assert Layout((said,)).blades_alone


def test_joints_and_bypass_screws_that_cannot_be() -> None:
    with pytest.raises(LayoutError) as refused:
        Layout((Bank("A", (1, 2), 1, 1, ("shaft", "blade")),))
    assert (refused.value.field, refused.value.code) == ("joints", LayoutFault.JOINT_COUNT)
    with pytest.raises(LayoutError) as refused:
        Layout((bank(),), bypass=frozenset({3}))
    assert (refused.value.field, refused.value.code) == ("bypass", LayoutFault.BYPASS_ELSEWHERE)


def test_sensor_and_springless_plates_sit_at_bores_that_exist() -> None:
    with pytest.raises(LayoutError) as refused:
        Layout((bank(),), sensor=3)
    assert (refused.value.field, refused.value.code) == ("sensor", LayoutFault.SENSOR_ELSEWHERE)
    with pytest.raises(LayoutError) as refused:
        Layout((bank(),), springless=frozenset({3}))
    assert (refused.value.field, refused.value.code) == ("springless", LayoutFault.SPRINGLESS_ELSEWHERE)


def test_likely_hardware_is_all_estimates_and_stays_in_reason() -> None:
    usual = likely_hardware(4 * LITER, 8)
    assert usual.bore_diameter == Figure(48 * MM)
    assert len(usual.estimated()) == 7
    assert likely_hardware(0.1 * LITER, 4).bore_diameter.value == pytest.approx(26 * MM)
    assert likely_hardware(20 * LITER, 8).bore_diameter.value == pytest.approx(70 * MM)


def test_with_a_motor_a_bore_no_plate_is_joined_to_another() -> None:
    layout = Layout((Bank("A", (1, 2, 3), 1, 1),), actuation="motor-per-bore")
    assert layout.couplers() == ()
    assert layout.banks[0].kinds == ("motors", "motors")
    assert layout.shared_shafts == ()
    assert layout.banks[0].carrier(2) is None
    with pytest.raises(LayoutError) as caught:
        Layout((Bank("A", (1, 2, 3), 1, 1, ("shaft", "screw")),), actuation="motor-per-bore")
    assert (caught.value.field, caught.value.code) == ("actuation", LayoutFault.JOINED_BESIDE_MOTORS)


def test_only_a_linkage_opens_two_banks_together() -> None:
    pair = (Bank("A", (1, 2), 1, 1), Bank("B", (3, 4), 3, 3))
    assert Layout(pair).linked
    assert not Layout(pair, actuation="motor-per-bank").linked
    assert not Layout(pair[:1]).linked
    assert not any(isinstance(one, Link) for one in adjusters(Layout(pair, actuation="motor-per-bank")))
    assert any(isinstance(one, Link) for one in adjusters(Layout(pair)))


def test_every_shaft_with_more_than_one_plate_is_named_once() -> None:
    joints: tuple[JointKind, ...] = ("shaft", "shaft", "blade", "shaft", "shaft")
    assert Layout((Bank("A", (1, 2, 3, 4, 5, 6), 1, 1, joints),)).shared_shafts == ((1, 2, 3), (4, 5, 6))
    assert Layout((Bank("A", (1, 2, 3), 1, 1),)).shared_shafts == ()


def test_a_bank_is_written_by_what_it_is_made_of_and_not_by_what_is_worked_out() -> None:
    """Keys are held to the text of what they came with."""
    assert repr(Bank("A", (1, 2), 1, 2)) == "Bank(name='A', bores=(1, 2), stop=1, drive=2, joints=())"
