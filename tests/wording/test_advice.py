"""Titles and sentences: short, in the meter's steps, blades in inches, turns in sixteenths."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.sync.engine.events import Meter, Reading
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KG_PER_HOUR, THOU
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason, Expected
from app.sync.readings.rounds import evenness
from app.wording.words import REASONS, Unit, fraction, reason, title, turns, verdict_sentence, verdict_title

V8 = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)))
KGH = Unit("kg/h", KG_PER_HOUR, 2, 0.25)


@pytest.mark.parametrize(
    ("advice", "said"),
    [
        (Advice(AdviceKind.MEASURE, AdviceReason.FIRST_ROUND, bores=V8.bores), "Read every bore"),
        (Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=(3, 8)), "Read bores 3 and 8"),
        (
            Advice(AdviceKind.STOP, AdviceReason.STOP_BANK, bank="B", turns=0.125),
            "Turn the stop screw at bore 5 in by 1/8\u00a0turn",
        ),
        (
            Advice(AdviceKind.STOP, AdviceReason.STOP_BANK, bank="A", turns=-0.1875),
            "Turn the stop screw at bore 1 out by 3/16\u00a0turn",
        ),
        (
            Advice(AdviceKind.BLADE, AdviceReason.OPEN, near=2, far=3, leaves=(3 * THOU,)),
            "Reset coupler 2–3 on 0.003\u00a0in",
        ),
        (
            Advice(AdviceKind.BLADE, AdviceReason.OPEN, near=2, far=3, leaves=(3 * THOU, 1.5 * THOU)),
            "Reset coupler 2–3 on 0.003\u00a0in and 0.0015\u00a0in stacked",
        ),
        (Advice(AdviceKind.LINK, AdviceReason.FOLLOWS, bank="B", flats=-1.5), "Turn link B by 1½ flats, to open later"),
        (
            Advice(AdviceKind.BYPASS, AdviceReason.CLOSED, near=3, turns=0.25),
            "Turn bypass screw 3 out by 1/4\u00a0turn",
        ),
        (
            Advice(AdviceKind.BYPASS, AdviceReason.CLOSED, near=3, turns=-1.5),
            "Turn bypass screw 3 in by 1 1/2\u00a0turns",
        ),
        (
            Advice(AdviceKind.SCREW, AdviceReason.OPEN, near=2, far=3, turns=-0.0625),
            "Turn coupler screw 2–3 out by 1/16\u00a0turn",
        ),
        (
            Advice(AdviceKind.SCREW, AdviceReason.DIRECTION, near=2, far=3, turns=0.125),
            "Turn coupler screw 2–3 in by 1/8\u00a0turn, and read",
        ),
        (Advice(AdviceKind.DONE, AdviceReason.EVEN), "Leave the plates alone"),
        (Advice(AdviceKind.CANNOT, AdviceReason.SKIPPED, about=(3,)), "Bore 3 was skipped"),
    ],
)
def test_a_title_says_what_where_and_how_much(advice: Advice, said: str) -> None:
    assert title(advice, V8) == said
    assert len(said) <= 60


BANDS = {3: (6.57, 6.3, 6.84), 4: (6.2, 5.74, 6.66)}


def test_what_to_expect_is_in_steps_the_meter_shows() -> None:
    expected = {bore: Expected(*(v * KG_PER_HOUR for v in band)) for bore, band in BANDS.items()}
    advice = Advice(
        AdviceKind.BLADE, AdviceReason.CLOSED, near=2, far=3, leaves=(3 * THOU,), bores=(3, 4), expected=expected
    )
    said = "Bore 3 stands tight. Moves bores 3 and 4 together. Expect 6.50 and 6.25, give or take 0.50."
    assert reason(advice, KGH) == said


def test_a_band_within_a_step_of_the_meter_is_not_told() -> None:
    expected = {3: Expected(*(v * KG_PER_HOUR for v in (6.57, 6.5, 6.65)))}
    advice = Advice(
        AdviceKind.BLADE, AdviceReason.FOLLOWS, near=2, far=3, leaves=(3 * THOU,), bores=(3,), expected=expected
    )
    assert reason(advice, KGH) == "Bore 3 is set to those before it. Moves bore 3 alone. Expect 6.50."


def test_a_bypass_screw_says_what_it_does_to_one_bore() -> None:
    expected = {3: Expected(*(v * KG_PER_HOUR for v in BANDS[3]))}
    advice = Advice(AdviceKind.BYPASS, AdviceReason.OPEN, near=3, turns=-0.5, bores=(3,), expected=expected)
    said = "Bore 3 stands wide. Lets less air past bore 3 alone. Expect 6.50, give or take 0.25."
    assert reason(advice, KGH) == said


def test_a_screw_of_unknown_way_says_why_it_is_turned_and_promises_no_reading() -> None:
    advice = Advice(AdviceKind.SCREW, AdviceReason.DIRECTION, near=2, far=3, turns=0.125, bores=(3, 4))
    assert reason(advice, KGH) == REASONS["way"]


def test_every_reason_is_one_or_two_short_sentences() -> None:
    for code, said in REASONS.items():
        assert said.endswith("."), code
        assert len(said) <= 110, code


def test_the_moves_that_follow_are_named_without_their_amounts() -> None:
    blades = [
        Advice(AdviceKind.BLADE, AdviceReason.THEN, near=3, far=4),
        Advice(AdviceKind.BLADE, AdviceReason.THEN, near=2, far=1),
    ]
    other = (Advice(AdviceKind.STOP, AdviceReason.THEN, bank="B"), Advice(AdviceKind.BYPASS, AdviceReason.THEN, near=8))
    first = Advice(AdviceKind.STOP, AdviceReason.STOP_BANK, bank="A", turns=0.125)
    assert reason(replace(first, then=tuple(blades)), KGH).endswith("opens. Then likely blades at 3–4 and 2–1.")
    said = "Then likely the stop screw of bank B and the bypass screw of bore 8."
    assert reason(replace(first, then=other), KGH).endswith(said)
    assert "Then" not in reason(first, KGH)


def test_the_verdict_names_who_stands_off_and_on_which_side() -> None:
    values = [6.5, 6.5, 8.5, 8.5, 4.5, 6.5, 6.5, 6.5]
    read = [Reading(b, v * KG_PER_HOUR, 20.0 * n) for n, (b, v) in enumerate(zip(V8.bores, values, strict=True))]
    found = evenness(V8, [*read, Reading(1, 6.5 * KG_PER_HOUR, 160.0, closing=True)], Meter(), 0.08)
    assert verdict_title(found) == "Not even yet"
    assert verdict_sentence(found, KGH) == "3 and 4 stand wide, 5 stands tight."


@given(st.integers(0, 64))
def test_turns_in_words_and_figures_agree(sixteenths: int) -> None:
    amount = sixteenths / 16
    whole, _, part = fraction(amount).rpartition(" ")
    figures = sum(eval_fraction(said) for said in (whole, part) if said)
    assert figures == amount
    assert turns(amount) != ""


def eval_fraction(said: str) -> float:
    top, _, bottom = said.partition("/")
    return int(top) / int(bottom or 1)


@pytest.mark.parametrize(
    ("high", "near"), [((3,), "3 is"), ((3, 4), "3 and 4 are"), ((1, 2, 3, 4), "8 of 8 are"), ((1, 2), "1 and 2 are")]
)
def test_what_is_too_close_is_named_or_counted_and_never_blamed(high: tuple[int, ...], near: str) -> None:
    values = [7.0 if bore in high else 6.25 for bore in V8.bores]
    read = [Reading(b, v * KG_PER_HOUR, 20.0 * n) for n, (b, v) in enumerate(zip(V8.bores, values, strict=True))]
    found = evenness(V8, [*read, Reading(1, values[0] * KG_PER_HOUR, 160.0, closing=True)], Meter(), 0.08)
    assert found.verdict == "too close to call"
    assert verdict_sentence(found, KGH) == f"None is clearly outside; {near} too near the edge to tell."
