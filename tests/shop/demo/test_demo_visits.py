"""How far a visit of the demonstration goes: each is left open where its engine says so, in the order of the phases."""

from types import SimpleNamespace
from typing import Any

import pytest

from app.shop.demo import demo_shop
from app.shop.demo.demo_engines import PIECES
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES


class Hands:
    """Writes down what it is asked to do."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.did: list[tuple[Any, ...]] = []

    def record(self, visit_id: int) -> SimpleNamespace:
        return SimpleNamespace(visit=SimpleNamespace(number=self.number))

    def __getattr__(self, name: str) -> Any:
        def do(visit_id: int, *what: object, **how: object) -> None:
            self.did.append((name, *(one for one in what if one is not BENCH), *how.values()))

        return do


BENCH = SimpleNamespace(layout=SimpleNamespace(bores=(1, 2, 3, 4, 5, 6, 7, 8)))
WHOLE = [
    ("check", COLD_PRESET),
    ("check", FIRST_FIRE),
    ("read_round", FIRST_FIRE),
    ("check", HEAT_SOAKED),
    ("even_out",),
    ("balance",),
    ("lock_down", "Foreman of the yard"),
]
"""All of the first visit of an engine; a later one needs no preset and no quick round."""

LEFT: dict[str, tuple[int, list[tuple[object, ...]]]] = {
    "cold": (0, []),
    "fire": (1, []),
    "heat": (4, [("read_round", HEAT_SOAKED, 5)]),  # all but three bores
    "bank": (5, [("check", BANK_BALANCE), ("read_round", BANK_BALANCE)]),
    "lock": (6, [("check", LOCK_DOWN)]),
    "": (7, []),
}
"""By where a visit is left: how much of a whole one was done, and what of the phase it is left in."""


def done(until: str, number: int) -> list[tuple[Any, ...]]:
    hands: Any = Hands(number)
    bench: Any = BENCH
    demo_shop._visit(hands, 7, bench, PIECES[0], until)
    found: list[tuple[Any, ...]] = hands.did
    return found


@pytest.mark.parametrize("until", LEFT)
def test_a_first_visit_is_left_where_it_is_said_to_be(until: str) -> None:
    whole, more = LEFT[until]
    assert done(until, 1) == [*WHOLE[:whole], *more]


@pytest.mark.parametrize("until", LEFT)
def test_a_later_visit_begins_with_the_start(until: str) -> None:
    whole, more = LEFT[until]
    assert done(until, 2) == [*(step for step in WHOLE[:whole] if step not in (WHOLE[0], WHOLE[2])), *more]


def test_the_demonstration_has_an_engine_in_every_phase_and_one_that_is_worked_at_today() -> None:
    assert {piece.until for piece in PIECES} == {*LEFT, "done"} - {""}
    assert len(LEFT) - 1 == len(PHASES)
    (at_work,) = (piece for piece in PIECES if piece.now)
    assert at_work.visits[-1][-1] == 0
