"""Titles and reasons of what the planner advises: short, in the meter's steps and the shop's units."""

from dataclasses import replace
from typing import Any

import pytest

from app.shop.record.measures import RECORDED, Units
from app.sync.engine.engine_air import Beyond
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KG_PER_HOUR, MM, THOU
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason, Expected
from app.wording.message import say
from app.wording.quantities import Unit
from app.wording.work import adjusters
from app.wording.work.advice import REASON, REASONS, reason, title
from tests.shop.yard import FOUR, V8

KGH = Unit("kg/h", KG_PER_HOUR, 2, 0.25)
K, WHY = AdviceKind, AdviceReason
TWELVE = Layout((Bank("A", tuple(range(1, 13)), 1, 1),))


@pytest.mark.parametrize(
    ("advice", "said"),
    [
        (Advice(K.MEASURE, WHY.FIRST_ROUND, bores=V8.bores), "Read every bore"),
        (Advice(K.MEASURE, WHY.DOUBTFUL, bores=(3,)), "Read bore 3"),
        (Advice(K.MEASURE, WHY.DOUBTFUL, bores=(3, 8)), "Read bores 3 and 8"),
        (Advice(K.STOP, WHY.STOP_BANK, bank="B", turns=0.0625), "Turn bank B stop screw in 1/16\u00a0turn"),
        (Advice(K.STOP, WHY.STOP_BANK, bank="A", turns=-0.1875), "Turn bank A stop screw out 3/16\u00a0turn"),
        (Advice(K.BLADE, WHY.OPEN, near=2, far=3, leaves=(3 * THOU,)), "Reset coupler 2–3 on a 0.003\u00a0in feeler"),
        (
            Advice(K.BLADE, WHY.OPEN, near=2, far=3, leaves=(3 * THOU, 1.5 * THOU)),
            "Reset coupler 2–3 on a 0.003\u00a0in + 0.0015\u00a0in feeler stack",
        ),
        (Advice(K.LINK, WHY.FOLLOWS, bank="B", flats=-1.5), "Turn link rod B 1½\u00a0flats, to open later"),
        (Advice(K.LINK, WHY.FOLLOWS, bank="B", flats=0.5), "Turn link rod B ½\u00a0flat, to open earlier"),
        (Advice(K.BYPASS, WHY.CLOSED, near=3, turns=0.25), "Turn bypass screw 3 out 1/4\u00a0turn"),
        (Advice(K.BYPASS, WHY.OPEN, near=3, turns=-1.5), "Turn bypass screw 3 in 1\u00a01/2\u00a0turns"),
        (Advice(K.SCREW, WHY.OPEN, near=2, far=3, turns=-0.0625), "Turn coupler screw 2–3 out 1/16\u00a0turn"),
        (
            Advice(K.SCREW, WHY.DIRECTION, near=2, far=3, turns=0.125),
            "Turn coupler screw 2–3 in 1/8\u00a0turn, then read",
        ),
        (Advice(K.DONE, WHY.EVEN), "No adjustment needed"),
        (Advice(K.CANNOT, WHY.SKIPPED, about=(3,)), "Bore 3 was skipped"),
        (Advice(K.CANNOT, WHY.SCATTER, about=(3,)), "Stop adjusting and find the cause"),
    ],
)
def test_a_title_says_what_where_and_how_much(advice: Advice, said: str) -> None:
    assert title(advice, V8, RECORDED) == said
    assert len(said) <= 60


def test_a_feeler_is_in_the_shops_units() -> None:
    advice = Advice(K.BLADE, WHY.OPEN, near=2, far=3, leaves=(0.08 * MM,))
    assert title(advice, V8, Units(blade="mm")) == "Reset coupler 2–3 on a 0.08\u00a0mm feeler"


BANDS = {3: (6.57, 6.3, 6.84), 4: (6.2, 5.74, 6.66)}


def expected(*bores: int) -> dict[int, Expected]:
    return {bore: Expected(*(v * KG_PER_HOUR for v in BANDS[bore])) for bore in bores}


def test_what_to_expect_is_in_steps_the_meter_shows() -> None:
    advice = Advice(K.BLADE, WHY.CLOSED, near=2, far=3, leaves=(3 * THOU,), bores=(3, 4), expected=expected(3, 4))
    said = "Bore 3 is too closed. Moves bores 3 and 4 together. Expected: 6.50 and 6.25\u00a0kg/h (±0.50)."
    assert reason(advice, V8, KGH) == said


def test_a_band_within_a_step_of_the_meter_is_not_told() -> None:
    close = {3: Expected(*(v * KG_PER_HOUR for v in (6.57, 6.5, 6.65)))}
    advice = Advice(K.BLADE, WHY.FOLLOWS, near=2, far=3, leaves=(3 * THOU,), bores=(3,), expected=close)
    said = "Bore 3 is set to match the bores before it. Moves bore 3 only. Expected: 6.50\u00a0kg/h."
    assert reason(advice, V8, KGH) == said


def test_where_only_some_readings_can_be_told_the_first_one_is_named() -> None:
    advice = Advice(K.BLADE, WHY.CLOSED, near=2, far=3, leaves=(3 * THOU,), bores=(3, 4), expected=expected(3))
    assert reason(advice, V8, KGH).endswith("Expected at bore 3: 6.50\u00a0kg/h (±0.25).")


def test_a_bypass_screw_says_what_it_does_to_one_bore() -> None:
    advice = Advice(K.BYPASS, WHY.OPEN, near=3, turns=-0.5, bores=(3,), expected=expected(3))
    said = "Bore 3 is too open. Lets less air past plate 3 only. Expected: 6.50\u00a0kg/h (±0.25)."
    assert reason(advice, V8, KGH) == said


def test_a_screw_of_unknown_direction_says_why_it_is_turned_and_promises_no_reading() -> None:
    advice = Advice(K.SCREW, WHY.DIRECTION, near=2, far=3, turns=0.125, bores=(3, 4))
    assert reason(advice, V8, KGH) == say(REASONS[WHY.DIRECTION])


@pytest.mark.parametrize("turns", [0.125, -0.125])
@pytest.mark.parametrize(
    ("why", "said"),
    [
        (WHY.STOP_SPEED, "Idle is too slow."),
        (WHY.STOP_FAST, "Idle is too fast."),
        (WHY.STOP_BANK, "This leaves the fewest couplers to reset."),
    ],
)
def test_the_sentence_follows_the_reason_and_not_the_sign_of_the_turn(
    why: AdviceReason, turns: float, said: str
) -> None:
    assert reason(Advice(K.STOP, why, bank="A", turns=turns), V8, KGH).startswith(said)


def test_a_cause_names_the_bore_it_is_about() -> None:
    for why in (WHY.SCATTER, WHY.BYPASS_END, WHY.NO_ADJUSTER):
        assert reason(Advice(K.CANNOT, why, about=(3,)), V8, KGH).startswith("Bore 3")


@pytest.mark.parametrize(
    ("place", "named"),
    [
        ({"near": 7, "far": 8}, "coupler 7–8"),
        ({"bank": "B"}, "stop screw B"),
        ({"near": 8}, "bypass screw 8"),
    ],
)
def test_an_adjuster_that_nothing_follows_is_named_itself(place: dict[str, Any], named: str) -> None:
    said = reason(Advice(K.CANNOT, WHY.NO_EFFECT, about=(8,), **place), replace(V8, bypass=frozenset({8})), KGH)
    assert f"Readings do not follow {named}, however it is set." in said
    assert ("its direction" in said) == ("screw" in named)
    assert len(said) <= REASON


def test_the_adjustments_that_follow_are_named_without_their_amounts() -> None:
    resets = (Advice(K.BLADE, WHY.THEN, near=3, far=4), Advice(K.BLADE, WHY.THEN, near=2, far=1))
    other = (Advice(K.STOP, WHY.THEN, bank="B"), Advice(K.BYPASS, WHY.THEN, near=8))
    first = Advice(K.STOP, WHY.STOP_BANK, bank="A", turns=0.125)
    said = reason(replace(first, then=resets), V8, KGH)
    assert said.endswith("Opens every plate of bank A. Probably next: couplers 3–4 and 2–1.")
    said = "Probably next: stop screw of bank B and bypass screw 8."
    assert reason(replace(first, then=other), V8, KGH).endswith(said)
    assert "next" not in reason(first, V8, KGH)


def test_an_engine_with_one_bank_is_not_told_of_banks() -> None:
    stop = Advice(K.STOP, WHY.STOP_BANK, bank="A", turns=0.125, then=(Advice(K.STOP, WHY.THEN, bank="A"),))
    assert title(stop, FOUR, RECORDED) == "Turn the stop screw in 1/8\u00a0turn"
    for why in AdviceReason:
        if why is AdviceReason.COARSE_BANK:  # only two banks can be far apart
            continue
        for kind in AdviceKind:
            if kind is AdviceKind.LINK:  # a link rod drives one bank of two
                continue
            one = replace(stop, kind=kind, why=why, near=2, far=3, bores=(3,), about=(3,), leaves=(3 * THOU,))
            assert "bank" not in f"{title(one, FOUR, RECORDED)} {reason(one, FOUR, KGH)}".lower()


@pytest.mark.parametrize("kind", list(adjusters.ADJUSTERS))
def test_more_and_less_of_an_adjuster_are_told_apart(kind: str) -> None:
    words = adjusters.ADJUSTERS[kind]
    assert (words.title.more == words.title.less) is (kind == "blade")
    assert (words.made.more == words.made.less) is (kind == "blade")


@pytest.mark.parametrize("near", [1, 11])
def test_the_longest_title_fits_an_engine_of_twelve(near: int) -> None:
    for leaves in ((4.5 * THOU,), (4.5 * THOU, 1.5 * THOU)):
        advice = Advice(K.BLADE, WHY.OPEN, near=near, far=near + 1, leaves=leaves)
        assert len(title(advice, TWELVE, RECORDED)) <= 60


def test_outside_the_calculated_range_the_size_is_a_first_try() -> None:
    advice = Advice(
        K.STOP, WHY.STOP_FAST, bank="A", turns=-0.125, bores=(1, 2, 3, 4), outside=(Beyond.SPEED, Beyond.RATIO)
    )
    assert "Outside the calculated range: idle speed and vacuum. The size is a first try" in reason(advice, V8, KGH)
