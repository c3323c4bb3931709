"""A logger's file read by hand: which rows count, what each column says, and why one says nothing."""

import hashlib
from statistics import stdev

import pytest

from app.shop.cross_check.logger_file import (
    LARGEST_FILE,
    LEFT_OUT,
    LoggerColumn,
    columns_of,
    quantities,
    read_logger,
    role_at,
    role_of,
)
from app.shop.errors import RejectedError
from app.shop.rejections import Rejection
from app.sync.diagnosis.measurements import FindingKind
from tests.shop.rejections import rejects

BORES = (1, 2, 3, 4)


def one(text: str) -> float | None:
    """The one figure that a file shows."""
    ((shown,),) = (found.shown for found in read_logger(text, BORES, "KM"))
    return shown.value


def csv(head: str, *rows: tuple[float, ...]) -> str:
    return "\n".join([head, *(",".join(map(str, row)) for row in rows)])


def test_the_last_twenty_seconds_count_with_the_row_that_begins_them() -> None:
    assert one(csv("time_s,egt_1_C", (0, 1), (9.9, 1), (10, 500), (30, 600))) == 550
    assert one(csv("time_s,egt_1_C", (0, 1), (9.9, 1), (10.1, 500), (30, 600))) == 550


@pytest.mark.parametrize(("speed", "value"), [(927, 3.0), (873, 3.0), (928, 4.5), (872, 4.5)])
def test_rows_up_to_the_last_that_strays_by_more_than_3_in_100_do_not_count(speed: float, value: float) -> None:
    """900 is the middle speed; 3 % of it are 27. The middle of 1 to 5 is 3, of 4 and 5 it is 4.5."""
    speeds = (900, 900, speed, 900, 900)
    rows = [(5 * n, shown, n + 1) for n, shown in enumerate(speeds)]
    assert one(csv("time_s,speed_rpm,egt_1_C", *rows)) == value


def test_a_steady_stretch_is_five_seconds_long() -> None:
    assert one(csv("time_s,egt_1_C", (0, 500), (5, 600))) == 550
    with rejects(Rejection.OUT_OF_RANGE):
        read_logger(csv("time_s,egt_1_C", (0, 500), (4.9, 600)), BORES, "KM")
    with rejects(Rejection.OUT_OF_RANGE):
        read_logger(csv("time_s,speed_rpm,egt_1_C", (0, 900, 1), (10, 900, 1), (20, 990, 1)), BORES, "KM")


def test_what_a_file_shows_is_told_by_quantity_with_the_hash_of_its_text() -> None:
    text = csv("time_s,egt_1_C,egt_3_C,lambda_2,note", (0, 500, 520, 0.9, 7), (10, 502, 524, 0.9, 8))
    heat, mixture = read_logger(text, BORES, "KM")
    assert (heat.kind, heat.unit, heat.by, heat.source) == (FindingKind.HEAT, "°C", "KM", "csv")
    assert [(shown.bore, shown.bank, shown.value) for shown in heat.shown] == [(1, "", 501), (3, "", 522)]
    assert (mixture.kind, mixture.unit) == (FindingKind.MIXTURE, "lambda")
    assert [(shown.bore, shown.value) for shown in mixture.shown] == [(2, 0.9)]
    assert heat.file == mixture.file == hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize(
    "text",
    [
        "time_s;egt_1_C\n0;500,5\n10;501,5",
        "time_s\tegt_1_C\n0\t500,5\n10\t501.5",
        "\ufefftime_s,egt_1_C\n0,500.5\n10,501.5\n",
        " time_s , egt_1_C\n0, 500.5\n10, 501.5",
        "time_s;egt_1_C\r0;500,5\r10;501,5\r",
        "time_s,egt_1_C\r\n0,500.5\r\n10,501.5\r\n",
    ],
)
def test_semicolons_tabs_and_commas_part_columns(text: str) -> None:
    assert one(text) == 501


def test_a_spread_wider_than_usual_is_told_in_the_form_of_its_use() -> None:
    """Temperatures differ by degrees, drops of speed by a fraction; two figures tell no spread."""
    wide, narrow, few = (1.0, 100.0, 400.0), (500.0, 500.0, 500.0), (1.0, 400.0)
    for values, expected in ((wide, stdev(wide)), (narrow, None), (few, None)):
        rows = [(5 * n, value) for n, value in enumerate(values)]
        ((shown,),) = (found.shown for found in read_logger(csv("time_s,egt_1_C", *rows), BORES, "KM"))
        assert shown.spread == (expected if expected is None else pytest.approx(expected))
    drops = (50.0, 100.0, 150.0)
    rows = [(5 * n, value) for n, value in enumerate(drops)]
    ((shown,),) = (found.shown for found in read_logger(csv("time_s,drop_1_rpm", *rows), BORES, "KM"))
    assert shown.spread == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("name", "role"),
    [
        *((name, name) for name in ("time_s", "speed_rpm", "egt_3_C", "egt_12_F", "lambda_1", "vac_2_inHg")),
        *((name, name) for name in ("air_4_kg/h", "drop_1_rpm", "compression_1_psi")),
        *((name, LEFT_OUT) for name in ("egt_3_K", "egt_3", "egt_123_C", "lambda_1_C", "oil_1_C", "time", "egt_C")),
    ],
)
def test_a_name_gives_a_column_its_role_where_quantity_bore_and_unit_are_known(name: str, role: str) -> None:
    assert role_of(name) == role


def test_every_quantity_has_a_role_at_a_bore() -> None:
    assert {"egt_C", "egt_F", "lambda", "vac_kPa", "air_g/s", "drop_rpm", "compression_bar"} <= set(quantities())
    assert (role_at("egt_C", 3), role_at("lambda", 12)) == ("egt_3_C", "lambda_12")
    assert all(role_of(role_at(quantity, 7)) == role_at(quantity, 7) for quantity in quantities())


def test_columns_are_shown_with_their_first_cell() -> None:
    assert columns_of("time_s,egt_1_C,oil\n0, 500") == (
        LoggerColumn("time_s", "0", "time_s"),
        LoggerColumn("egt_1_C", "500", "egt_1_C"),
        LoggerColumn("oil", "", LEFT_OUT),
    )
    assert columns_of("time_s") == (LoggerColumn("time_s", "", "time_s"),)


def test_a_role_that_is_given_counts_and_not_the_name() -> None:
    text = csv("t,heat of 2,egt_1_C", (0, 500, 1), (10, 502, 1))
    (found,) = read_logger(text, BORES, "KM", {"t": "time_s", "heat of 2": "egt_2_C"})
    assert [(shown.bore, shown.value) for shown in found.shown] == [(2, 501)]
    with rejects(Rejection.NOT_A_BORE):
        read_logger(text, BORES, "KM", {"t": "time_s", "heat of 2": "egt_2_K"})


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", Rejection.NOTHING_ENTERED),
        (" \n ", Rejection.NOTHING_ENTERED),
        ("time_s,oil\n0,1\n10,1", Rejection.NOTHING_ENTERED),
        ("x" * (LARGEST_FILE + 1), Rejection.TOO_LONG),
        ("x,\n" * (LARGEST_FILE // 3), Rejection.NOT_ONE_OF),
        ("x" * 200_000, Rejection.TOO_LONG),
        ("time_s,egt_1_C\n0," + "1" * 200_000, Rejection.TOO_LONG),
        ("egt_1_C\n1\n2", Rejection.NOT_ONE_OF),
        ("time_s,egt_1_C,egt_1_C\n0,1,1\n10,1,1", Rejection.NOT_A_NUMBER),
        ("time_s,egt_1_C\n0,1\n10", Rejection.NOT_A_NUMBER),
        ("time_s,egt_1_C\n0,1\n10,hot", Rejection.NOT_A_NUMBER),
        ("time_s,egt_1_C\n0,1\n10,inf", Rejection.NOT_A_NUMBER),
        ("time_s,egt_1_C\n0,1\n0,1\n10,1", Rejection.NOT_A_NUMBER),
        ("time_s,egt_1_C\n0,1\n10,1\n9,1", Rejection.NOT_A_NUMBER),
        ("time_s,egt_1_C\n0,1", Rejection.NOT_A_NUMBER),
        ("time_s,egt_5_C\n0,1\n10,1", Rejection.NOT_A_BORE),
    ],
)
def test_a_file_that_says_nothing_is_told_why(text: str, code: Rejection) -> None:
    with rejects(code):
        read_logger(text, BORES, "KM")


def test_a_cell_that_is_no_figure_is_told_by_its_beginning() -> None:
    """Forty signs of it, of which a page has room."""
    with pytest.raises(RejectedError) as refused:
        read_logger(f"time_s,egt_1_C\n0,1\n10,{'h' * 39}o{'t' * 99}", BORES, "KM")
    (reason,) = refused.value.problems.values()
    assert reason.values["typed"] == "h" * 39 + "o"


def test_nothing_counts_where_the_last_row_itself_strays() -> None:
    rows = [(6.0 * at, 900 if at < 4 else 1100, 3.0) for at in range(5)]
    with rejects(Rejection.OUT_OF_RANGE):
        one(csv("time_s,speed_rpm,egt_1_C", *rows))
    assert one(csv("time_s,speed_rpm,egt_1_C", *rows[:4])) == 3.0
