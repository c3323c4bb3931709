"""Signs that show nothing and numbers that no table holds, at the edges of their ranges in the Unicode standard."""

import math

import pytest

from app.shop.entries import LARGEST, hidden_sign, storable

EDGES = (
    *("\u034f", "\u115f", "\u1160", "\u17b4", "\u17b5", "\u180b", "\u180f", "\u3164"),
    *("\ufe00", "\ufe0f", "\uffa0", "\U000e0000", "\U000e0fff"),
)
"""First and last of each range of Default_Ignorable_Code_Point that no category of controls or formats has
(DerivedCoreProperties.txt of the Unicode Character Database, from memory)."""

BESIDE = (
    *("\u034e", "\u0350", "\u115e", "\u1161", "\u17b3", "\u17b6", "\u180a", "\u1810", "\u3163", "\u3165"),
    *("\ufdff", "\ufe10", "\uff9f", "\uffa1", "\U000e1000"),
)
"""The code points next to those ranges, which show something, or are not assigned."""


@pytest.mark.parametrize("sign", EDGES, ids=ascii)
def test_what_is_ignored_by_default_is_hidden(sign: str) -> None:
    assert hidden_sign(f"31{sign}7") == f"U+{ord(sign):04X}"


@pytest.mark.parametrize("sign", BESIDE, ids=ascii)
def test_what_stands_next_to_it_is_not(sign: str) -> None:
    assert hidden_sign(f"31{sign}7") is None


def test_the_first_hidden_sign_is_named() -> None:
    assert hidden_sign("a\u200bb\u202e") == "U+200B"
    assert hidden_sign("Kim\x00", lines=True) == "U+0000"


def test_a_field_of_several_lines_takes_their_ends() -> None:
    assert hidden_sign("one\r\ntwo") == "U+000D"
    assert hidden_sign("one\r\ntwo", lines=True) is None
    assert hidden_sign("one\ttwo", lines=True) == "U+0009"


def test_a_joiner_stands_between_two_letters_of_a_script_that_joins() -> None:
    """Persian: mi-khaham, with a zero-width non-joiner between its parts."""
    word = "\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645"
    assert hidden_sign(word) is None
    assert hidden_sign(word.replace("\u200c", "\u200d")) is None
    for wrong in (f"{word[:2]}\u200c", f"\u200c{word[:2]}", f"{word[:2]}\u200c7", "31\u200c\u0645", "a\u200cb"):
        assert hidden_sign(wrong) == "U+200C"


@pytest.mark.parametrize(
    ("number", "may"),
    [
        *((0.0, True), (-1e18, True), (LARGEST, True), (-LARGEST, True)),
        *((LARGEST + 1, False), (-LARGEST - 1, False), (math.inf, False), (math.nan, False)),
    ],
)
def test_a_table_holds_whole_numbers_of_64_bits(number: float, may: bool) -> None:
    """SQLite, Datatypes, 2: a signed integer of 8 bytes; the most negative one is given up for symmetry."""
    assert storable(number) is may
    assert LARGEST == 9_223_372_036_854_775_807
