"""What is read out over the telephone while the engine is read and moved: plain words, both units, safe first."""

import pytest

from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.wording.telephone import advice_prompt
from tests.shop.yard import V8

K, WHY = AdviceKind, AdviceReason.FOLLOWS


@pytest.mark.parametrize(
    ("advice", "said"),
    [
        (Advice(K.MEASURE, AdviceReason.UNREAD, bores=(3,)), "Hold the meter on intake 3"),
        (Advice(K.STOP, WHY, bank="B", turns=0.125), "at intake 5 in, clockwise, by one eighth of a turn."),
        (Advice(K.STOP, WHY, bank="A", turns=-1.0), "the stop screw at intake 1 out, anticlockwise, by one turn."),
        (Advice(K.BLADE, WHY, near=2, far=3, leaves=(4 * THOU,)), "a blade of 0.004 inch (0.10 mm), tighten it"),
        (Advice(K.LINK, WHY, bank="B", flats=2.0), "the rod of bank B by 2 of the six flats"),
        (Advice(K.SCREW, WHY, near=2, far=3, turns=0.25), "between intakes 2 and 3 in, clockwise, by one quarter"),
        (Advice(K.BYPASS, WHY, near=6, turns=0.5), "intake 6 out, anticlockwise, by one half of a turn"),
    ],
)  # fmt: skip
def test_every_step_has_plain_words(advice: Advice, said: str) -> None:
    words = advice_prompt(advice, V8, 3, 0.0)
    assert said in words
    assert "bore" not in words
    if advice.kind in ("stop", "blade", "link", "screw"):
        assert words.startswith("Stop the engine.")
        assert "start it again" in words


def test_off_idle_the_lever_stands_on_its_blade_in_both_units() -> None:
    words = advice_prompt(Advice(AdviceKind.MEASURE, AdviceReason.UNREAD, bores=(3,)), V8, 3, 10 * THOU)
    assert words.startswith("With the 0.010 inch (0.25 mm) blade under the lever")


@pytest.mark.parametrize(
    "advice",
    [
        Advice(AdviceKind.DONE, AdviceReason.EVEN),
        Advice(AdviceKind.CANNOT, AdviceReason.SCATTER),
        Advice(AdviceKind.MEASURE, AdviceReason.UNREAD),
    ],
)
def test_where_there_is_nothing_to_do_nothing_is_read_out(advice: Advice) -> None:
    assert advice_prompt(advice, V8, None, 0.0) == ""
