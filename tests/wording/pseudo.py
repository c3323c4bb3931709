"""A pseudo-language: every text in brackets, accented and 40 % longer, so that unmarked and clipped text shows."""

import re
from gettext import NullTranslations

ACCENTS = str.maketrans("AEIOUaeiounNcCyY", "ÀÉÎÕÜàéîõüñÑçÇýÝ")
LONGER = 0.4
KEPT = re.compile(r"(\{[^{}]*\}|%\([^)]*\)[sd]|&[a-z]+;|<[^<>]*>)")
"""Values, and the markup that a template's text may hold: neither is changed."""


def pseudo(text: str) -> str:
    """A text as the pseudo-language has it. Its values and markup stay as they are.

    >>> pseudo("Save {count} readings")
    '[Sàvé {count} réàdîñgs ~~~~~~]'
    """
    parts = KEPT.split(text)
    said = "".join(part if n % 2 else part.translate(ACCENTS) for n, part in enumerate(parts))
    letters = sum(len(part) for part in parts[::2])
    return f"[{said} {'~' * max(1, round(letters * LONGER))}]"


class PseudoTranslations(NullTranslations):
    """The catalog of the pseudo-language."""

    def info(self) -> dict[str, str]:
        """Its headers: ``en-XA`` is the tag that browsers know for accented pseudo-English."""
        return {"language": "en_XA"}

    def gettext(self, message: str) -> str:
        """Any text."""
        return pseudo(message)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        """Any text for a count."""
        return pseudo(msgid1 if n == 1 else msgid2)

    def pgettext(self, context: str, message: str) -> str:
        """Any text; the context is not said."""
        return pseudo(message)

    def npgettext(self, context: str, msgid1: str, msgid2: str, n: int) -> str:
        """Any text for a count; the context is not said."""
        return pseudo(msgid1 if n == 1 else msgid2)
