"""Quantities: digits, no-break spaces, the shop's units."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.shop.record.measures import Units
from app.sync.engine.units import MM, THOU
from app.wording.language import speaking
from app.wording.quantities import (
    NBSP,
    Unit,
    bore_list,
    feeler,
    flats,
    fraction,
    known,
    measured,
    opening,
    percent,
    percent_known,
    turns,
)
from tests.wording.pseudo import PseudoTranslations

METRIC = Units(temperature="°C", blade="mm")
US = Units(temperature="°F", blade="thou")


def eval_fraction(said: str) -> float:
    top, _, bottom = said.partition("/")
    return int(top) / int(bottom or 1)


@given(st.floats(-1e3, 1e3), st.floats(1e-3, 1e3), st.integers(0, 3))
def test_no_figure_has_a_place_finer_than_the_first_digit_of_its_error(value: float, sd: float, most: int) -> None:
    said = known(value, sd, most)
    assert len(said.partition(".")[2]) <= most
    first = float(f"1e{int(f'{sd:e}'.partition('e')[2])}")  # 0.01 of 0.034, 10 of 34
    steps = float(said) / first
    if first >= 10.0**-most:
        assert steps == pytest.approx(round(steps), abs=1e-6)
    assert abs(float(said) - abs(value)) <= max(first, 10.0**-most) / 2 * (1 + 1e-9)


def test_a_per_cent_of_an_early_round_is_said_in_tens() -> None:
    assert percent_known(0.21, 0.12) == "20\u00a0%"
    assert percent_known(0.21, 0.02) == "21\u00a0%"


@given(st.floats(0.0, 99.0), st.floats(0.0, 99.0))
def test_value_mean_and_difference_add_up_as_they_are_shown(value: float, mean: float) -> None:
    unit = Unit("kg/h", 1.0, 2)
    apart = float(unit.apart(value, mean).replace("\u2212", "-"))
    assert round(100 * float(unit.show(mean))) + round(100 * apart) == round(100 * float(unit.show(value)))


@given(st.integers(0, 64))
def test_turns_as_a_fraction_and_with_the_unit_agree(sixteenths: int) -> None:
    amount = sixteenths / 16
    whole, _, part = fraction(amount).rpartition(NBSP)
    assert sum(eval_fraction(said) for said in (whole, part) if said) == amount
    assert turns(amount).startswith(fraction(amount))


@pytest.mark.parametrize(("amount", "said"), [(0.5, "½"), (1.0, "1"), (1.25, "1¼"), (2.0, "2")])
def test_up_to_one_flat_is_a_flat_and_more_are_flats(amount: float, said: str) -> None:
    assert flats(amount) == f"{said}{NBSP}{'flat' if amount <= 1 else 'flats'}"


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        (feeler(3 * THOU, US), f"0.003{NBSP}in"),
        (feeler(0.08 * MM, METRIC), f"0.08{NBSP}mm"),
        (opening(30 * THOU, True, US), f"0.030{NBSP}in, from open"),
        (measured(84.0, "temperature", US), f"183.2{NBSP}°F"),
        (measured(84.0, "temperature", METRIC), f"84{NBSP}°C"),
        (percent(-0.163), f"16{NBSP}%"),
    ],
)
def test_a_figure_and_its_unit_are_in_the_shops_units_and_never_part(said: str, shown: str) -> None:
    assert said == shown


def test_a_list_is_joined_in_the_language_that_is_current() -> None:
    assert bore_list([1, 2, 3]) == "1, 2 and 3"
    with speaking(PseudoTranslations()):
        assert "and" not in bore_list([1, 2, 3])
