"""Engine speed, temperatures and the air of the day from a vehicle's own diagnostics, by an adapter on a serial port.

Service 01 of SAE J1979 (ISO 15031-5), single frames: the adapter is asked in hexadecimal digits and answers so. What
it gives is one figure for the whole engine and in coarse steps; it is never a bore's reading.
"""

from collections.abc import Callable, Mapping

from app.live.sources.source import MissingExtraError, Reader, Settings, SourceError, number_of, text_of

Formula = Callable[[int, int], float]

PARAMETERS: Mapping[str, tuple[int, int, Formula]] = {
    "coolant": (0x05, 1, lambda a, _: a - 40.0),
    "manifold": (0x0B, 1, lambda a, _: float(a)),
    "speed": (0x0C, 2, lambda a, b: (256 * a + b) / 4),
    "intake-air": (0x0F, 1, lambda a, _: a - 40.0),
    "throttle": (0x11, 1, lambda a, _: a * 100 / 255),
    "air-pressure": (0x33, 1, lambda a, _: float(a)),
    "volts": (0x42, 2, lambda a, b: (256 * a + b) / 1000),
    "oil": (0x5C, 1, lambda a, _: a - 40.0),
}
"""By what is asked for: number of the parameter, bytes of its answer, and what they say [°C, kPa, rpm, %, V]. Formulas
of SAE J1979, appendix B; 33, 42 and 5C from memory."""

PROMPT, NONE = b">", "NO DATA"
TIMEOUT = 0.5
BAUD, CHARACTER = 38400, 10
"""Bits a second of a source that says nothing, and bits of a character: start, eight, stop."""


def diagnostics(settings: Settings, reader: Reader) -> None:
    """Ask for each parameter in turn until it is to stop. ``ask`` maps channels to parameters.

    Raises SourceError, MissingExtraError and OSError.
    """
    try:
        import serial
    except ImportError:
        raise MissingExtraError("live") from None
    asked = _asked(settings)
    with serial.Serial(text_of(settings, "port"), int(number_of(settings, "baud", BAUD)), timeout=TIMEOUT) as port:
        for setup in ("ATE0", "ATL0", "ATS0"):
            _ask(port, setup)
        while not reader.stopped.is_set():
            for name, what in asked.items():
                answer = _ask(port, f"01{PARAMETERS[what][0]:02X}")
                if answer == NONE:
                    continue
                value = decoded(what, answer)
                reader.take(None if value is None else {name: value}, answer)


def round_on_a_line(settings: Settings) -> tuple[frozenset[str], int]:
    """The channels that one round brings, and its bits on the line: each question of five characters, its answer in
    hexadecimal digits, an empty line and the prompt. Raises SourceError."""
    asked = _asked(settings)
    characters = sum(len("010C\r") + 2 * (2 + PARAMETERS[what][1]) + len("\r\r>") for what in asked.values())
    return frozenset(asked), characters * CHARACTER


def _asked(settings: Settings) -> dict[str, str]:
    """What is asked for, by channel. Raises SourceError."""
    asked = settings.get("ask")
    if not isinstance(asked, dict) or not asked or any(what not in PARAMETERS for what in asked.values()):
        raise SourceError("ask")
    return asked


def decoded(what: str, answer: str) -> float | None:
    """What an answer says; None for one that is no answer to that.

    >>> decoded("speed", "41 0C 0D 48"), decoded("coolant", "410C0D48")
    (850.0, None)
    """
    number, length, formula = PARAMETERS[what]
    try:
        told = bytes.fromhex(answer)
    except ValueError:
        return None
    if len(told) != 2 + length or told[:2] != bytes((0x41, number)):
        return None
    return formula(told[2], told[-1] if length > 1 else 0)


def _ask(port: object, line: str) -> str:
    """Send a line, and what comes back before the prompt. Raises ConnectionError without one."""
    port.reset_input_buffer()  # type: ignore[attr-defined]
    port.write(line.encode() + b"\r")  # type: ignore[attr-defined]
    answer = port.read_until(PROMPT, 256)  # type: ignore[attr-defined]
    if not answer.endswith(PROMPT):
        raise ConnectionError(line)
    return str(answer[:-1].decode("ascii", "replace")).replace("\r", " ").strip()
