"""A code that lets a tablet in: how long it is good, who may try how often, and what is told of strangers."""

from datetime import timedelta

import pytest

from app.shop.rejections import Rejection
from app.web.security.pairing import Pairing
from tests.shop.rejections import rejects

TABLET, STRANGER = "192.168.7.31", "192.168.7.66"
TEN_MINUTES = 600.0


class Bench(Pairing):
    """Codes by a clock that the test turns."""

    def __init__(self) -> None:
        self.seconds, self.told = 0.0, list[str]()
        super().__init__(lambda: ("http://192.168.7.20:8000/",), lambda code, _: self.told.append(code), self.clock)

    def clock(self) -> float:
        return self.seconds

    def wrong(self, times: int, address: str = STRANGER) -> None:
        for _ in range(times):
            with rejects(Rejection.PAIRING_CODE_WRONG):
                self.take("not the code", address)


@pytest.fixture
def codes() -> Bench:
    codes = Bench()
    codes.new()
    return codes


def test_a_code_is_good_once_as_it_was_shown_or_typed_anyhow(codes: Bench) -> None:
    shown = codes.told[-1]
    assert shown.replace("-", "") == codes.code
    codes.take(f" {shown.lower()} ", TABLET)
    assert codes.code == ""
    with rejects(Rejection.PAIRING_CODE_WRONG):
        codes.take(shown, TABLET)


def test_a_code_runs_out_by_a_clock_that_nobody_sets(codes: Bench) -> None:
    code, codes.seconds = codes.code, TEN_MINUTES - 0.1
    assert codes.code == code
    codes.seconds = TEN_MINUTES
    assert codes.code == ""
    with rejects(Rejection.PAIRING_CODE_WRONG):
        codes.take(code, TABLET)


def test_who_gave_five_wrong_codes_gives_no_right_one_until_another_is_shown(codes: Bench) -> None:
    codes.wrong(5)
    with rejects(Rejection.PAIRING_CODE_WRONG):
        codes.take(codes.code, STRANGER)
    codes.new()
    codes.wrong(4)
    codes.take(codes.code, STRANGER)


def test_a_stranger_keeps_no_tablet_out(codes: Bench) -> None:
    codes.wrong(10)
    codes.take(codes.code, TABLET)


def test_one_computer_has_one_address_of_version_6_for_all_that_it_may_take(codes: Bench) -> None:
    for last in range(5):
        codes.wrong(1, f"fe80::7:{last}")
    with rejects(Rejection.PAIRING_CODE_WRONG):
        codes.take(codes.code, "fe80::7:ffff")
    codes.take(codes.code, "fe80:0:0:1::7")


def test_over_the_network_a_code_is_asked_for_every_ten_seconds_at_most(codes: Bench) -> None:
    code = codes.code
    codes.seconds = 9.9
    with rejects(Rejection.PAIRING_CODE_SHOWN):
        codes.asked_over_the_network()
    codes.seconds = 10.0
    codes.asked_over_the_network()
    assert codes.told[-1].replace("-", "") == codes.code == code
    codes.seconds = TEN_MINUTES
    codes.asked_over_the_network()
    assert codes.code not in ("", code)


def test_the_shop_is_told_for_a_day_of_the_last_three_who_tried(codes: Bench) -> None:
    for last in range(1, 5):
        codes.wrong(last, f"192.168.7.{last}")
    told = [(one.values["address"], one.values["tries"], one.values["ago"]) for one in codes.noticed]
    assert told == [(f"192.168.7.{last}", last, timedelta(minutes=1)) for last in (2, 3, 4)]
    codes.seconds = 24 * 3600 - 1
    assert len(codes.noticed) == 3
    codes.seconds = 24 * 3600
    assert codes.noticed == []
