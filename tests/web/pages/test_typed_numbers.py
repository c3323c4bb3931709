"""Numbers as people type them: what the card shows in sixteenths of a turn may be typed as it stands there."""

import math

import pytest

from app.shop.rejections import Rejection
from app.web.forms import Typed


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("1 1/16", 1.0625),
        ("1\u00a01/8", 1.125),
        ("3/16", 0.1875),
        ("1.5", 1.5),
        ("1,5", 1.5),
        ("-2", -2.0),
        ("2 / 4", 0.5),
    ],
)
def test_a_number_is_read(typed: str, number: float) -> None:
    form = Typed({"turns": typed})
    assert math.isclose(form.number("turns"), number)
    assert form.problems == {}


@pytest.mark.parametrize("typed", ["1/0", "1 1", "1/1/1", "/2", "1 1/", "1/1000000", "inf", "nan", "1e999", "one"])
def test_what_is_none_is_told(typed: str) -> None:
    form = Typed({"turns": typed})
    assert form.number("turns") == 0.0
    assert form.problems["turns"].code is Rejection.NOT_A_NUMBER
