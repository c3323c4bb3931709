"""Safety messages: four parts each, the most serious first, few at a time, and none of the hazards left out."""

from dataclasses import replace

import pytest

from app.shop.procedure.codes import CautionCode
from app.shop.procedure.items import PLACES, Phase
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES
from app.sync.engine.layout import Bank, Layout
from app.wording.message import Message
from app.wording.work.safety import SAFETY, SIGNALS, SafetyMessage, Signal, deferral, safety_lines, safety_words
from tests.shop.yard import FOUR, TWINS, V8

MOST_AT_ONCE = 4
EVERYTHING = Layout(
    (Bank("A", (1, 2, 3), 1, 1, ("shaft", "screw")), Bank("B", (4, 5, 6), 4, 4)), bypass=frozenset({1, 6}), plenum=True
)
AIR_COOLED = replace(FOUR, cooling="air")
ELECTRONIC = replace(EVERYTHING, actuation="motor-per-bank")
LAYOUTS = [FOUR, TWINS, V8, EVERYTHING, AIR_COOLED, ELECTRONIC]
OF_PLATES_SET_BY_HAND = LAYOUTS[:4]


def shown(phase: Phase, place: str, layout: Layout) -> tuple[CautionCode, ...]:
    return phase.cautions_at(place, parts_of(layout))


def test_every_caution_has_its_message_and_every_message_is_shown_somewhere() -> None:
    assert SAFETY.keys() == set(CautionCode)
    assert {
        code for p in PHASES for place in PLACES for one in LAYOUTS for code in shown(p, place, one)
    } == SAFETY.keys()
    assert SIGNALS.keys() == set(Signal)


@pytest.mark.parametrize("part", ["hazard", "consequence", "avoidance"])
@pytest.mark.parametrize("text", ["", ".", "No stop at the end"])
def test_no_part_can_be_left_out(part: str, text: str) -> None:
    parts = {name: Message("Something.") for name in ("hazard", "consequence", "avoidance")}
    SafetyMessage(Signal.WARNING, **parts)
    with pytest.raises(ValueError, match="no sentence"):
        SafetyMessage(Signal.WARNING, **{**parts, part: Message(text)})
    del parts[part]
    with pytest.raises(TypeError):
        SafetyMessage(Signal.WARNING, **parts)


@pytest.mark.parametrize("phase", PHASES, ids=lambda phase: phase.slug)
@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("layout", LAYOUTS, ids=["4", "twins", "V8", "everything", "air", "motors"])
def test_few_are_shown_at_once_and_the_most_serious_first(phase: Phase, place: str, layout: Layout) -> None:
    codes = shown(phase, place, layout)
    assert 1 <= len(codes) <= MOST_AT_ONCE
    assert len(set(codes)) == len(codes)
    grades = [list(Signal).index(SAFETY[code].signal) for code in codes]
    assert grades == sorted(grades)


@pytest.mark.parametrize("layout", OF_PLATES_SET_BY_HAND, ids=["4", "twins", "V8", "everything"])
@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(
    ("phase", "words"),
    [
        (COLD_PRESET, ("Engine can start", "battery", "Plate snaps shut", "feeler or screw", "goes through")),
        (FIRST_FIRE, ("Exhaust gas", "Carbon monoxide", "Backfire", "Fuel leak", "belts", "fan", "sleeves")),
        (HEAT_SOAKED, ("Backfire", "hot coolant", "gloves", "Do not open the cap", "belts", "fan")),
        (BANK_BALANCE, ("Backfire", "second person", "positive hold", "belts and fan", "snaps shut")),
        (LOCK_DOWN, ("Sticking throttle", "overspeed", "Backfire", "Adhesive", "eye protection", "hot engine")),
    ],
    ids=lambda one: one.slug if isinstance(one, Phase) else "",
)
def test_no_hazard_of_a_phase_is_left_out(phase: Phase, words: tuple[str, ...], place: str, layout: Layout) -> None:
    told = " ".join(str(one) for one in safety_lines(shown(phase, place, layout))).replace("go through", "goes through")
    for word in words:
        assert word in told, word


@pytest.mark.parametrize("phase", PHASES, ids=lambda phase: phase.slug)
def test_a_vehicle_can_roll_and_its_fan_can_start(phase: Phase) -> None:
    told = " ".join(str(safety_words(code)) for code in shown(phase, "vehicle", V8)).lower()
    assert "chock" in told or "fan can start" in told
    if phase not in (COLD_PRESET, FIRST_FIRE):  # there the checklist asks for chocks, and the engine is cold and off
        assert "roll" in told


@pytest.mark.parametrize("phase", [p for p in PHASES if p is not COLD_PRESET], ids=lambda phase: phase.slug)
def test_over_the_telephone_a_second_person_is_there(phase: Phase) -> None:
    told = " ".join(str(safety_words(code)) for code in shown(phase, "telephone", V8))
    assert "second person" in told
    assert "Put the telephone down before a hand goes near the engine." in told
    assert "extraction" not in told  # which a customer does not have


def test_a_message_is_one_line_on_paper_and_only_injuries_have_the_triangle() -> None:
    assert str(safety_words(CautionCode.PLATE_SNAPS_SHUT)) == (
        "CAUTION: Plate snaps shut. It pinches fingers. Hold the lever, not the plate."
    )
    assert [safety_words(code).alert for code in (CautionCode.EXHAUST_GAS, CautionCode.DROPPED_PART)] == [True, False]
    assert safety_words(CautionCode.EXHAUST_GAS).signal is Signal.DANGER


def test_the_manufacturer_local_codes_and_licensed_practice_come_first() -> None:
    for words in ("manufacturer's instructions", "local codes", "licensed practice", "come first", "follow them"):
        assert words in deferral()
