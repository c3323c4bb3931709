"""Which text of a page does not come from the wording: what the pseudo-language left as it was, data aside.

A page served in the pseudo-language has every text of the program in brackets and accented. What is outside of
brackets, or inside of them without accents, comes from a template or from code where no translation reaches it.
"""

import re
from collections.abc import Collection
from html.parser import HTMLParser

from tests.wording.pseudo import ACCENTS

METERS = frozenset({"kg/h", "g/s", "cfm", "scfm", "L/min", "kPa", "mbar", "mmHg", "cmHg", "inHg"})
UNITS = METERS | {"psi", "bar", "abs", "in", "mm", "thou", "cu"}
"""Symbols of units: the same in every language."""
SYMBOLS = UNITS | {"min", "rpm", "km", "kB", "MB", "GB", "No", "TPS", "QR", "CO"}
DATA = frozenset({"Evenbore", "KM", "PIN", "Wi-Fi"})
"""Names that stay as they are."""
CODES = re.compile(r"\b(?:[0-9a-f]{4}-[0-9a-f]{4}|[A-Z2-9]{4}-[A-Z2-9]{4}|[\w-]+\.db)\b|(?<!\S)/\S+/\S+")
"""The tags of engines, pairing codes, files and folders."""

NOT_READ = frozenset({"script", "style", "code", "template"})
"""Elements whose text is no sentence: commands and file names are the same in every language."""
INLINE = frozenset({"a", "b", "br", "code", "em", "i", "input", "option", "span", "strong", "wbr"})
"""Elements that a sentence may go on through."""
SPOKEN = ("aria-label", "title", "placeholder", "alt")
"""Attributes that a person reads or hears."""

WORD = re.compile(r"[^\W\d_](?:[^\W\d_]|['’/-](?=[^\W\d_]))+")
PLAIN = frozenset(chr(letter) for letter in ACCENTS)
"""Letters that the pseudo-language writes with an accent."""


class _Texts(HTMLParser):
    """The texts of a page: one for each run of text and inline elements, and one for each attribute that is read."""

    def __init__(self) -> None:
        super().__init__()
        self.texts = [""]
        self._unread: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in NOT_READ:
            self._unread.append(tag)
        self.texts[:0] = [value for name, value in attrs if name in SPOKEN and value]
        self._between(tag)

    def handle_endtag(self, tag: str) -> None:
        if self._unread and self._unread[-1] == tag:
            self._unread.pop()
        self._between(tag)

    def handle_data(self, data: str) -> None:
        if not self._unread:
            self.texts[-1] += data

    def _between(self, tag: str) -> None:
        if tag in INLINE:
            self.texts[-1] += " "
        else:
            self.texts.append("")


def unmarked(html: str, data: Collection[str] = ()) -> list[str]:
    """The words of a page in the pseudo-language that no translation reaches, and texts whose brackets do not close.

    ``data`` are names, serials and other texts that a person typed.

    >>> unmarked("<p>[Sàvé ~~]</p><p>Keep <b>[ît ~]</b></p>")
    ['Keep']
    >>> unmarked("<p title='Blue coupe'>[Bõré 3 ïs <b>open</b> ~~~] 6.25 kg/h</p>", {"Blue coupe"})
    ['open']
    >>> unmarked("<p>[Sàvé</p>")
    ['unclosed: [Sàvé']
    """
    parser = _Texts()
    parser.feed(html)
    parser.close()
    found: list[str] = []
    known = sorted({*data, *DATA}, key=len, reverse=True)
    for text in parser.texts:
        found += _unmarked(" ".join(text.split()), known)
    return found


def _unmarked(text: str, known: Collection[str]) -> list[str]:
    left = CODES.sub("·", text)
    for one in known:
        left = re.sub(rf"(?<!\w){re.escape(one)}(?!\w)", "·", left)
    depth = 0
    outside = ""
    for letter in left:
        depth += (letter == "[") - (letter == "]")
        if depth < 0:
            break
        outside += letter if depth == 0 else " "
    if depth:
        return [f"unclosed: {text}"]
    plain = [word for word in WORD.findall(left) if PLAIN.intersection(word)]
    bare = [word for word in WORD.findall(outside) if not PLAIN.intersection(word)]
    return [word for word in (*plain, *bare) if word not in SYMBOLS]
