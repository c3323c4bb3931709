"""How much a JSON text may hold, counted before any of it is built.

A parser makes hundreds of bytes out of each ``[]``, and a validator builds every error before anyone takes the first
few: what is within bounds here costs neither much time nor much memory afterwards.
"""

import re
from dataclasses import dataclass

MARK = re.compile(rb'(?:[^"\[\]{},]++|"(?:[^"\\]{1,20}+|\\.){0,10000}+"){0,2000}+([\[\]{},])?+', re.DOTALL)
"""What leads to the next bracket, brace or comma outside a string. Its counts keep one search from holding up others;
a string longer than 10,000 escapes, or twenty times as many plain characters, is out of bounds."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """The most that a text may hold.

    ``depth`` is how far objects and arrays stand inside one another, ``parts`` how many there are in all, ``fields``
    how many members one object has, ``values`` how many commas there are in all.
    """

    depth: int
    parts: int
    fields: int
    values: int

    def hold(self, text: bytes) -> bool:
        """Whether a JSON text is within these bounds. One that is no JSON is looked at up to where that shows."""
        parts = values = at = 0
        commas: list[int] = []  # of what stands open, innermost last; of an array so low that ``fields`` is never met
        while (mark := MARK.match(text, at)) and mark.end() > at:
            at = mark.end()
            match mark[1]:
                case b"{" | b"[" as opening:
                    parts += 1
                    commas.append(0 if opening == b"{" else -self.values)
                    if parts > self.parts or len(commas) > self.depth:
                        return False
                case b",":
                    values += 1
                    if commas:
                        commas[-1] += 1
                    if values > self.values or (commas and commas[-1] >= self.fields):
                        return False
                case b"}" | b"]":
                    if not commas:
                        return True
                    commas.pop()
        return at == len(text)
