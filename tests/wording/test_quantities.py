"""Quantities: digits, no-break spaces, the shop's units."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.shop.record.measures import Units
from app.sync.engine.units import MM, THOU
from app.wording.language import speaking
from app.wording.quantities import (
    NBSP,
    bore_list,
    feeler,
    flats,
    fraction,
    measured,
    opening,
    percent,
    turns,
)
from tests.wording.pseudo import PseudoTranslations

METRIC = Units(temperature="°C", blade="mm")
US = Units(temperature="°F", blade="thou")


def eval_fraction(said: str) -> float:
    top, _, bottom = said.partition("/")
    return int(top) / int(bottom or 1)


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
