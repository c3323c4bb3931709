"""What is said of a round, and below each reading."""

import pytest

from app.sync.engine.events import Meter, Reading
from app.sync.engine.units import KG_PER_HOUR
from app.sync.readings.rounds import BoreResult, BoreVerdict, RoundResult, RoundVerdict, evenness
from app.wording.quantities import Unit
from app.wording.work.verdicts import bore_word, ruler_ends, verdict_sentence, verdict_title
from tests.shop.yard import V8

KGH = Unit("kg/h", KG_PER_HOUR, 2, 0.25)


def found_for(values: list[float], last: float | None = None, closed: bool = True) -> RoundResult:
    """The verdict on a round of those values, the first bore read again as ``last``."""
    read = [Reading(b, v * KG_PER_HOUR, 20.0 * n) for n, (b, v) in enumerate(zip(V8.bores, values, strict=True))]
    if closed:
        read.append(Reading(1, (values[0] if last is None else last) * KG_PER_HOUR, 160.0, closing=True))
    return evenness(V8, read, Meter(), 0.08)


def test_an_even_round_says_the_tolerance() -> None:
    found = found_for([6.5] * 8)
    assert verdict_title(found) == "Even"
    assert verdict_sentence(found, KGH) == "All bores within ±0.52\u00a0kg/h of the mean, meter error allowed for."


def test_an_uneven_round_names_the_bores_on_either_side() -> None:
    found = found_for([6.5, 6.5, 8.5, 8.5, 4.5, 6.5, 6.5, 6.5])
    assert verdict_title(found) == "Not even"
    assert verdict_sentence(found, KGH) == "Bores 3 and 4 are too open. Bore 5 is too closed."


def test_a_round_that_goes_on_says_so() -> None:
    found = found_for([6.5] * 8, closed=False)
    assert verdict_title(found) == "Even so far"
    assert verdict_sentence(found, KGH) == "No bore outside ±0.52\u00a0kg/h so far. Finish the round."


@pytest.mark.parametrize(
    ("high", "near"),
    [
        ((3,), "Bore 3 is"),
        ((3, 4), "Bores 3 and 4 are"),
        ((1, 2), "Bores 1 and 2 are"),
        ((1, 2, 3, 4), "8 of 8 bores are"),
    ],
)
def test_what_the_meter_cannot_tell_is_named_or_counted_and_never_blamed(high: tuple[int, ...], near: str) -> None:
    found = found_for([7.0 if bore in high else 6.25 for bore in V8.bores])
    assert found.verdict is RoundVerdict.UNDECIDED
    assert verdict_title(found) == "Undecided"
    assert verdict_sentence(found, KGH) == f"{near} at the limit. The meter cannot tell which side."


def test_a_misread_value_is_asked_for_again_before_anything_else() -> None:
    assert verdict_sentence(found_for([6.5, 6.5, 62.5, 6.5, 6.5, 6.5, 6.5, 6.5]), KGH) == (
        "Bore 3 is far from the others. Read it again."
    )


@pytest.mark.parametrize(("last", "sign"), [(9.0, "+"), (4.0, "−")])
def test_a_drift_that_is_seen_is_said_with_its_sign(last: float, sign: str) -> None:
    found = found_for([6.5] * 8, last)
    assert found.drift_seen
    said = verdict_sentence(found, KGH)
    assert f"Idle drifted {sign}" in said
    assert said.endswith("during the round (corrected).")


def result(verdict: BoreVerdict, deviation: float, opening: float) -> BoreResult:
    return BoreResult(3, 6.5 + deviation, deviation, 0.1, verdict, opening)


@pytest.mark.parametrize(
    ("verdict", "vacuum", "opening", "said"),
    [
        (BoreVerdict.EVEN, False, 0.1, "even"),
        (BoreVerdict.AT_LIMIT, False, 0.5, "not sure"),
        (BoreVerdict.OPEN, False, 1.04, "high 16\u00a0%"),
        (BoreVerdict.CLOSED, False, -1.24, "low 19\u00a0%"),
        (BoreVerdict.OPEN, True, 1.04, "open 16\u00a0%"),
        (BoreVerdict.CLOSED, True, -1.24, "closed 19\u00a0%"),
    ],
)
def test_a_tile_names_the_figure_of_a_flow_meter_and_the_plate_of_a_vacuum_gauge(
    verdict: BoreVerdict, vacuum: bool, opening: float, said: str
) -> None:
    assert bore_word(result(verdict, -opening if vacuum else opening, opening), 6.5, vacuum) == said


def test_the_ruler_has_open_plates_at_its_right_end() -> None:
    assert ruler_ends(vacuum=False) == ("low", "high")
    assert ruler_ends(vacuum=True) == ("closed", "open")
