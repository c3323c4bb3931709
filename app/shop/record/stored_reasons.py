"""Reasons as they are stored in a row: codes with their values, as text that a person's words are told apart from.

Rows from before hold the words as they were; those are shown as stored.
"""

import json
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from app.shop.reasons import Reason

MARK = "codes:"
"""What a text of codes begins with."""


class StoredReason(NamedTuple):
    """A reason read back: the enum that the code belongs to is the reader's to know."""

    code: str
    values: Mapping[str, Any]


def stored(reasons: Iterable[Reason]) -> str:
    """The text of some reasons. Figures with a unit are stored as they were shown.

    >>> from enum import StrEnum
    >>> Color = StrEnum("Color", {"RED": "red", "MIXED": "mixed"})
    >>> stored([Reason(Color.MIXED, {"of": (Reason(Color.RED, {"count": 2}),)})])
    'codes:[["mixed",{"of":[["red",{"count":2}]]}]]'
    """
    return MARK + json.dumps(
        [_plain(one) for one in reasons], separators=(",", ":"), sort_keys=True, ensure_ascii=False
    )


def read_back(text: str) -> tuple[StoredReason, ...] | None:
    """The reasons of such a text; None where it holds words, whatever those begin with.

    >>> read_back("Every coupler tight"), read_back('codes:[["red",{"count":2}]]')
    (None, (StoredReason(code='red', values={'count': 2}),))
    """
    if not text.startswith(MARK):
        return None
    try:
        told = json.loads(text.removeprefix(MARK))
    except (ValueError, RecursionError):
        return None
    return tuple(map(_reason, told)) if isinstance(told, list) and all(map(_is_reason, told)) else None


def _plain(value: object) -> Any:
    match value:
        case Reason(code, values):
            return [str(code), {name: _plain(one) for name, one in values.items()}]
        case tuple():
            return [_plain(one) for one in value]
        case str() | int() | float():
            return value
    return str(value)


def _is_reason(told: object) -> bool:
    return isinstance(told, list) and len(told) == 2 and isinstance(told[0], str) and isinstance(told[1], dict)


def _reason(told: list[Any]) -> StoredReason:
    code, values = told
    return StoredReason(code, {name: _value(value) for name, value in values.items()})


def _value(told: Any) -> Any:
    if _is_reason(told):
        return _reason(told)
    return tuple(map(_value, told)) if isinstance(told, list) else told
