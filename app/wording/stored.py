"""Texts of rows in words: a program's reasons are stored as codes, a person's words as typed, both in one column."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Literal

from app.shop.procedure.codes import SetAside, SkipReason
from app.shop.procedure.requirements import Requirement
from app.shop.reasons import Reason, because
from app.shop.record.fittings import FittingReason
from app.shop.record.meter_studies import RepeatabilitySource
from app.shop.record.stored_reasons import StoredReason, read_back
from app.wording.reasons import in_words

Column = Literal["fitting.why", "meter.repeatability_from", "override.missing", "reading.why"]
"""A column whose text may hold codes."""

CODES: Mapping[Column, tuple[type[StrEnum], ...]] = {
    "fitting.why": (FittingReason,),
    "meter.repeatability_from": (RepeatabilitySource,),
    "override.missing": (Requirement,),
    "reading.why": (SkipReason, SetAside),
}
"""The enums that the codes of a column belong to."""

PHRASES: Mapping[Column, Mapping[str, StrEnum]] = {
    "meter.repeatability_from": {"this program's estimate until a repeatability study": RepeatabilitySource.ESTIMATE}
}
"""Phrases that every shop has in a row that the first migration made: they are said as their code is."""


def as_stored(text: str, column: Column) -> str:
    """A column's text in words. What holds words is said as stored, and so is a code that this program does not know:
    a file of a later one may have brought it in."""
    if phrase := PHRASES.get(column, {}).get(text):
        return in_words(because(phrase))
    told = read_back(text)
    if told is None:
        return text
    try:
        return "; ".join(in_words(_reason(one, column)) for one in told)
    except (LookupError, TypeError, ValueError):
        return text


def codes_of(text: str) -> tuple[str, ...]:
    """The codes of such a text, for programs; none where it holds words."""
    return tuple(one.code for one in read_back(text) or ())


def code_of(text: str) -> str | None:
    """The code of a text that holds one reason at most; None where it holds words."""
    return next(iter(codes_of(text)), None)


def _reason(told: StoredReason, column: Column) -> Reason:
    """A reason as it was stored. Raises LookupError for a code of no enum of the column."""
    code = next((enum(told.code) for enum in CODES[column] if told.code in set(enum)), None)
    if code is None:
        raise LookupError(told.code)
    return Reason(code, {name: _value(value, column) for name, value in told.values.items()})


def _value(value: object, column: Column) -> object:
    if isinstance(value, StoredReason):
        return _reason(value, column)
    return tuple(_value(one, column) for one in value) if isinstance(value, tuple) else value
