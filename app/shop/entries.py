"""What may be entered in any field, by page and by program: text that shows as what it is, and numbers that are some.

A sign that shows nothing or turns the direction of what follows makes two serials look alike that are not, and hides
part of a sentence from its reader.
"""

import math
import unicodedata

HIDDEN = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
"""Categories of the Unicode standard: controls, formats (direction and zero width among them), halves of pairs, and
separators of lines and paragraphs."""

IGNORED = (
    *((0x034F, 0x034F), (0x115F, 0x1160), (0x17B4, 0x17B5), (0x180B, 0x180F), (0x3164, 0x3164)),
    *((0xFE00, 0xFE0F), (0xFFA0, 0xFFA0), (0xE0000, 0xE0FFF)),
)
"""What shows nothing besides: Default_Ignorable_Code_Point in DerivedCoreProperties.txt of the Unicode database (from
memory)."""

JOINERS = "\u200c\u200d"
JOINED_FROM = "\u0590"
"""The scripts that need joiners between their letters begin here; in others these show nothing."""

LINE_ENDS = "\r\n"

LARGEST = 2**63 - 1
"""The largest whole number that a table can hold."""


def hidden_sign(text: str, *, lines: bool = False) -> str | None:
    """The first sign of a text that shows nothing, such as ``U+202E``; None where there is none.

    ``lines``: the field takes several lines.

    >>> hidden_sign("31-0217"), hidden_sign("31-\\u200b0217"), hidden_sign("Kim\\x00")
    (None, 'U+200B', 'U+0000')
    """
    if text.isascii() and text.isprintable():
        return None
    for at, sign in enumerate(text):
        if _hidden(sign) and not (lines and sign in LINE_ENDS) and not _joins(text, at):
            return f"U+{ord(sign):04X}"
    return None


def storable(number: float) -> bool:
    """Whether a number is one that a table can hold."""
    return math.isfinite(number) and abs(number) <= LARGEST


def _hidden(sign: str) -> bool:
    return unicodedata.category(sign) in HIDDEN or any(low <= ord(sign) <= high for low, high in IGNORED)


def _joins(text: str, at: int) -> bool:
    beside = text[at - 1 : at] + text[at + 1 : at + 2]
    return text[at] in JOINERS and len(beside) == 2 and all(c >= JOINED_FROM and c.isalpha() for c in beside)
