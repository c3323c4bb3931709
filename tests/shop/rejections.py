"""What a rejection is asserted by: its codes, and on a page the sentence of a code as the page shows it."""

from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from typing import Any

import pytest
from markupsafe import escape

from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.wording.reasons import in_words


def codes_of(caught: pytest.ExceptionInfo[RejectedError]) -> dict[str, StrEnum]:
    """The code by field."""
    return {field: one.code for field, one in caught.value.problems.items()}


@contextmanager
def rejects(*codes: StrEnum, kind: type[RejectedError] = RejectedError) -> Iterator[None]:
    """What is done inside is rejected for these reasons and no others."""
    with pytest.raises(kind) as caught:
        yield
    assert set(codes_of(caught).values()) == set(codes)


def on_page(code: StrEnum, **values: Any) -> str:
    """The sentence of a code as it is in the source of a page."""
    return str(escape(in_words(because(code, **values))))
