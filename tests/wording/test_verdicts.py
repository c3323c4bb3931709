"""What is said of a round, and below each reading."""

import re
from dataclasses import replace

import pytest

from app.sync.engine.events import Meter, Reading
from app.sync.engine.units import KG_PER_HOUR
from app.sync.estimation.conformity import Conformity, Decision
from app.sync.estimation.evenness import BoreResult, BoreVerdict, RoundResult, evenness
from app.wording.quantities import Unit
from app.wording.work.verdicts import bore_word, probability, ruler_ends, ruler_scale, verdict_sentence, verdict_title
from tests.shop.yard import V8

KGH = Unit("kg/h", KG_PER_HOUR, 2, 0.25)


def found_for(values: list[float], last: float | None = None, closed: bool = True) -> RoundResult:
    """The verdict on a round of those values, the first bore read again as ``last``."""
    read = [Reading(b, v * KG_PER_HOUR, 20.0 * n) for n, (b, v) in enumerate(zip(V8.bores, values, strict=False))]
    if closed:
        read.append(Reading(1, (values[0] if last is None else last) * KG_PER_HOUR, 160.0, closing=True))
    return evenness(V8, read, Meter(), 0.08)


def test_an_even_round_says_the_tolerance() -> None:
    found = found_for([6.5] * 8)
    assert verdict_title(found) == "Even"
    assert verdict_sentence(found, KGH) == "All bores within ±8\u00a0% of the average: 99\u00a0% likely."


def test_a_round_that_only_tells_if_to_warm_up_is_not_called_even() -> None:
    found = found_for([6.5] * 8)
    assert verdict_title(found, coarse=True) == "Close enough for now"
    assert {bore_word(one, vacuum=False, coarse=True) for one in found.standings} == {"inside"}
    apart = found_for([6.5, 6.5, 8.5, 6.5, 6.5, 6.5, 6.5, 6.5])
    assert verdict_title(apart, coarse=True) == "Not even"
    assert bore_word(apart.standings[2], vacuum=False, coarse=True).startswith("high")


def test_an_uneven_round_names_the_bores_on_either_side() -> None:
    found = found_for([6.5, 6.5, 8.5, 8.5, 4.5, 6.5, 6.5, 6.5])
    assert verdict_title(found) == "Not even"
    assert verdict_sentence(found, KGH) == "Bores 3 and 4 are too open. Bore 5 is too closed."


def test_a_round_that_goes_on_says_so() -> None:
    found = found_for([6.5] * 8, closed=False)
    assert verdict_title(found) == "Even so far"
    assert verdict_sentence(found, KGH) == "No bore outside ±8\u00a0% so far. Finish the round."


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ([6.25, 6.25, 7.0, 6.25, 6.25], "Not sure of bore 3 so far. Finish the round."),
        ([7.25, 6.5, 8.5, 8.25, 6.5], "Not sure of 5 bores so far. Finish the round."),
    ],
)
def test_a_round_that_goes_on_is_not_called_even_while_a_bore_may_be_outside(values: list[float], said: str) -> None:
    found = found_for(values, closed=False)
    assert found.verdict is Conformity.INCOMPLETE
    assert verdict_title(found) == "Not sure yet"
    assert verdict_sentence(found, KGH) == said


@pytest.mark.parametrize(
    ("high", "near"),
    [
        ((3,), "Not sure of bore 3."),
        ((3, 4), "Not sure of bores 3 and 4."),
        ((1, 2), "Not sure of bores 1 and 2."),
        ((1, 2, 3, 4), "Not sure of 8 of 8 bores."),
    ],
)
def test_what_the_meter_cannot_tell_is_named_or_counted_and_never_blamed(high: tuple[int, ...], near: str) -> None:
    found = found_for([7.25 if bore in high and len(high) > 3 else 7.0 if bore in high else 6.25 for bore in V8.bores])
    assert found.verdict is Conformity.UNDECIDED
    assert verdict_title(found) == "Undecided"
    said = r"\d\d\u00a0% likely that all bores are inside\. " + re.escape(near)
    assert re.fullmatch(said + r"( \d+ more readings would likely decide it\.)?", verdict_sentence(found, KGH))


def test_where_each_tile_says_even_no_bore_is_called_not_sure() -> None:
    """Eight bores that are each likely inside are not likely so all at once."""
    found = found_for([7.0 if bore <= 4 else 6.375 for bore in V8.bores])
    assert found.verdict is Conformity.UNDECIDED
    assert {one.verdict for one in found.standings} == {BoreVerdict.EVEN}
    assert verdict_sentence(found, KGH) == (
        f"Each bore alone is likely inside, all of them together only {probability(found)} likely."
        " 8 more readings would likely decide it."
    )


def test_how_many_readings_would_decide_it_is_said_while_they_are_asked_for() -> None:
    told = [
        verdict_sentence(decided(Conformity.UNDECIDED, 0.85, readings=readings), KGH).rsplit(". ", 1)[-1]
        for readings in (3, 1)
    ]
    assert told == ["At most 3 more readings decide it.", "1 more reading decides it."]


def decided(conformity: Conformity, all_inside: float, **more: object) -> RoundResult:
    """An even round, as if that had been decided of it."""
    return replace(found_for([6.5] * 8), decision=Decision(conformity, all_inside, **more))  # type: ignore[arg-type]


def test_as_far_as_the_meter_shows_is_said_with_its_probability() -> None:
    found = decided(Conformity.LIMIT, 0.888)
    assert verdict_title(found) == "Even as far as this meter shows"
    assert verdict_sentence(found, KGH).startswith("88\u00a0% likely that all bores are within ±8\u00a0%.")


def test_that_more_readings_hardly_help_is_said_only_where_they_do_not() -> None:
    told = [verdict_sentence(decided(Conformity.LIMIT, 0.888, rounds=rounds), KGH) for rounds in (None, 1)]
    assert ["hardly help" in sentence for sentence in told] == [True, False]
    assert told[1].endswith(" Another round may make it surer.")


def test_where_no_single_bore_is_surely_outside_the_least_likely_is_named() -> None:
    found = decided(Conformity.NOT_EVEN, 0.03)
    least = min(found.standings, key=lambda one: one.inside).bore
    assert verdict_sentence(found, KGH) == f"Hardly likely that all bores are inside: bore {least} least of all."


@pytest.mark.parametrize(("all_inside", "said"), [(0.9999, 99), (1.0, 99), (0.968, 96), (0.8, 80), (0.004, 0)])
def test_a_probability_is_never_rounded_up_to_certain(all_inside: float, said: int) -> None:
    assert probability(decided(Conformity.EVEN, all_inside)) == f"{said}\u00a0%"


def test_a_misread_value_is_asked_for_again_before_anything_else() -> None:
    assert verdict_sentence(found_for([6.5, 6.5, 62.5, 6.5, 6.5, 6.5, 6.5, 6.5]), KGH) == (
        "Bore 3 is far from the others. Read it again."
    )


@pytest.mark.parametrize(("last", "sign"), [(7.25, "+"), (5.75, "−")])
def test_a_drift_that_is_seen_is_said_with_its_sign(last: float, sign: str) -> None:
    found = found_for([6.5] * 8, last)
    assert found.drift_seen
    said = verdict_sentence(found, KGH)
    assert f"Idle drifted {sign}" in said
    assert said.endswith("during the round (corrected).")


def result(verdict: BoreVerdict, share: float) -> BoreResult:
    return BoreResult(
        bore=3,
        value=6.5,
        share=share,
        low=share - 0.02,
        high=share + 0.02,
        inside=0.5,
        above=0.25,
        below=0.25,
        verdict=verdict,
        deviation=6.5 * share,
        opening=6.5 * share,
        uncertainty=0.13,
        share_sd=0.012,
    )


@pytest.mark.parametrize(
    ("verdict", "vacuum", "share", "said"),
    [
        (BoreVerdict.EVEN, False, 0.01, "even"),
        (BoreVerdict.AT_LIMIT, False, 0.08, "not sure"),
        (BoreVerdict.OPEN, False, 0.16, "high 16\u00a0%"),
        (BoreVerdict.CLOSED, False, -0.19, "low 19\u00a0%"),
        (BoreVerdict.OPEN, True, 0.16, "open 16\u00a0%"),
        (BoreVerdict.CLOSED, True, -0.19, "closed 19\u00a0%"),
    ],
)
def test_a_tile_names_the_figure_of_a_flow_meter_and_the_plate_of_a_vacuum_gauge(
    verdict: BoreVerdict, vacuum: bool, share: float, said: str
) -> None:
    assert bore_word(result(verdict, share), vacuum) == said


def test_the_ruler_has_open_plates_at_its_right_end() -> None:
    assert ruler_ends(vacuum=False) == ("low", "high")
    assert ruler_ends(vacuum=True) == ("closed", "open")


def test_the_ruler_has_its_figures_in_per_cent() -> None:
    assert ruler_scale(0.075) == ("−22.5\u00a0%", "−15", "−7.5", "0", "+7.5", "+15", "+22.5\u00a0%")
