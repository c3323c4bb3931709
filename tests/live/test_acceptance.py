"""What live values must show without hardware, by number, and where each is shown.

A row that names a test which is no longer there fails; so does a number without one. What only a benchmark can tell is
named by its command and stands in ``tests/benchmarks/README.md``, with the list of what no hardware has proven.
"""

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

SHOWN: dict[int, tuple[str, tuple[str, ...]]] = {
    1: (
        "sources: pseudo-terminal, Modbus over TCP and a serial line, a virtual CAN bus, datagrams, a growing file",
        (
            "tests/live/test_sources.py::test_a_serial_line_is_read_and_what_is_spoilt_counted",
            "tests/live/test_sources.py::test_registers_are_read_by_modbus_and_a_server_that_is_not_there_is_told",
            "tests/live/test_sources.py::test_registers_are_read_over_a_serial_line_and_a_spoilt_answer_is_none",
            "tests/live/test_sources.py::test_signals_are_decoded_from_a_can_bus_and_a_short_frame_is_spoilt",
            "tests/live/test_sources.py::test_datagrams_of_numbers_are_taken_and_nothing_else",
            "tests/live/test_sources.py::test_a_file_that_grows_is_followed_and_so_is_the_one_put_in_its_place",
        ),
    ),
    2: (
        "one byte lost in 20,000 lines: no wrong value",
        (
            "tests/live/test_lines.py::test_no_wrong_value_comes_of_a_byte_that_was_lost",
            "tests/live/test_channels.py::test_a_pattern_of_free_length_is_warned_about",
        ),
    ),
    3: (
        "unplugged, frozen, not a number, cut: no value within stale + 0.2 s; on the page dashes within 1.5 s",
        (
            "tests/web/live/test_hub.py::test_what_stops_coming_is_stale_at_once_and_carries_no_value",
            "tests/web/live/test_hub.py::test_the_very_same_number_for_long_is_frozen",
            "tests/web/live/test_door.py::test_not_a_number_is_no_push",
            "tests/web/visit/test_live.py::test_without_the_server_every_value_is_a_dash_and_a_typed_one_is_held",
        ),
    ),
    4: (
        "the mean of the closed-form pulse within 1.5 %, root before mean",
        (
            "tests/sync/signals/test_averaging.py::"
            "test_two_seconds_at_two_hundred_a_second_are_right_to_a_percent_and_a_half",
            "tests/sync/signals/test_averaging.py::test_the_root_comes_before_the_mean",
        ),
    ),
    5: (
        "half a percent of a step left, nothing too early, the stated error is about the real one",
        (
            "tests/sync/signals/test_settling.py::test_less_than_half_a_percent_of_a_step_is_left",
            "tests/sync/signals/test_settling.py::test_a_slow_sensor_is_offered_no_earlier_than_its_lag_allows",
            "tests/sync/signals/test_averaging.py::test_the_stated_error_is_about_the_real_one",
        ),
    ),
    6: (
        "minutes and evenness of whole visits (python -m tests.benchmarks.live); sensors nobody compared prove nothing",
        (
            "tests/benchmarks/test_live.py::test_each_way_to_read_takes_less_time_than_the_one_before",
            "tests/sync/readings/test_carried.py::test_a_round_of_sensors_that_stay_is_not_even",
            "tests/shop/commands/live/test_channel_checks.py::"
            "test_an_array_that_nobody_compared_proves_no_round_and_a_compared_one_does",
        ),
    ),
    7: (
        "kept once with the link lost, one look of so many rows, another epoch without a trace, both tables sealed",
        (
            "tests/web/visit/test_live.py::test_a_value_taken_with_the_link_just_lost_is_kept_once",
            "tests/shop/commands/live/test_looks.py::test_all_bores_at_once_are_one_round_of_one_moment",
            "tests/web/visit/test_live.py::test_one_tap_takes_what_sensors_show_at_all_bores",
            "tests/web/live/test_hub.py::test_a_tap_finds_the_trace_behind_the_value_that_it_saw",
            "tests/shop/commands/live/test_looks.py::"
            "test_a_look_that_is_not_known_any_more_leaves_a_reading_without_a_trace",
            "tests/shop/commands/live/test_looks.py::test_hashes_cover_readings_looks_and_feeds",
        ),
    ),
    8: (
        "a stream ends before it is cut; saving while twelve channels stream (python -m tests.benchmarks.live)",
        (
            "tests/web/live/test_door.py::test_the_stream_ends_itself_before_it_is_cut",
            "tests/web/live/test_door.py::test_streams_that_end_themselves_leave_the_log_empty",
            "tests/benchmarks/test_live.py::test_streaming_leaves_saving_alone",
        ),
    ),
    9: (
        "no token, one withdrawn, a tablet's cookie, the shop computer itself: 401",
        (
            "tests/web/live/test_door.py::test_without_a_token_of_a_feed_nothing_is_taken",
            "tests/web/live/test_door.py::test_a_feed_that_was_withdrawn_is_shut_out_at_once",
            "tests/web/live/test_door.py::test_a_paired_tablet_may_not_push_and_a_feed_opens_nothing_else",
        ),
    ),
    10: (
        "the keys of a pedal, held down, bouncing, and where they mean something else",
        (
            "tests/web/visit/test_live.py::test_the_keys_of_a_pedal",
            "tests/web/visit/test_live.py::test_a_key_held_down_or_bouncing_takes_one_value",
            "tests/web/visit/test_live.py::test_a_pedal_is_not_heard_where_a_key_means_something_else",
        ),
    ),
    11: (
        "the program starts without the extras, and passes its tests (.ci/run has those of live values run so)",
        ("tests/live/test_acceptance.py::test_the_program_and_its_sources_are_there_without_the_extras",),
    ),
}
"""By number: what is shown, and the tests that show it."""

WITHOUT = """
from tests.live.without_extras import block
block()
import app.server.commands.live_commands
import app.server.commands.program_command
import app.web.application
from app.live.sources.kinds import READ
from app.live.sources.source import MissingExtraError, Reader
told = {"port": "/dev/none", "pattern": "(?P<b1>[0-9])", "registers": {}, "dbc": "x", "signals": {}, "ask": {}}
for kind in ("serial", "modbus", "can", "obd-serial"):
    try:
        READ[kind](told, Reader(print))
    except MissingExtraError as missing:
        print(kind, missing.extra)
"""


@cache
def named_in(file: str) -> frozenset[str]:
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    return frozenset(node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))


@pytest.mark.parametrize("number", range(1, 12))
def test_each_number_is_shown_by_tests_that_are_there(number: int) -> None:
    what, tests = SHOWN[number]
    assert what
    assert tests
    gone = [one for one in tests if one.partition("::")[2] not in named_in(one.partition("::")[0])]
    assert gone == []


def test_the_program_and_its_sources_are_there_without_the_extras() -> None:
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT], capture_output=True, text=True, timeout=120, check=False, cwd=ROOT
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["serial live", "modbus live", "can live-can", "obd-serial live"]
