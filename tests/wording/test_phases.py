"""The words of the five phases: every code has some, they are short, and one bank is not told of banks."""

import re
from itertools import chain

import pytest

from app.shop.procedure.codes import StepCode
from app.shop.procedure.items import PLACES, Item, Phase
from app.shop.procedure.parts import Part, parts_of
from app.shop.procedure.phases import BANK_BALANCE, FIRST_FIRE, HEAT_SOAKED, PHASES
from app.shop.record.measures import RECORDED, Units
from app.sync.engine.layout import Layout
from app.sync.readings.snap import BLIPS
from app.wording.message import Message
from app.wording.names import PLACES as PLACE_NAMES
from app.wording.names import place
from app.wording.work.phases import (
    GOALS,
    ITEMS,
    NAMES,
    STEPS,
    TITLES,
    ByBanks,
    Text,
    item_figure,
    item_label,
    item_short,
    phase_goal,
    phase_name,
    phase_steps,
    phase_title,
)
from tests.shop.yard import FOUR, TWINS, V8

MOST_WORDS = 15
METRIC = Units("°C", "bar", "mbar abs.", "mm", "km")
WITH_EVERYTHING = Layout(V8.banks, sensor=8, bypass=frozenset({1, 8}), plenum=True)
LAYOUTS = {"4": FOUR, "twins": TWINS, "V8": V8, "V8 with everything": WITH_EVERYTHING}


def item(slug: str) -> Item:
    return next(one for phase in PHASES for one in phase.items if one.slug == slug)


def sentences(text: str) -> list[str]:
    return re.split(r"(?<=[.?!])\s+", text)


def forms(text: Text) -> list[str]:
    every = (text,) if isinstance(text, Message) else (text.one, text.two, *((text.motors,) if text.motors else ()))
    return [one.text for one in every]


def test_every_phase_step_and_item_has_words_and_every_word_is_used() -> None:
    slugs = {phase.slug for phase in PHASES}
    assert TITLES.keys() == NAMES.keys() == GOALS.keys() == slugs
    assert STEPS.keys() == set(StepCode) == {step.code for phase in PHASES for step in phase.steps}
    assert ITEMS.keys() == {one.slug for phase in PHASES for one in phase.items}
    assert PLACE_NAMES.keys() == set(PLACES)


def test_an_item_means_the_same_wherever_it_is_asked() -> None:
    """Labels go by the slug alone, so an item of two phases is the same kind of thing in both."""
    asked: dict[str, Item] = {}
    for one in chain.from_iterable(phase.items for phase in PHASES):
        other = asked.setdefault(one.slug, one)
        assert (one.kind, one.unit, one.low, one.high) == (other.kind, other.unit, other.low, other.high), one.slug


@pytest.mark.parametrize("code", StepCode)
def test_a_step_is_told_in_short_sentences(code: StepCode) -> None:
    for text in forms(STEPS[code]):
        assert text.endswith(".")
        for sentence in sentences(text):
            assert len(sentence.split()) <= MOST_WORDS, sentence


def test_a_label_is_no_sentence_and_a_short_form_is_shorter() -> None:
    for slug, words in ITEMS.items():
        for label in forms(words.label):
            assert label[-1] not in ".?!", slug
            assert len(label) <= 80, slug
            assert len(words.short.text) <= 24, slug


@pytest.mark.parametrize("phase", PHASES, ids=lambda phase: phase.slug)
@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_an_engine_with_one_bank_is_not_told_of_banks(phase: Phase, layout: Layout) -> None:
    parts = parts_of(layout)
    told = [phase_goal(phase, parts), *phase_steps(phase, parts)]
    told += [item_label(one, parts) for one in phase.items if one.when in parts]
    assert all(told)
    if len(layout.banks) < 2 and phase is not BANK_BALANCE:  # which an engine with one bank does not need
        assert not [words for words in told if "bank" in words.lower() or "both" in words.lower().split()[:1]]
        assert not [words for words in told if re.search(r"\b(each|every|both) stop screws?\b", words.lower())]


@pytest.mark.parametrize("parts", [parts_of(FOUR), parts_of(V8)], ids=["one bank", "two"])
def test_the_quick_round_names_no_turn_of_its_own(parts: frozenset[Part]) -> None:
    """How far to turn is what the card says, an eighth; a step that names a whole turn is read as 360 degrees."""
    (told,) = (words for words in phase_steps(FIRST_FIRE, parts) if "quick round" in words)
    assert "1\u00a0turn" not in told
    assert "no more than the card says" in told


def test_two_banks_are_set_to_each_other() -> None:
    one, two = parts_of(FOUR), parts_of(V8)
    for text in (*GOALS.values(), *STEPS.values(), *(words.label for words in ITEMS.values())):
        if isinstance(text, ByBanks):
            assert text.one != text.two
    assert "both banks" in item_label("wide-open", two)
    assert "both banks" in item_label("preset-turns", two)
    assert item_label("preset-turns", one) == "Stop screw turns in from the base feeler"


@pytest.mark.parametrize("units", [RECORDED, METRIC], ids=["in", "mm"])
def test_figures_are_in_the_units_of_the_shop_and_never_in_thousandths(units: Units) -> None:
    for one in chain.from_iterable(phase.items for phase in PHASES):
        if one.kind == "tick":
            continue
        said = item_figure(one, one.high, units)
        assert "thou" not in said
        assert "rev/min" not in said
        assert one.choices or "\u00a0" in said, one.slug


@pytest.mark.parametrize(
    ("slug", "number", "units", "said"),
    [
        ("base-blade", 3, RECORDED, "0.003\u00a0in"),
        ("base-blade", 4.5, RECORDED, "0.0045\u00a0in"),
        ("base-blade", 10, METRIC, "0.254\u00a0mm"),  # 1 in = 25.4 mm by definition
        ("coolant", 85, Units(temperature="°F"), "185\u00a0°F"),
        ("idle", 850, RECORDED, "850\u00a0rpm"),
        ("preset-turns", 1, RECORDED, "1\u00a0turn"),
        ("preset-turns", 1.25, RECORDED, "1\u00a01/4\u00a0turns"),
        ("preset-turns", 0.875, RECORDED, "7/8\u00a0turn"),
        ("preset-turns", 0.9, RECORDED, "0.9\u00a0turns"),
        ("pulls", 3, RECORDED, "3\u00a0pulls"),
        ("gauged-first", 82, RECORDED, "82\u00a0degrees"),
        ("sensor-closed", 0.52, RECORDED, "0.52\u00a0V"),
    ],
)
def test_a_recorded_figure_is_said_with_its_unit(slug: str, number: float, units: Units, said: str) -> None:
    assert item_figure(item(slug), number, units) == said


def test_a_bore_after_a_blip_is_named() -> None:
    assert item_label("snap-3", ()) == f"Bore 3 after a blip, {BLIPS} times"
    assert item_short("snap-12") == "bore 12 after a blip"


@pytest.mark.parametrize(
    ("slug", "short"),
    [
        ("fuel-dry", "no fuel leaks"),
        ("coupler-slack", "no lost motion"),
        ("closed-contact", "plates close fully"),
    ],
)
def test_a_list_of_checks_says_what_was_found_and_not_the_opposite(slug: str, short: str) -> None:
    assert item_short(slug) == short


def test_an_item_of_old_records_is_named_by_its_slug() -> None:
    assert item_label("plug-gap", ()) == item_short("plug-gap") == "plug gap"


def test_a_phase_is_named_as_a_title_and_within_a_sentence() -> None:
    assert (phase_title(HEAT_SOAKED), phase_name(HEAT_SOAKED.slug)) == ("Heat-soaked recheck", "heat-soaked recheck")
    assert [place(code) for code in PLACES] == list(PLACES)
