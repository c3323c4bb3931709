"""Whether a port carries what is asked of it, by the characters of each protocol counted by hand."""

import pytest

from app.live.baud import Crowded, crowded
from app.live.channels import Channel, InstrumentSource

LINE = "B3=06.520,N=0850"
PATTERN = r"B3=(?P<b3>[0-9]{2}[.][0-9]{3}),N=(?P<speed>[0-9]{4})"


def channels(rate: float, *names: str) -> dict[str, Channel]:
    return {name: Channel("flow", "kg/h", rate=rate) for name in names}


def of(kind: str, **settings: object) -> InstrumentSource:
    return InstrumentSource("bench", kind, settings)


@pytest.mark.parametrize(
    ("baud", "rate", "line", "found"),
    [
        (9600, 200, LINE, Crowded("bench", 9600, 34_000)),
        (9600, 200, f"{LINE}*5C", Crowded("bench", 9600, 40_000)),
        (34_000, 200, LINE, None),
        (33_999, 200, LINE, Crowded("bench", 33_999, 34_000)),
        (9600, 50, LINE, None),
    ],
)
def test_lines_at_the_rate_of_their_fastest_channel(baud: int, rate: float, line: str, found: Crowded | None) -> None:
    """Sixteen characters and the end of a line, ten bits each (start, eight, stop: common practice of serial ports, no
    published source). A line that was cut short counts like the others."""
    some = {**channels(rate, "b3"), **channels(20, "speed")}
    assert crowded(of("serial", baud=baud, pattern=PATTERN), some, [line, line[:5], line]) == found


def test_twelve_values_a_line_are_more_than_a_usual_port_carries() -> None:
    names = [f"b{n}" for n in range(1, 13)]
    pattern = ",".join(rf"(?P<{name}>[0-9]{{2}}[.][0-9]{{3}})" for name in names)
    line = ",".join(["06.520"] * 12)
    assert crowded(of("serial", pattern=pattern), channels(200, *names), [line]) == Crowded(
        "bench", 115_200, 84 * 200 * 10
    )


def test_registers_are_asked_for_and_answered_with_a_silence_after_each() -> None:
    """To ask takes eight characters, to answer five and two for each register (MODBUS Application Protocol V1.1b3,
    6.3), after both three and a half are silent, eleven bits each (MODBUS over Serial Line V1.02, 2.5.1): of a number
    of two registers 24 characters, 264 bits. Twelve of them twenty times a second are 63,360."""
    names = [f"b{n}" for n in range(1, 13)]
    asked = {name: {"at": 2 * at, "type": "FLOAT32"} for at, name in enumerate(names)}
    bench = of("modbus", port="p", registers=asked, every=0.05)
    assert crowded(bench, channels(200, *names), []) == Crowded("bench", 19_200, 63_360)
    assert crowded(bench, channels(6, *names), []) is None
    assert crowded(of("modbus", host="192.0.2.7", registers=asked), channels(200, *names), []) is None


def test_each_figure_of_the_diagnostics_is_a_question_and_an_answer() -> None:
    """01 0C and a return, 41 0C and two bytes in digits, two returns and the prompt: 16 characters of ten bits."""
    bench = of("obd-serial", ask={"tacho": "speed"}, baud=9600)
    assert crowded(bench, channels(100, "tacho"), []) == Crowded("bench", 9600, 16_000)
    assert crowded(bench, channels(60, "tacho"), []) is None


@pytest.mark.parametrize(
    "source",
    [
        of("udp", port=5000),
        of("serial", pattern=PATTERN),
        of("modbus", port="p", registers={}),
        of("obd-serial", ask=3),
    ],
)
def test_what_has_no_port_no_line_yet_or_cannot_be_read_is_not_told_so(source: InstrumentSource) -> None:
    assert crowded(source, channels(2000, "b3", "speed"), []) is None
