"""What parts an engine has, told of engines that have them and of others that have not."""

import pytest

from app.shop.procedure.parts import Part, parts_of
from app.sync.engine.layout import Bank, Layout
from tests.shop.yard import AIR_COOLED, FOUR, ONE_MOTOR_A_BORE, TWINS, V8

SCREWED = Layout((Bank("A", (1, 2, 3), 1, 1, ("screw-in", "screw-out")),))
ALONE = Layout((Bank("A", (1,), 1, 1),))
ALL: frozenset[Part] = frozenset({"always", "linkage", "liquid"})


@pytest.mark.parametrize(
    ("layout", "more"),
    [
        (FOUR, {"couplers", "blades"}),
        (V8, {"couplers", "blades", "two banks", "sensor"}),
        (SCREWED, {"couplers", "screws"}),
        (TWINS, {"couplers", "screws", "shafts", "bypass", "plenum"}),
    ],
    ids=["feelers", "two banks", "screws", "twins"],
)
def test_the_parts_of_an_engine(layout: Layout, more: set[Part]) -> None:
    assert parts_of(layout) == ALL | more


def test_air_cools_in_place_of_a_liquid_and_motors_in_place_of_a_linkage() -> None:
    assert parts_of(AIR_COOLED) >= {"air"}
    assert "liquid" not in parts_of(AIR_COOLED)
    assert parts_of(ONE_MOTOR_A_BORE) >= {"motors"}
    assert "linkage" not in parts_of(ONE_MOTOR_A_BORE)


def test_a_single_bore_has_no_coupler_of_either_kind() -> None:
    assert {"couplers", "screws"}.isdisjoint(parts_of(ALONE))
