"""What is read out over the telephone: lay words, both units, one instruction, and safe first."""

import re

import pytest

from app.shop.procedure.items import Item
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import PHASES
from app.shop.record.measures import RECORDED, Units
from app.sync.engine.layout import Layout
from app.sync.engine.units import MM, THOU
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.wording import language
from app.wording.message import say
from app.wording.work.telephone import (
    ITEMS,
    KEEP_CLEAR,
    NO_FURTHER,
    OR_WAIVED,
    START_AGAIN,
    STOP_ENGINE,
    advice_prompt,
    item_prompt,
)
from tests.shop.yard import FOUR, TWINS, V8
from tests.wording.pseudo import PseudoTranslations

K, WHY = AdviceKind, AdviceReason.FOLLOWS

TRADE_WORDS = re.compile(r"\b(bores?|plates?|banks?|blades?|thou|slack|butterfly)\b|rev/min|turns a minute")


def asked_by_telephone() -> list[Item]:
    return [one for phase in PHASES for one in phase.items if "telephone" in one.where]


def prompt(slug: str, layout: Layout = V8, base_feeler: float = 3 * THOU, units: Units = RECORDED) -> str:
    item = next(one for one in asked_by_telephone() if one.slug == slug)
    return item_prompt(item, parts_of(layout), base_feeler, units).words


def test_everything_asked_for_has_lay_words_and_every_word_is_used() -> None:
    assert ITEMS.keys() == {one.slug for one in asked_by_telephone()}


@pytest.mark.parametrize("layout", [FOUR, TWINS, V8], ids=["4", "twins", "V8"])
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
            assert not re.search(r"\b(each|every|both) stop screws?\b", heard), one.slug


@pytest.mark.parametrize(
    ("feeler", "said"),
    [
        (3 * THOU, "0.003\u00a0inch (0.08\u00a0mm)"),
        (4.5 * THOU, "0.0045\u00a0inch (0.11\u00a0mm)"),
        (1.5 * THOU, "0.0015\u00a0inch (0.04\u00a0mm)"),
        (0.1 * MM, "0.0039\u00a0inch (0.10\u00a0mm)"),
    ],
)
def test_a_feeler_is_read_out_with_all_its_places_in_both_units(feeler: float, said: str) -> None:
    assert said in prompt("base-blade", base_feeler=feeler)
    advice = Advice(K.BLADE, WHY, near=2, far=3, leaves=(feeler,))
    assert said in advice_prompt(advice, V8, None, 0.0)
    assert said in advice_prompt(Advice(K.MEASURE, AdviceReason.UNREAD, bores=(3,)), V8, 3, feeler)


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
        (Advice(K.MEASURE, AdviceReason.UNREAD, bores=(3,)), "Hold the meter on intake 3"),
        (Advice(K.STOP, WHY, bank="B", turns=0.125), "at intake 5 in (clockwise) by 1/8\u00a0turn."),
        (Advice(K.STOP, WHY, bank="A", turns=-1.0), "at intake 1 out (counterclockwise) by 1\u00a0turn."),
        (Advice(K.STOP, WHY, bank="A", turns=-1.5), "(counterclockwise) by 1\u00a01/2\u00a0turns."),
        (Advice(K.BLADE, WHY, near=2, far=3, leaves=(4 * THOU,)), "a feeler of 0.004\u00a0inch (0.10\u00a0mm)."),
        (
            Advice(K.BLADE, WHY, near=2, far=3, leaves=(4 * THOU, 1.5 * THOU)),
            "on 2 feelers together, 0.004\u00a0inch (0.10\u00a0mm) and 0.0015\u00a0inch (0.04\u00a0mm). Tighten",
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
    words = advice_prompt(advice, V8, 3, 0.0)
    assert said in words
    assert not TRADE_WORDS.findall(words.lower())
    if advice.kind in ("stop", "blade", "link", "screw"):
        assert words.startswith(say(STOP_ENGINE))
        assert words.endswith(say(START_AGAIN))
    assert words.startswith(say(KEEP_CLEAR)) is (advice.kind == "bypass")


@pytest.mark.parametrize(("lever", "above"), [(0.0, False), (10 * THOU, False), (10 * THOU, True)])
def test_columns_hang_on_all_intakes_so_nothing_is_held(lever: float, above: bool) -> None:
    words = advice_prompt(Advice(K.MEASURE, AdviceReason.UNREAD, bores=(3,)), V8, 3, lever, above, columns=True)
    assert "Look at column 3 until it is steady." in words
    assert "Hold the meter" not in words
    assert ("0.010\u00a0inch" in words) is (lever > 0)
    assert ("well past the feeler" in words) is above
    assert not TRADE_WORDS.findall(words.lower())


@pytest.mark.parametrize(
    ("above", "begins"),
    [
        (False, "Keep the 0.010\u00a0inch (0.25\u00a0mm) feeler under the lever. Hold the meter on intake 3 "),
        (
            True,
            "Open the lever well past the feeler, then let it close onto the 0.010\u00a0inch (0.25\u00a0mm) feeler.",
        ),
    ],
)
def test_at_part_throttle_the_lever_is_on_its_feeler_in_both_units(above: bool, begins: str) -> None:
    words = advice_prompt(Advice(K.MEASURE, AdviceReason.UNREAD, bores=(3,)), V8, 3, 10 * THOU, above)
    assert words.startswith(begins)


@pytest.mark.parametrize(
    "advice",
    [Advice(K.DONE, AdviceReason.EVEN), Advice(K.CANNOT, AdviceReason.SCATTER), Advice(K.MEASURE, AdviceReason.UNREAD)],
)
def test_where_there_is_nothing_to_do_nothing_is_read_out(advice: Advice) -> None:
    assert advice_prompt(advice, V8, None, 0.0) == ""


def test_everything_is_read_out_in_the_customers_language() -> None:
    with language.speaking(language.ENGLISH, PseudoTranslations()):
        foreign = prompt("coolant"), advice_prompt(Advice(K.STOP, WHY, bank="B", turns=0.125), V8, None, 0.0)
    english = prompt("coolant"), advice_prompt(Advice(K.STOP, WHY, bank="B", turns=0.125), V8, None, 0.0)
    assert foreign[0] != english[0]
    assert foreign[1] != english[1]
    assert "Stop the engine." not in foreign[1]
