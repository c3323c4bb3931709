"""Exceptions for requests that are rejected, mapped to an HTTP status once, in ``app.web.error_responses``."""

from collections.abc import Mapping

from app.shop.reasons import Reason

Problems = dict[str, Reason | str]
"""What is wrong, by field; the field is empty where it is the whole request."""


class RejectedError(Exception):
    """What was asked cannot be stored. ``problems`` maps each field to the reason that stands beside it."""

    def __init__(self, problems: Mapping[str, Reason | str]) -> None:
        super().__init__("; ".join(map(str, problems.values())))
        self.problems: Problems = dict(problems)


class NotFoundError(RejectedError):
    """The engine, visit or other thing named does not exist."""

    def __init__(self, what: Reason | str) -> None:
        super().__init__({"": f"There is no {what} here." if isinstance(what, str) else what})


class ConflictError(RejectedError):
    """Somebody else wrote in between, or the key was used before for something else. Nothing was changed."""
