"""What is read out over the telephone: lay words, both units, one instruction, and safe first."""

import re

import pytest

from app.shop.procedure.items import Item
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import COLD_PRESET, PHASES
from app.shop.record.measures import RECORDED, Units
from app.sync.engine.layout import Layout
from app.sync.engine.units import MM, THOU
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.wording import language
from app.wording.message import say
from app.wording.work.telephone import (
    ITEMS,
    NO_FURTHER,
    OR_WAIVED,
    START_AGAIN,
    STOP_ENGINE,
    Reading,
    Told,
    advice_prompt,
    item_prompt,
)
from tests.shop.yard import AIR_COOLED, FOUR, ONE_MOTOR_A_BANK, ONE_MOTOR_A_BORE, TWINS, V8
from tests.wording.pseudo import PseudoTranslations

K, WHY = AdviceKind, AdviceReason.FOLLOWS

TRADE_WORDS = re.compile(r"\b(bores?|plates?|banks?|blades?|thou|slack|butterfly)\b|rev/min|turns a minute")


def asked_by_telephone() -> list[Item]:
    return [one for phase in PHASES for one in phase.items if "telephone" in one.where]


TOLD = Told(preset=0.5625, pulls=3)
READ_3 = Advice(K.MEASURE, AdviceReason.UNREAD, bores=(3,))


def prompt(
    slug: str, layout: Layout = V8, base_feeler: float = 3 * THOU, units: Units = RECORDED, told: Told = TOLD
) -> str:
    item = next(one for one in asked_by_telephone() if one.slug == slug and one.when in parts_of(layout))
    return item_prompt(item, parts_of(layout), base_feeler, units, told).words


def test_everything_asked_for_has_lay_words_and_every_word_is_used() -> None:
    assert ITEMS.keys() == {one.slug for one in asked_by_telephone()}


LAYOUTS = [FOUR, TWINS, V8, AIR_COOLED, ONE_MOTOR_A_BANK, ONE_MOTOR_A_BORE]


@pytest.mark.parametrize("layout", LAYOUTS, ids=["4", "twins", "V8", "air", "a motor a bank", "a motor a bore"])
def test_a_customer_hears_no_word_of_the_trade(layout: Layout) -> None:
    parts = parts_of(layout)
    for one in asked_by_telephone():
        if one.when not in parts:
            continue
        said = item_prompt(one, parts, 3 * THOU, RECORDED)
        heard = f"{said.words} {said.otherwise}".lower()
        assert not TRADE_WORDS.findall(heard), one.slug
        if len(layout.banks) < 2:
            assert "side" not in heard, one.slug


@pytest.mark.parametrize(
    ("feeler", "said"),
    [
        # 1 in = 25.4 mm exactly
        (3 * THOU, "0.003\u00a0inch (0.076\u00a0mm)"),
        (4.5 * THOU, "0.0045\u00a0inch (0.114\u00a0mm)"),
        (1.5 * THOU, "0.0015\u00a0inch (0.038\u00a0mm)"),
        (10 * THOU, "0.010\u00a0inch (0.254\u00a0mm)"),
        (0.1 * MM, "0.10\u00a0mm (0.0039\u00a0inch)"),
        (0.05 * MM, "0.05\u00a0mm (0.0020\u00a0inch)"),
        (0.062 * MM, "0.062\u00a0mm (0.0024\u00a0inch)"),
    ],
)
def test_a_feeler_is_read_out_as_it_is_marked_and_in_the_other_unit(feeler: float, said: str) -> None:
    for units in (Units(), Units(blade="mm")):
        assert said in prompt("base-blade", base_feeler=feeler, units=units)
    advice = Advice(K.BLADE, WHY, near=2, far=3, leaves=(feeler,))
    assert said in advice_prompt(advice, V8)
    for begun in (False, True):
        assert said in advice_prompt(READ_3, V8, Reading(3, "kg/h", lever=feeler, begun=begun))


FEELERS = tuple(t * THOU for t in (1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 25))


@pytest.mark.parametrize("sets", [FEELERS, tuple(0.01 * n * MM for n in (3, 4, 5, 6, 7, 8, 9, 10, 15, 20, 25, 30, 40))])
def test_no_two_feelers_of_a_set_are_read_out_alike(sets: tuple[float, ...]) -> None:
    said = [prompt("base-blade", base_feeler=one) for one in sets]
    assert len(set(said)) == len(said)


def test_a_no_has_its_own_words_and_what_is_required_is_not_waived() -> None:
    for one in asked_by_telephone():
        told = item_prompt(one, parts_of(V8), 3 * THOU, Units()).otherwise
        assert bool(told) is (one.kind == "tick"), one.slug
        assert (say(NO_FURTHER) in told) is (one.required and one.kind == "tick"), one.slug
        assert (say(OR_WAIVED) in told) is (not one.required and one.kind == "tick"), one.slug


@pytest.mark.parametrize(
    ("slug", "units", "offered"),
    [
        ("base-blade", RECORDED, ("in", "mm")),
        ("base-blade", Units(blade="mm"), ("mm", "in")),
        ("coolant", RECORDED, ("°C", "°F")),
        ("oil-pressure", Units(oil_pressure="psi"), ("psi", "kPa", "bar")),
        ("idle", RECORDED, ("rpm",)),
        ("kill-switch", RECORDED, ()),
    ],
)
def test_a_figure_may_come_in_any_of_its_units_the_shops_own_first(
    slug: str, units: Units, offered: tuple[str, ...]
) -> None:
    item = next(one for one in asked_by_telephone() if one.slug == slug)
    assert item_prompt(item, parts_of(V8), 3 * THOU, units).units == offered


@pytest.mark.parametrize(
    ("advice", "said"),
    [
        (READ_3, "Hold the meter on intake 3 until the reading is steady. What does it show, in kg/h?"),
        (Advice(K.STOP, WHY, bank="B", turns=0.125), "at intake 5 in (clockwise) by 1/8\u00a0turn."),
        (Advice(K.STOP, WHY, bank="A", turns=-1.0), "at intake 1 out (counterclockwise) by 1\u00a0turn."),
        (Advice(K.STOP, WHY, bank="A", turns=-1.5), "(counterclockwise) by 1\u00a01/2\u00a0turns."),
        (Advice(K.BLADE, WHY, near=2, far=3, leaves=(4 * THOU,)), "a feeler of 0.004\u00a0inch (0.102\u00a0mm)."),
        (
            Advice(K.BLADE, WHY, near=2, far=3, leaves=(4 * THOU, 1.5 * THOU)),
            "on 2 feelers together, 0.004\u00a0inch (0.102\u00a0mm) and 0.0015\u00a0inch (0.038\u00a0mm). Tighten",
        ),
        (
            Advice(K.LINK, WHY, bank="B", flats=2.0),
            "rod of side B by 2 of the 6 flats of its nut, so that this side opens earlier.",
        ),
        (Advice(K.LINK, WHY, bank="A", flats=-0.5), "by ½ of the 6 flats of its nut, so that this side opens later."),
        (Advice(K.SCREW, WHY, near=2, far=3, turns=0.25), "between intakes 2 and 3 in (clockwise) by 1/4\u00a0turn."),
        (Advice(K.SCREW, WHY, near=2, far=3, turns=-0.25), "intakes 2 and 3 out (counterclockwise) by 1/4\u00a0turn."),
        (Advice(K.BYPASS, WHY, near=6, turns=0.5), "intake 6 out (counterclockwise) by 1/2\u00a0turn."),
        (Advice(K.BYPASS, WHY, near=6, turns=-0.5), "intake 6 in (clockwise) by 1/2\u00a0turn."),
    ],
)
def test_every_step_has_lay_words(advice: Advice, said: str) -> None:
    words = advice_prompt(advice, V8, Reading(3, "kg/h"))
    assert said in words
    assert not TRADE_WORDS.findall(words.lower())
    if advice.adjuster is not None:  # also a screw that a mechanic turns while the engine runs
        assert words.startswith(say(STOP_ENGINE))
        assert words.endswith(say(START_AGAIN))


@pytest.mark.parametrize("unit", ["kPa", "mbar", "cmHg", "inHg", "mmHg"])
def test_columns_are_hung_on_the_ports_once_and_all_of_them_read_in_one_look(unit: str) -> None:
    first = advice_prompt(READ_3, V8, Reading(1, unit, columns=True, connected=False, begun=False))
    assert first.startswith("Stop the engine. Connect one column to the port behind each throttle flap, column 1 to ")
    assert "Keep hands clear, then start the engine again. All columns show at once." in first
    assert first.endswith(f"What does column 1 show, in {unit}?")
    later = advice_prompt(READ_3, V8, Reading(1, unit, columns=True, begun=False))
    assert "Connect" not in later
    assert "All columns show at once." in later
    assert advice_prompt(READ_3, V8, Reading(3, unit, columns=True)) == f"What does column 3 show now, in {unit}?"
    for words in (first, later):
        assert "Hold the meter" not in words
        assert not TRADE_WORDS.findall(words.lower())


def test_a_bore_after_a_blip_is_read_at_its_own_column() -> None:
    item = Item("snap-3", "number", "kPa")
    for columns, said in ((True, "what does column 3 show?"), (False, "what does the meter show at intake 3?")):
        assert item_prompt(item, parts_of(V8), 3 * THOU, RECORDED, Told(columns=columns)).words.endswith(said)


@pytest.mark.parametrize("columns", [False, True])
@pytest.mark.parametrize("above", [False, True])
def test_a_feeler_is_laid_under_the_lever_with_the_engine_stopped(above: bool, columns: bool) -> None:
    reading = Reading(3, "kg/h", lever=10 * THOU, above=above, columns=columns, begun=False)
    words = advice_prompt(READ_3, V8, reading)
    assert words.startswith("Stop the engine. Lift the lever, put the 0.010\u00a0inch (0.254\u00a0mm) feeler alone ")
    assert words.index("faster than idle") < words.index("start the engine again")
    assert ("From the driver's seat, press the pedal well past the feeler" in words) is above
    begun = advice_prompt(READ_3, V8, Reading(3, "kg/h", lever=10 * THOU, above=above, columns=columns))
    assert begun.startswith("Leave the 0.010\u00a0inch (0.254\u00a0mm) feeler under the lever.")
    assert "Stop the engine" not in begun
    out = advice_prompt(READ_3, V8, Reading(3, "kg/h", columns=columns, begun=False, opened=True))
    assert out.startswith("Stop the engine. Take the feeler out from under the lever.")


def test_a_round_at_idle_begins_with_a_running_engine() -> None:
    assert "If the engine is off, start it" in advice_prompt(READ_3, V8, Reading(1, "kg/h", begun=False))
    assert "start it" not in advice_prompt(READ_3, V8, Reading(2, "kg/h"))


ASKS_OF_WHAT_IS_TOLD = (
    ("base-blade", "Put the 0.003\u00a0inch (0.076\u00a0mm) feeler under it."),
    ("preset-turns", "in (clockwise) by 9/16\u00a0turn"),
    ("bypass-turns", "turn each one out by 1\u00a01/2\u00a0turns"),
    ("kill-switch", "Have a second person sit at the key"),
    ("fuel-dry", "Connect the battery again if it is off."),
    ("bores-clear", "Take everything loose away from the open intakes."),
    ("wheels-chocked", "Chock the wheels"),
    ("fan-clear", "Take leads, sleeves and hands away"),
    ("oil-lamp", "Start the engine."),
    ("pulls", "let it fall, 3 times."),
    ("idle-control", "Switch the idle control off or unplug it"),
    ("loads-steady", "Leave the cooling fan as it is."),
    ("stops-marked", "Glue every stop screw"),
    ("idle", "Start the engine and let it settle."),
)


@pytest.mark.parametrize(("slug", "told"), ASKS_OF_WHAT_IS_TOLD)
def test_what_is_asked_was_told_before(slug: str, told: str) -> None:
    layout = TWINS if slug.startswith("bypass") else V8
    words = prompt(slug, layout)
    assert told in words
    assert words.index(told) < words.index("?")
    assert "as agreed" not in words


@pytest.mark.parametrize("layout", LAYOUTS, ids=["4", "twins", "V8", "air", "a motor a bank", "a motor a bore"])
def test_nothing_is_reached_for_at_a_running_engine(layout: Layout) -> None:
    parts = parts_of(layout)
    hands_in = re.compile(r"\b(wiggle|rock each|move both rods|glue|try the nuts|try every|remove the feeler|unplug)\b")
    before_it_runs = {item.slug for item in COLD_PRESET.items}
    for one in asked_by_telephone():
        words = item_prompt(one, parts, 3 * THOU, RECORDED, TOLD).words.lower()
        if hands_in.search(words) and one.slug not in before_it_runs:
            assert re.search(r"stop the engine|engine (still )?off", words), one.slug


@pytest.mark.parametrize(
    "advice",
    [Advice(K.DONE, AdviceReason.EVEN), Advice(K.CANNOT, AdviceReason.SCATTER), Advice(K.MEASURE, AdviceReason.UNREAD)],
)
def test_where_there_is_nothing_to_do_nothing_is_read_out(advice: Advice) -> None:
    assert advice_prompt(advice, V8, Reading(None, "kg/h")) == ""


def test_everything_is_read_out_in_the_customers_language() -> None:
    with language.speaking(language.ENGLISH, PseudoTranslations()):
        foreign = prompt("coolant"), advice_prompt(Advice(K.STOP, WHY, bank="B", turns=0.125), V8)
    english = prompt("coolant"), advice_prompt(Advice(K.STOP, WHY, bank="B", turns=0.125), V8)
    assert foreign[0] != english[0]
    assert foreign[1] != english[1]
    assert "Stop the engine." not in foreign[1]
