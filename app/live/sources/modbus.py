"""Registers of an instrument by Modbus, over TCP or a serial line (RTU), whose check sums keep out what is spoilt.

[source.array]
kind = "modbus"
host = "192.0.2.7"            # or port = "/dev/serial/by-id/..." for RTU, with baud and parity
unit = 1
every = 0.05
[source.array.registers]
b1 = { at = 0, type = "FLOAT32" }
b2 = { at = 2, type = "FLOAT32", scale = 0.1 }
"""

from collections.abc import Mapping

from app.live.sources.source import MissingExtraError, Reader, Settings, SourceError, number_of, text_of

WORDS: Mapping[str, int] = {"INT16": 1, "UINT16": 1, "INT32": 2, "UINT32": 2, "FLOAT32": 2}
"""Registers that a number takes, by its type."""

TIMEOUT = 1.0
BAUD, EVERY = 19200, 0.05
"""Bits a second and seconds between two rounds of a source that says neither."""

CHARACTER = 11
"""Bits of a character on a line: start, eight, parity, stop (MODBUS over Serial Line V1.02, 2.5.1)."""

ASKED, ANSWERED, SILENCE = 8, 5, 7
"""Characters to ask for registers (function 03), those of its answer besides two for each register (MODBUS Application
Protocol V1.1b3, 6.3, with address and check sum), and the silence after both, three and a half each."""


def registers(settings: Settings, reader: Reader) -> None:
    """Ask for every register, ``every`` so many seconds, until it is to stop.

    Raises SourceError, MissingExtraError and OSError.
    """
    try:
        from pymodbus.client import ModbusSerialClient, ModbusTcpClient
    except ImportError:
        raise MissingExtraError("live") from None
    wanted = _wanted(settings)
    every, unit = number_of(settings, "every", EVERY), int(number_of(settings, "unit", 1))
    if "host" in settings:
        client = ModbusTcpClient(text_of(settings, "host"), port=int(number_of(settings, "port", 502)), timeout=TIMEOUT)
    else:
        baud, parity = int(number_of(settings, "baud", BAUD)), text_of(settings, "parity", "E")
        client = ModbusSerialClient(text_of(settings, "port"), baudrate=baud, parity=parity, timeout=TIMEOUT)
    try:
        if not client.connect():
            raise ConnectionError
        while not reader.stopped.wait(every):
            values = {}
            for name, (at, kind, scale) in wanted.items():
                answer = client.read_holding_registers(at, count=WORDS[kind], device_id=unit)
                if answer.isError():
                    raise ConnectionError
                number = client.convert_from_registers(answer.registers, client.DATATYPE[kind])
                values[name] = scale * float(number)
            reader.take(values, str(values))
    except Exception as error:
        if isinstance(error, SourceError | OSError):
            raise
        raise ConnectionError(str(error)) from error
    finally:
        client.close()


def round_on_a_line(settings: Settings) -> tuple[frozenset[str], int]:
    """The channels that one round brings, and its bits on a serial line. Raises SourceError."""
    wanted = _wanted(settings)
    characters = sum(ASKED + ANSWERED + 2 * WORDS[kind] + SILENCE for _, kind, _ in wanted.values())
    return frozenset(wanted), characters * CHARACTER


def _wanted(settings: Settings) -> dict[str, tuple[int, str, float]]:
    """Address, type and scale of each register, by channel. Raises SourceError."""
    told = settings.get("registers")
    if not isinstance(told, dict) or not told:
        raise SourceError("registers")
    found = {}
    for name, one in told.items():
        if not isinstance(one, dict) or one.get("type", "UINT16") not in WORDS:
            raise SourceError(f"registers.{name}")
        found[name] = int(number_of(one, "at", -1)), str(one.get("type", "UINT16")), number_of(one, "scale", 1.0)
        if found[name][0] < 0:
            raise SourceError(f"registers.{name}.at")
    return found
