"""What is fitted: measured figures beside estimates, and what cannot be."""

import json
from dataclasses import fields

import pytest

from app.shop.errors import RejectedError
from app.shop.record.fittings import HARDWARE_FIELDS, hardware_known, hardware_to_json
from app.shop.rejections import Rejection
from app.sync.engine.hardware import Hardware, likely_hardware
from app.sync.engine.units import LITER, MM
from tests.shop.rejections import codes_of


def test_every_figure_has_its_unit_and_range() -> None:
    assert set(HARDWARE_FIELDS) == {field.name for field in fields(Hardware)}


def test_what_was_not_measured_is_the_estimate() -> None:
    known = hardware_known({"bore_diameter": 46.5}, 3.9 * LITER, 8)
    assert known.bore_diameter.value == pytest.approx(46.5 * MM)
    assert known.bore_diameter.measured
    assert known.stop_lever == likely_hardware(3.9 * LITER, 8).stop_lever


@pytest.mark.parametrize(
    ("measured", "codes"),
    [
        (
            {"bore_diameter": 120.5, "stop_pitch": 3.1},
            {"bore_diameter": Rejection.OUT_OF_RANGE, "stop_pitch": Rejection.OUT_OF_RANGE},
        ),
        ({"bore_diameter": 20.0, "shaft_diameter": 20.0}, {"shaft_diameter": Rejection.SHAFT_TOO_THICK}),
        ({"closed_angle": float("nan")}, {"closed_angle": Rejection.OUT_OF_RANGE}),
        ({"shaft_diameter": 1.9}, {"shaft_diameter": Rejection.OUT_OF_RANGE}),
    ],
)
def test_what_cannot_be_is_refused_by_figure(measured: dict[str, float], codes: dict[str, Rejection]) -> None:
    with pytest.raises(RejectedError) as refusal:
        hardware_known(measured, 3.9 * LITER, 8)
    assert codes_of(refusal) == codes


def test_a_shaft_of_two_millimeters_is_the_thinnest_there_is() -> None:
    """Our judgement, as the other ranges are."""
    assert hardware_known({"shaft_diameter": 2.0}, 0.4 * LITER, 4).shaft_diameter.value == pytest.approx(2 * MM)


def test_the_text_of_hardware_names_its_figures_in_the_order_of_the_alphabet() -> None:
    """As rows have it since the first version: what was sealed and what is compared with it goes by the text."""
    told = list(json.loads(hardware_to_json(likely_hardware(3.9 * LITER, 8))))
    assert told == sorted(told)
    assert len(told) == 7
