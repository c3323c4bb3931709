"""What a further reading is worth: by how much it parts the hypotheses, and what it takes off the noise."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from app.sync.slips.slip_detection import SlipHypothesis, _between, _reread_scores

LIKELIEST, NEAR, FAR = (SlipHypothesis((), odds) for odds in (0.6, 0.25, 0.15))


def fitted(*of_bores: tuple[float, float]) -> Any:
    """What each hypothesis makes of the changes at two bores."""
    return SimpleNamespace(fitted=np.array(of_bores))


def test_a_reading_parts_the_likeliest_from_what_it_differs_from_at_that_bore() -> None:
    """By hand: at the first bore 0.1 squared of 25 % is less than 0.3 squared of 15 %; at the second more."""
    fit = fitted((0.0, 0.0), (0.1, 0.1), (0.3, 0.1))
    assert _between(fit, [0, 1, 2], (LIKELIEST, NEAR, FAR), 0) == (LIKELIEST, FAR)
    assert _between(fit, [0, 1, 2], (LIKELIEST, NEAR, FAR), 1) == (LIKELIEST, NEAR)


def test_of_two_the_other_and_of_one_none() -> None:
    fit = fitted((0.0, 0.0), (0.1, 0.1))
    assert _between(fit, [0, 1], (LIKELIEST, NEAR), 0) == (LIKELIEST, NEAR)
    assert _between(fit, [1, 0], (NEAR, LIKELIEST), 0) == (NEAR, LIKELIEST)
    assert _between(fit, [0], (LIKELIEST,), 0) is None


def test_one_more_reading_is_worth_most_where_there_are_few_and_the_bore_is_sure() -> None:
    """s²/n less s²/(n + 1): of one reading a half, of three a twelfth; twice as unsure a bore has half of it."""
    fit: Any = SimpleNamespace(disagreement=lambda: np.array([1.0, 1.0, 2.0]))
    found = _reread_scores(fit, np.array([1.0, 1.0, 2.0]), np.array([1, 3, 1]))
    assert found == pytest.approx([1 / 2, 1 / 12, 1 / 2])
