"""Values from lines of text: a pattern whose groups are named like channels, and a check sum where the line has one."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

BAUD, BITS = 115200, 10
"""Bits a second of a serial port whose source says nothing, and bits that a character takes: start, eight, stop."""

LONGEST = 512
"""Characters of a line; a longer one is cut and fits no pattern (our judgement)."""

_FREE = re.compile(r"\\.|\[(?:\\.|[^\]\\])*\]|\(\?P?<\w+>|\(\?[:=!]|(?P<free>[+*?|]|\{\d*,\d*\})")
"""Parts of a pattern, with what lets it vary in length as ``free``."""


@dataclass(frozen=True, slots=True)
class LinePattern:
    """How the lines of a source read. ``checked`` lines end with ``*`` and the exclusive or of all characters before
    it, in two hexadecimal digits, as in NMEA 0183 (from memory)."""

    pattern: re.Pattern[str]
    checked: bool = False

    @property
    def free(self) -> bool:
        """Whether a line with a digit lost might still fit: its length is free, and no sum is checked."""
        return not self.checked and any(one["free"] for one in _FREE.finditer(self.pattern.pattern))

    def values(self, line: str) -> Mapping[str, float] | None:
        """The values of a line by channel; None for one that does not fit as a whole.

        >>> LinePattern(re.compile(r"B3=(?P<b3>[0-9]{2}[.][0-9])")).values("B3=06.5")
        {'b3': 6.5}
        """
        if len(line) > LONGEST:
            return None
        if self.checked:
            line, found, said = line.rpartition("*")
            if not found or said.upper() != f"{_exclusive_or(line):02X}":
                return None
        match = self.pattern.fullmatch(line)
        if match is None:
            return None
        try:
            return {name: float(text) for name, text in match.groupdict().items() if text is not None}
        except ValueError:
            return None


def _exclusive_or(line: str) -> int:
    total = 0
    for code in line.encode("ascii", "replace"):
        total ^= code
    return total
