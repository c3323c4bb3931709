"""Reasons as programmers and logs see them: a code, and its values by name."""

from app.shop.procedure.requirements import Waiting
from app.shop.reasons import because
from app.shop.rejections import Rejection


def test_a_reason_is_its_code_and_its_values_those_within_too() -> None:
    assert str(because(Rejection.NAME_MISSING)) == Rejection.NAME_MISSING.value
    within = because(Rejection.NO_SUCH_BORE, bore=9)
    told = str(because(Waiting.CHECK_FIRST, bores=(1, 2), item=within, bank="A"))
    assert told == f"{Waiting.CHECK_FIRST}(bores=[1, 2], item={Rejection.NO_SUCH_BORE}(bore=9), bank=A)"
