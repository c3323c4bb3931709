"""A reason as a code with its values: what rules and verbs return where a person will read a sentence.

``app.wording`` has the sentence of every code. Nothing here words anything.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Any, NamedTuple


class Reason(NamedTuple):
    """Why, as a ``code`` that programs may rely on, and the named ``values`` that its sentence is made of.

    Values are figures in base units, names, tuples of bores, or reasons themselves; never parts of a sentence.
    """

    code: StrEnum
    values: Mapping[str, Any] = {}

    def __str__(self) -> str:
        """For programmers and logs: the code with its values."""
        told = ", ".join(f"{name}={_told(value)}" for name, value in self.values.items())
        return f"{self.code}({told})" if told else str(self.code)


def because(code: StrEnum, **values: Any) -> Reason:
    """The reason of that code with these values."""
    return Reason(code, values)


def _told(value: object) -> str:
    if isinstance(value, tuple) and not isinstance(value, Reason):
        return "[" + ", ".join(map(str, value)) + "]"
    return str(value)
