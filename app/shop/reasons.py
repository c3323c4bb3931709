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


def because(code: StrEnum, **values: Any) -> Reason:
    """The reason of that code with these values."""
    return Reason(code, values)
