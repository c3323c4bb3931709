"""A careful hand at a rough engine: it makes the tests that it is told, reads with draws of its own, and is timed."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import pytest

from app.shop.training import rough
from app.shop.training.rough import HANDS, MOST_TESTS, OTHER_READINGS, careful_hand
from app.sync.diagnosis.causes import EngineFault
from app.sync.diagnosis.evidence import Finding
from app.sync.diagnosis.measurements import FindingKind
from app.sync.simulation.rough_engine import RoughEngine

ENGINE = RoughEngine(4, 5, "rough-easy")
BANKS = (0, 0, 1, 1)
ALL = (0, 1, 2, 3)
Step = tuple[FindingKind, tuple[int, ...]]


@dataclass
class Diagnosis:
    """Asks for the tests of each hand in turn, and then names a bore; keeps what it was told and asked with."""

    hands: Sequence[tuple[Sequence[Step], bool]]
    at: int = -1
    step: int = 0
    told: list[list[Finding]] = field(default_factory=list)
    running: list[bool] = field(default_factory=list)

    def __call__(
        self, banks: tuple[int, ...], found: list[Finding], allowed: Sequence[FindingKind], running: bool
    ) -> SimpleNamespace:
        assert banks == BANKS
        assert set(FindingKind) - set(allowed) == {FindingKind.RECORD}  # which no hand reads
        self.at, self.step = (self.at, self.step + 1) if found else (self.at + 1, 0)
        self.told.append([*found])
        self.running.append(running)
        steps, right = self.hands[self.at % len(self.hands)]
        cause, bore, _ = ENGINE.drawn
        named = SimpleNamespace(cause=EngineFault(cause), bore=bore if right else bore + 1)
        following = None
        if self.step < len(steps):
            measure, bores = steps[self.step]
            following = SimpleNamespace(measure=measure, bores=bores)
        return SimpleNamespace(next_test=following, standing=[named])


def worked(monkeypatch: pytest.MonkeyPatch, *hands: tuple[Sequence[Step], bool]) -> tuple[rough.HandWork, Diagnosis]:
    diagnosis = Diagnosis(hands)
    monkeypatch.setattr(rough, "diagnose", diagnosis)
    return careful_hand(BANKS, ENGINE), diagnosis


def test_its_time_is_that_of_its_tests_and_of_stopping_and_starting_between_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """From the minutes of the catalogue: vacuum 1.0 and 0.4 a bore, water mist 1.5 at one, compression 10 and 2 a bore
    after the engine is stopped in 1.5, smoke 8 and 0.5 a bore, and back pressure 8 once it runs again after 1.5."""
    steps = (
        (FindingKind.VACUUM, ALL),
        (FindingKind.SPRAY, (2,)),
        (FindingKind.COMPRESSION, ALL),
        (FindingKind.SMOKE, ALL),
        (FindingKind.BACK_PRESSURE, ()),
    )
    work, diagnosis = worked(monkeypatch, (steps, True))
    assert work.minutes == pytest.approx((1 + 1.6) + 1.5 + (1.5 + 18) + (8 + 2) + (1.5 + 8))
    assert (work.tests, work.found) == (5, True)
    assert work.steps == tuple((kind, 2 if bores == (2,) else None) for kind, bores in steps)
    assert diagnosis.running[:6] == [True, True, True, False, False, True]


def test_it_reads_every_bore_or_bank_that_is_asked_for_with_draws_that_no_trainee_and_no_other_hand_has(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    steps = ((FindingKind.VACUUM, ALL), (FindingKind.SQUEEZE, ()), (FindingKind.BACK_PRESSURE, ()))
    _, diagnosis = worked(monkeypatch, (steps, True))
    each = len(steps) + 1
    for hand in range(HANDS):
        draw = OTHER_READINGS * (hand + 1)
        read = [(one.measure, one.bore, one.bank, one.value) for one in diagnosis.told[each * hand + each - 1]]
        assert read == [
            *((FindingKind.VACUUM, bore, None, ENGINE.shows(FindingKind.VACUUM, bore, draw)) for bore in ALL),
            (FindingKind.SQUEEZE, None, None, ENGINE.shows(FindingKind.SQUEEZE, 0, draw)),
            (FindingKind.BACK_PRESSURE, None, 0, ENGINE.shows(FindingKind.BACK_PRESSURE, 0, draw)),
            (FindingKind.BACK_PRESSURE, None, 1, ENGINE.shows(FindingKind.BACK_PRESSURE, 1, draw)),
        ]


def test_a_second_look_shows_the_reading_after_the_first_and_a_word_is_kept_as_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    steps = ((FindingKind.TIMING, (2,)), (FindingKind.SPRAY, (2,)), (FindingKind.TIMING, (2,)))
    _, diagnosis = worked(monkeypatch, (steps, True))
    assert [one.value or one.word for one in diagnosis.told[3]] == [
        ENGINE.shows(FindingKind.TIMING, 2, OTHER_READINGS),
        ENGINE.shows(FindingKind.SPRAY, 2, OTHER_READINGS),
        ENGINE.shows(FindingKind.TIMING, 2, OTHER_READINGS + 1),
    ]


def test_one_that_is_always_told_another_test_gives_up_after_so_many(monkeypatch: pytest.MonkeyPatch) -> None:
    work, _ = worked(monkeypatch, ([(FindingKind.SPRAY, (2,))] * (MOST_TESTS + 9), False))
    assert (work.tests, work.found) == (MOST_TESTS, False)


@pytest.mark.parametrize(("right", "found", "middle"), [(2, False, 5), (3, True, 2), (5, True, 3)])
def test_most_hands_say_whether_it_is_found_and_the_middle_one_of_those_how_long_it_took(
    monkeypatch: pytest.MonkeyPatch, right: int, found: bool, middle: int
) -> None:
    """Of five hands. Those that are right make 3, 1, 2, 8 and 9 tests, those that are wrong 5, 6 and 4."""
    tests = {True: iter((3, 1, 2, 8, 9)), False: iter((5, 6, 4))}
    hands = [([(FindingKind.SPRAY, (2,))] * next(tests[one < right]), one < right) for one in range(5)]
    work, _ = worked(monkeypatch, *hands)
    assert (work.found, work.tests) == (found, middle)


@pytest.mark.parametrize(
    ("repairs", "cured"), [([], False), ([("other", 0)], False), ([("", 1)], False), ([("other", 1), ("", 0)], True)]
)
def test_an_engine_is_cured_by_the_repair_of_its_cause_at_its_bore_alone(
    repairs: list[tuple[str, int]], cured: bool
) -> None:
    """``""`` stands for the cause that was drawn, 0 for its bore."""
    cause, place, _ = ENGINE.drawn
    bores = (4, 3, 2, 1)
    told: Any = SimpleNamespace(
        bores=bores,
        repaired=[SimpleNamespace(word=word or cause, bore=bores[(place + off) % 4]) for word, off in repairs],
    )
    assert rough._cured(told, ENGINE) is cured
