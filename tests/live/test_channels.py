"""The file with channels and sources."""

import pytest

from app.live.channels import Channel, ChannelFault, ChannelFileError, read_channels
from app.server.commands.live_commands import problem_words

PROBE = '[channel.probe]\nquantity = "flow"\nunit = "kg/h"\n'
BENCH = """
[channel.b3]
quantity = "flow"
unit = "kg/h"
bore = 3
high = 60.0

[channel.speed]
quantity = "speed"
unit = "rpm"

[source.bench]
kind = "serial"
port = "/dev/ttyUSB0"
pattern = 'B3=(?P<b3>[0-9]{2}[.][0-9]{3}),N=(?P<speed>[0-9]{4})'
"""


def test_a_file_tells_channels_and_sources() -> None:
    found = read_channels(BENCH)
    assert found.channels["b3"] == Channel("flow", "kg/h", 3, high=60.0)
    (bench,) = found.sources
    assert (bench.name, bench.kind, bench.settings["port"]) == ("bench", "serial", "/dev/ttyUSB0")
    assert found.loose == ()


def test_two_files_are_told_apart_and_one_is_itself() -> None:
    assert read_channels(BENCH).sha256 == read_channels(BENCH).sha256 != read_channels(BENCH + "\n# as of May").sha256


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        ("[channel.probe", ChannelFault.NOT_TOML, 0),
        ("", ChannelFault.NO_CHANNEL, 0),
        ("channel = 3", ChannelFault.NOT_A_TABLE, 1),
        (PROBE + "[probe]\n", ChannelFault.UNKNOWN_KEY, 4),
        (PROBE + "color = 3\n", ChannelFault.UNKNOWN_KEY, 4),
        ('[channel.probe]\nquantity = "flow"\n', ChannelFault.MISSING, 1),
        (PROBE.replace("kg/h", "kPa"), ChannelFault.NOT_ONE_OF, 3),
        (PROBE.replace("kg/h", "kilograms"), ChannelFault.NOT_ONE_OF, 3),
        (PROBE + 'high = "sixty"\n', ChannelFault.NOT_A_NUMBER, 4),
        (PROBE + "bore = true\n", ChannelFault.NOT_A_NUMBER, 4),
        (PROBE + "bore = 2.5\n", ChannelFault.OUT_OF_RANGE, 4),
        (PROBE + "lag = nan\n", ChannelFault.OUT_OF_RANGE, 4),
        (PROBE + "low = 5\nhigh = 5\n", ChannelFault.OUT_OF_RANGE, 4),
        (PROBE + "rate = 10\nlag = 0.2\n", ChannelFault.NOT_DAMPED, 4),
        (PROBE + "root = 0\n", ChannelFault.OUT_OF_RANGE, 4),
        (PROBE + "draws = 1.5\n", ChannelFault.OUT_OF_RANGE, 4),
        (PROBE + "rate = 10\nlag = 1.0\nbore = 2\nroot = 2.0\n", ChannelFault.ROOT_TOO_LATE, 7),
        ('[channel.b1]\nquantity = "vacuum"\nunit = "kPa"\nroot = 2.0\n', ChannelFault.NOT_ONE_OF, 2),
        (PROBE + '[source.bench]\nkind = "telepathy"\n', ChannelFault.NOT_ONE_OF, 5),
        (BENCH.replace("[0-9]{4})", "[0-9]{4}"), ChannelFault.BAD_PATTERN, 15),
        (BENCH.replace("<speed>", "<revs>"), ChannelFault.NO_SUCH_CHANNEL, 15),
    ],
)
def test_what_is_wrong_is_told_with_its_line(text: str, code: ChannelFault, line: int) -> None:
    with pytest.raises(ChannelFileError) as refused:
        read_channels(text)
    assert (refused.value.code, refused.value.line) == (code, line)
    assert problem_words(refused.value)


def test_a_slow_channel_that_is_damped_enough_is_taken() -> None:
    assert read_channels(PROBE + "rate = 10\nlag = 1.0\n").channels["probe"].lag == 1.0


def test_a_flow_told_by_a_drop_has_its_root_drawn() -> None:
    drop = read_channels(PROBE + "root = 2.0\n").channels["probe"]
    assert (drop.value_of(9.0), drop.value_of(-4.0)) == (6.0, -4.0)
    assert read_channels(PROBE).channels["probe"].value_of(9.0) == 9.0


def test_a_temperature_may_be_as_slow_as_it_is() -> None:
    text = '[channel.oil]\nquantity = "temperature"\nunit = "°C"\nrate = 1\nlag = 0\n'
    assert read_channels(text).channels["oil"].rate == 1


@pytest.mark.parametrize(
    ("pattern", "loose"),
    [
        ("(?P<b3>[0-9.]+)", True),
        (r"(?P<b3>\d{1,2})", True),
        (r"B3=(?P<b3>\d{2}\.\d{3})", False),
        (r"B3\+(?P<b3>[0-9+*]{5})", False),
        ("B3=(?P<b3>[0-9]{2})?", True),
    ],
)
def test_a_pattern_of_free_length_is_warned_about(pattern: str, loose: bool) -> None:
    text = BENCH.replace("B3=(?P<b3>[0-9]{2}[.][0-9]{3}),N=(?P<speed>[0-9]{4})", pattern)
    assert read_channels(text).loose == (("bench",) if loose else ())
    assert read_channels(text + "checked = true\n").loose == ()
