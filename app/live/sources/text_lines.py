"""Lines of text: over a serial port, in datagrams, and at the end of a file that grows."""

import contextlib
import csv
import json
import math
import os
import re
import socket
from collections.abc import Iterator
from pathlib import Path

from app.live.lines import BAUD, LONGEST, LinePattern
from app.live.sources.source import MissingExtraError, Reader, Settings, SourceError, number_of, text_of

WAIT = 0.2
"""Seconds that a source waits for something before it looks whether it is to stop."""

LOOPBACK = "127.0.0.1"
LARGEST_DATAGRAM = 8192


def pattern_of(settings: Settings) -> LinePattern:
    """The pattern that the lines of a source fit. Raises SourceError."""
    try:
        pattern = re.compile(text_of(settings, "pattern"))
    except re.error as error:
        raise SourceError(f"pattern: {error}") from None
    if not pattern.groupindex:
        raise SourceError("pattern")
    return LinePattern(pattern, settings.get("checked") is True)


def serial_port(settings: Settings, reader: Reader) -> None:
    """Read a serial port line by line. Raises SourceError, MissingExtraError and OSError."""
    try:
        import serial
    except ImportError:
        raise MissingExtraError("live") from None
    pattern, baud = pattern_of(settings), int(number_of(settings, "baud", BAUD))
    with serial.Serial(text_of(settings, "port"), baud, timeout=WAIT) as port:
        port.reset_input_buffer()
        for line in _lines(port, reader):
            reader.take(pattern.values(line), line)


def _lines(port: object, reader: Reader) -> Iterator[str]:
    """Whole lines as they come; what is before the first end of a line is no line."""
    rest, begun = b"", False
    while not reader.stopped.is_set():
        rest += port.read(max(1, min(port.in_waiting, 4096)))  # type: ignore[attr-defined]
        *whole, rest = rest.split(b"\n")
        for line in whole:
            if begun:
                yield line.rstrip(b"\r").decode("ascii", "replace")
            begun = True
        if len(rest) > LONGEST:
            rest, begun = b"", False


def datagrams(settings: Settings, reader: Reader) -> None:
    """Read JSON objects of numbers by channel, one a datagram; from this computer only unless ``host`` says otherwise.

    Raises SourceError and OSError.
    """
    address = text_of(settings, "host", LOOPBACK), int(number_of(settings, "port", 0))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as door:
        door.bind(address)
        door.settimeout(WAIT)
        while not reader.stopped.is_set():
            with contextlib.suppress(TimeoutError):
                datagram = door.recv(LARGEST_DATAGRAM)
                reader.take(_numbers(datagram), datagram[:LONGEST].decode("utf-8", "replace"))


def _numbers(datagram: bytes) -> dict[str, float] | None:
    try:
        told = json.loads(datagram)
    except (ValueError, RecursionError):
        return None
    if not isinstance(told, dict):
        return None
    found = {name: one for name, one in told.items() if isinstance(one, int | float) and not isinstance(one, bool)}
    if len(found) < len(told) or not all(map(math.isfinite, found.values())):
        return None
    return {name: float(one) for name, one in found.items()}


def growing_table(settings: Settings, reader: Reader) -> None:
    """Read the lines added to a CSV file since the start; its head names the channels. A file that was put in its place
    is read from its beginning. Raises SourceError and OSError."""
    path = Path(text_of(settings, "file"))
    with contextlib.ExitStack() as open_files:
        file = open_files.enter_context(path.open(encoding="utf-8", errors="replace", newline=""))
        head, known = _cells(file.readline()), os.fstat(file.fileno()).st_ino
        file.seek(0, os.SEEK_END)
        rest = ""
        while not reader.stopped.wait(WAIT / 4):
            if path.exists() and (path.stat().st_ino != known or path.stat().st_size < file.tell()):
                file = open_files.enter_context(path.open(encoding="utf-8", errors="replace", newline=""))
                head, known, rest = _cells(file.readline()), os.fstat(file.fileno()).st_ino, ""
            *whole, rest = (rest + file.read()).split("\n")
            for line in whole:
                reader.take(_row(head, _cells(line)), line[:LONGEST])


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line.strip("\r\n")]), [])]


def _row(head: list[str], cells: list[str]) -> dict[str, float] | None:
    if len(cells) != len(head):
        return None
    found = {}
    for name, cell in zip(head, cells, strict=True):
        with contextlib.suppress(ValueError):
            value = float(cell)
            if math.isfinite(value):
                found[name] = value
    return found or None
