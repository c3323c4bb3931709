"""The yardstick: the same seeds give the same figures, the technician is a good one, and a wrong formula shows."""

import statistics

import pytest

from app.sync.engine.linkage import gap_width
from app.sync.estimation import posterior
from app.sync.estimation.posterior import start_prior
from tests.benchmarks.yardstick import PLAIN, UNLIKE, Outcome, line, one_engine, told_of

EIGHT, FOUR = PLAIN[0], PLAIN[1]
DEAD = next(row for row in UNLIKE if row.dead)
MISREAD = next(row for row in UNLIKE if row.meter.misread)
(DEAD_BORE,) = DEAD.dead
SEEDS = range(3000, 3012)


def ended(who: str, bores: int) -> list[Outcome]:
    row = next(row for row in PLAIN if row.bores == bores)
    return [one_engine(seed, row, who) for seed in SEEDS]


def test_the_same_engine_goes_the_same_way_twice() -> None:
    for who in ("technician", "advice"):
        assert one_engine(3001, FOUR, who) == one_engine(3001, FOUR, who)


def test_the_technician_brings_most_fours_even() -> None:
    found = ended("technician", 4)
    assert sum(one.even for one in found) >= 8
    assert all(one.moves < 60 for one in found)


def test_a_dead_coupler_is_counted_where_it_is_named_and_no_other_is() -> None:
    right = Outcome(20.0, 9, 30, 0.3, 0.0, "cannot no-answer 4", resets=3)
    wrong = Outcome(20.0, 9, 30, 0.3, 0.0, "cannot no-answer 5", resets=1)
    done = Outcome(20.0, 9, 30, 0.05, 0.0, "done even", inside=0.9, bands=4, held=3)
    assert told_of(DEAD, [right, wrong, done], [right]) == "1 of 2, after 3"
    assert line(DEAD, "advice", [right, wrong, done]).split()[-4:] == ["1", "90.0%", "100.0%", "75.0%"]
    assert line(EIGHT, "advice", [done, done, done]).split()[-5:-3] == ["-", "0"]
    assert line(EIGHT, "technician", [wrong]).split()[-4:] == ["1", "-", "-", "-"]


@pytest.mark.parametrize("seed", [41005, 41030, 41037])
def test_one_figure_misread_in_the_last_round_does_not_end_a_visit(seed: int) -> None:
    """Everything else says that the bore is even: it is read again, and not said that nothing helps."""
    found = one_engine(seed, MISREAD, "advice")
    assert found.said.startswith("done")
    assert found.worst < 0.1


def test_bands_are_counted_at_the_first_reading_after_a_move_that_was_to_change_it() -> None:
    found = one_engine(3001, FOUR, "advice")
    assert 0 < found.held <= found.bands <= found.readings
    assert found.done is found.said.startswith("done")


@pytest.mark.slow
def test_a_dead_coupler_is_found_and_no_sound_engine_is_accused() -> None:
    """An hour at most is our judgement: it is lost where the same reset is tried again and again."""
    for found in (one_engine(seed, DEAD, "advice") for seed in range(3000, 3008)):
        assert found.names(DEAD_BORE) or not found.accuses
        assert found.minutes < 60
    assert not any(one.accuses for one in ended("advice", 4))


@pytest.mark.slow
def test_a_formula_made_wrong_in_the_estimator_alone_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the same luck: the edge of a plate believed to be twice as long as it is."""
    sound = ended("advice", 4)
    with monkeypatch.context() as patch:
        start_prior.cache_clear()
        patch.setattr(posterior, "gap_width", lambda hardware: 2 * gap_width(hardware))
        wrong = ended("advice", 4)
    start_prior.cache_clear()
    assert statistics.mean(one.minutes for one in wrong) > 1.5 * statistics.mean(one.minutes for one in sound)
