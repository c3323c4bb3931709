"""Lines of text that lost something on their way."""

import random
import re

import pytest

from app.live.lines import LONGEST, LinePattern

FIXED = LinePattern(re.compile(r"B3=(?P<b3>\d{2}\.\d{3}),N=(?P<speed>\d{4})"))
FREE = LinePattern(re.compile(r"B3=(?P<b3>[0-9.]+),N=(?P<speed>[0-9]+)"))


def summed(line: str) -> str:
    """With the check sum of NMEA 0183: the exclusive or of all characters (from memory)."""
    total = 0
    for char in line:
        total ^= ord(char)
    return f"{line}*{total:02X}"


def test_a_line_gives_its_values() -> None:
    assert FIXED.values("B3=06.512,N=0850") == {"b3": 6.512, "speed": 850.0}


def test_no_wrong_value_comes_of_a_byte_that_was_lost() -> None:
    """One byte dropped anywhere in each of 20,000 lines."""
    rng = random.Random(5)
    wrong = 0
    for _ in range(20_000):
        line = f"B3={rng.uniform(0, 60):06.3f},N={rng.randrange(10_000):04d}"
        at = rng.randrange(len(line))
        wrong += FIXED.values(line[:at] + line[at + 1 :]) is not None
    assert wrong == 0


def test_a_free_pattern_lets_such_lines_through() -> None:
    assert FREE.free
    assert FREE.values("B3=6.512,N=0850") is not None


def test_a_check_sum_sees_a_digit_that_changed() -> None:
    checked = LinePattern(FREE.pattern, checked=True)
    good = summed("B3=06.512,N=0850")
    assert checked.values(good) == {"b3": 6.512, "speed": 850.0}
    for at in range(len(good) - 3):
        if good[at].isdigit():
            other = str((int(good[at]) + 1) % 10)
            assert checked.values(good[:at] + other + good[at + 1 :]) is None
    assert checked.values("B3=06.512,N=0850") is None


@pytest.mark.parametrize("line", ["", "B3=", "B3=06.512,N=0850 ", "B3=nan,N=0850", "x" * (LONGEST + 1)])
def test_what_does_not_fit_as_a_whole_is_none(line: str) -> None:
    assert FIXED.values(line) is None
