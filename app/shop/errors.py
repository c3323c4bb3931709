"""Exceptions for requests that are rejected, mapped to an HTTP status once, in ``app.web.error_responses``."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from app.shop.reasons import Reason

Problems = dict[str, Reason]
"""What is wrong, by field; the field is empty where it is the whole request."""


class RejectedError(Exception):
    """The request cannot be stored: ``problems`` has the reason by field. Its text is the codes, for logs only."""

    def __init__(self, problems: Mapping[str, Reason]) -> None:
        super().__init__("; ".join(map(str, problems.values())))
        self.problems: Problems = dict(problems)

    def __reduce__(self) -> tuple[Any, ...]:
        """From one process to another, problems and all."""
        return type(self), (self.problems,)

    def has(self, code: StrEnum) -> bool:
        """Whether that is among what is wrong."""
        return any(one.code is code for one in self.problems.values())


class ElsewhereError(Exception):
    """The write belongs to another site, or what is asked for to head office: ``reason`` says which. Nothing was
    changed. It is no ``RejectedError``: no field of a form is at fault, so no form shows it beside one."""

    def __init__(self, reason: Reason) -> None:
        super().__init__(str(reason))
        self.reason = reason


class NotFoundError(RejectedError):
    """The engine, visit or other thing named does not exist."""

    def __init__(self, what: Reason) -> None:
        super().__init__({"": what})

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.problems[""],)


class ConflictError(RejectedError):
    """Another write came in between, or the key was used before for something else. Nothing was changed."""
