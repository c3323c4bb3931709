"""The time that work of many parts has: no part is begun once it is over, and that is sooner than the request's."""

import pytest

from app.shop.stopwatch import LONGEST, Allowance, TookTooLongError
from app.web.security.middleware import TIME_LIMIT


def test_no_part_is_begun_once_the_time_is_over() -> None:
    now = iter([100.0, 101.0, 103.0, 104.9, 105.0])
    begun: list[int] = []
    with pytest.raises(TookTooLongError):
        begun.extend(Allowance(5.0, lambda: next(now)).each(range(10)))
    assert begun == [0, 1, 2]


def test_all_parts_are_done_in_time() -> None:
    assert [*Allowance(5.0, lambda: 0.0).each("abc")] == ["a", "b", "c"]


def test_work_ends_before_its_request_does() -> None:
    assert 0 < LONGEST < TIME_LIMIT
