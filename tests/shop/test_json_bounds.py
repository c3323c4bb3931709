"""How much a JSON text holds, counted by hand: what is exactly at a bound passes, one more does not."""

import pytest

from app.shop.json_bounds import Bounds

TWO = Bounds(depth=2, parts=3, fields=2, values=4)
WIDE = Bounds(depth=100, parts=100, fields=100, values=100)


@pytest.mark.parametrize(
    ("text", "within"),
    [
        ("[[1]]", True),
        ("[[[1]]]", False),
        ('{"a":{"b":1}}', True),
        ('{"a":{"b":{}}}', False),
        ("[[],[]]", True),
        ("[[],[],[]]", False),
        ("[{},[]]", True),
        ('{"a":1,"b":2}', True),
        ('{"a":1,"b":2,"c":3}', False),
        ('{"a":[1,2,3],"b":2}', True),
        ('{"a":{},"b":{}}', True),
        ('[{"a":1,"b":2},3]', True),
        ("[1,2,3,4,5]", True),
        ("[1,2,3,4,5,6]", False),
        ('{"a":[1,2,3,4],"b":5}', True),
        ('{"a":[1,2,3,4,5],"b":5}', False),
        ("7", True),
        ("", True),
    ],
)
def test_what_is_at_a_bound_is_within_it(text: str, within: bool) -> None:
    assert TWO.hold(text.encode()) is within


@pytest.mark.parametrize("text", ['["[[[[{{{{,,,,,,"]', r'["\"[[[[,,,,,,"]', r'["\\",1]', '["\n[[[,,,,"]'])
def test_signs_inside_a_string_count_for_nothing(text: str) -> None:
    assert TWO.hold(text.encode())


def test_a_string_counts_up_to_ten_thousand_escapes_and_no_more() -> None:
    for piece in ("\\n", "a" * 20):
        assert WIDE.hold(f'["{piece * 10_000}"]'.encode())
        assert not WIDE.hold(f'["{piece * 10_001}"]'.encode())


@pytest.mark.parametrize(
    ("text", "looked"), [("}[[[[[", True), ("1][[[[[", True), ('["abc', False), ('["abc\\"', False)]
)
def test_what_is_no_json_is_looked_at_up_to_where_that_shows(text: str, looked: bool) -> None:
    assert TWO.hold(text.encode()) is looked
