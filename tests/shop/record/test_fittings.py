"""What is fitted: measured figures beside estimates, and what cannot be."""

from dataclasses import fields

import pytest

from app.shop.errors import RejectedError
from app.shop.record.fittings import HARDWARE_FIELDS, hardware_known
from app.sync.engine.hardware import Hardware, likely_hardware
from app.sync.engine.units import LITRE, MM


def test_every_figure_has_its_unit_and_range() -> None:
    assert set(HARDWARE_FIELDS) == {field.name for field in fields(Hardware)}


def test_what_was_not_measured_is_the_estimate() -> None:
    known = hardware_known({"bore_diameter": 46.5}, 3.9 * LITRE, 8)
    assert known.bore_diameter.value == pytest.approx(46.5 * MM)
    assert known.bore_diameter.measured
    assert known.stop_lever == likely_hardware(3.9 * LITRE, 8).stop_lever


@pytest.mark.parametrize(
    ("measured", "at_fault"),
    [
        ({"bore_diameter": 120.5, "stop_pitch": 3.1}, ["bore_diameter", "stop_pitch"]),
        ({"bore_diameter": 20.0, "shaft_diameter": 20.0}, ["shaft_diameter"]),
        ({"closed_angle": float("nan")}, ["closed_angle"]),
    ],
)
def test_what_cannot_be_is_refused_by_figure(measured: dict[str, float], at_fault: list[str]) -> None:
    with pytest.raises(RejectedError) as refusal:
        hardware_known(measured, 3.9 * LITRE, 8)
    assert sorted(refusal.value.problems) == at_fault
