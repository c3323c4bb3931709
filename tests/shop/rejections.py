"""What tests ask of a rejection: the codes that stand beside its fields."""

from enum import StrEnum

from app.shop.errors import RejectedError
from app.shop.reasons import Reason


def code_of(rejected: RejectedError, field: str) -> StrEnum:
    """The code of the reason beside a field."""
    reason = rejected.problems[field]
    assert isinstance(reason, Reason)
    return reason.code
