"""Sources without hardware: a pseudo-terminal, a Modbus server in the process, a virtual CAN bus, datagrams, a file."""

import asyncio
import json
import os
import select
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app.live.sources.kinds import READ
from app.live.sources.obd import decoded
from app.live.sources.simulated import RATE, instrument
from app.live.sources.source import MissingExtraError, Reader, SourceError
from app.sync.signals.pulses import speed_of
from app.sync.signals.settling import look
from tests.free_ports import free_port
from tests.waiting import until

PATTERN = r"B3=(?P<b3>\d{2}\.\d{3})"


@dataclass
class Heard:
    """What a source handed on, by channel."""

    values: dict[str, list[float]] = field(default_factory=dict)
    problem: Exception | None = None

    def deliver(self, name: str, at: float, value: float) -> None:
        self.values.setdefault(name, []).append(value)


@contextmanager
def reading(kind: str, **settings: object) -> Iterator[tuple[Heard, Reader]]:
    heard = Heard()
    reader = Reader(heard.deliver)

    def work() -> None:
        try:
            READ[kind](settings, reader)
        except Exception as problem:
            heard.problem = problem

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    try:
        yield heard, reader
    finally:
        reader.stopped.set()
        thread.join(timeout=20)
        assert not thread.is_alive()


@pytest.fixture
def line() -> Iterator[tuple[int, str]]:
    """A pair of pseudo-terminals: ours, and the name of the instrument's."""
    pty = pytest.importorskip("pty", reason="no pseudo-terminals here")
    pytest.importorskip("serial", reason="without the extra live")
    tty = pytest.importorskip("tty")
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    yield ours, os.ttyname(theirs)
    for one in (ours, theirs):
        os.close(one)


def test_a_serial_line_is_read_and_what_is_spoilt_counted(line: tuple[int, str]) -> None:
    ours, port = line
    with reading("serial", port=port, pattern=PATTERN) as (heard, reader):

        def sent() -> bool:
            os.write(ours, b"half a line\nB3=06.512\r\nB3=6.51\r\nB3=06.750\r\n")
            return len(heard.values.get("b3", [])) >= 2

        until(sent)
    assert set(heard.values["b3"]) == {6.512, 6.75}
    assert reader.spoilt >= 1
    assert "B3=6.51" in reader.raw


def test_an_instrument_that_is_unplugged_ends_the_source_with_a_reason() -> None:
    pytest.importorskip("serial", reason="without the extra live")
    with reading("serial", port="/dev/there-is-none", pattern=PATTERN) as (heard, _):
        until(lambda: heard.problem)
    assert isinstance(heard.problem, OSError)


def test_datagrams_of_numbers_are_taken_and_nothing_else() -> None:
    port = free_port()
    with reading("udp", port=port) as (heard, reader), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        bad = [b"", b"{", b"[1]", b'{"b1": "6"}', b'{"b1": NaN}', b'{"b1": null}', b"[" * 5000]

        def sent() -> bool:
            for one in (*bad, json.dumps({"b1": 6.5, "speed": 850}).encode()):
                sender.sendto(one, ("127.0.0.1", port))
            return len(heard.values.get("speed", [])) >= 2 and reader.spoilt >= len(bad) - 1

        until(sent)
    assert set(heard.values) == {"b1", "speed"}
    assert set(heard.values["b1"]) == {6.5}


def test_a_file_that_grows_is_followed_and_so_is_the_one_put_in_its_place(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text("time,b1,b2\n0,1.0,2.0\n")
    with reading("csv", file=str(file)) as (heard, reader):

        def grown() -> bool:
            with file.open("a") as more:
                more.write("1,6.5,6.25\n2,6.5\n3,x,6.25\n")
            return bool(heard.values.get("b1")) and reader.spoilt > 0

        until(grown)
        assert 1.0 not in heard.values["b1"]
        other = tmp_path / "other.csv"
        other.write_text("time,b3\n0,7.5\n")
        other.replace(file)
        until(lambda: heard.values.get("b3"))
    assert heard.values["b3"] == [7.5]


@contextmanager
def modbus(values: list[int]) -> Iterator[int]:
    """A Modbus server in a thread of this process, on a free port."""
    server = pytest.importorskip("pymodbus.server", reason="without the extra live")
    data = pytest.importorskip("pymodbus.datastore")
    block = data.ModbusSequentialDataBlock(1, values)
    context = data.ModbusServerContext(devices=data.ModbusDeviceContext(hr=block), single=True)
    port, loop, up = free_port(), asyncio.new_event_loop(), threading.Event()
    serving: list[Any] = []

    async def serve() -> None:
        serving.append(server.ModbusTcpServer(context, address=("127.0.0.1", port)))
        await serving[0].serve_forever(background=True)
        up.set()

    def work() -> None:
        asyncio.set_event_loop(loop)
        loop.create_task(serve())
        loop.run_forever()

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    assert up.wait(20)
    yield port
    asyncio.run_coroutine_threadsafe(serving[0].shutdown(), loop).result(20)
    loop.call_soon_threadsafe(loop.stop)
    thread.join(20)
    loop.close()


def test_registers_are_read_by_modbus_and_a_server_that_is_not_there_is_told() -> None:
    registers = {"b1": {"at": 0, "type": "FLOAT32"}, "speed": {"at": 2, "scale": 0.5}}
    with modbus([0x40D0, 0x0000, 1700]) as port:  # 6.5 as IEEE 754 single precision
        with reading("modbus", host="127.0.0.1", port=port, registers=registers, every=0.01) as (heard, _):
            until(lambda: heard.problem or len(heard.values.get("speed", [])) >= 2)
        assert heard.problem is None
    assert heard.values["b1"][0] == 6.5
    assert heard.values["speed"][0] == 850.0
    with reading("modbus", host="127.0.0.1", port=free_port(), registers=registers) as (heard, _):
        until(lambda: heard.problem)
    assert isinstance(heard.problem, OSError)


def checked(frame: bytes) -> bytes:
    """A frame with its check sum: the CRC of Modbus over Serial Line, specification V1.02, 6.2.2, bit by bit."""
    total = 0xFFFF
    for byte in frame:
        total ^= byte
        for _ in range(8):
            total = total >> 1 ^ (0xA001 if total & 1 else 0)
    return frame + total.to_bytes(2, "little")


def test_the_check_sum_is_that_of_the_specification() -> None:
    """The request 02 07 has the sum 41 12 there."""
    assert checked(b"\x02\x07") == b"\x02\x07\x41\x12"


@contextmanager
def slave(master: int, values: list[int], spoil: threading.Event) -> Iterator[None]:
    """A Modbus RTU slave at the other end of a line; what it answers is spoilt by a bit while it is told to."""
    over = threading.Event()

    def serve() -> None:
        asked = b""
        while not over.is_set():
            if not select.select([master], [], [], 0.05)[0]:
                continue
            asked += os.read(master, 64)
            while len(asked) >= 8:
                one, asked = asked[:8], asked[8:]
                assert checked(one[:6]) == one
                at, count = int.from_bytes(one[2:4], "big"), int.from_bytes(one[4:6], "big")
                body = b"".join(value.to_bytes(2, "big") for value in values[at : at + count])
                answer = bytearray(checked(bytes((one[0], 3, len(body))) + body))
                if spoil.is_set():
                    answer[4] ^= 1
                os.write(master, answer)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(10)


def test_registers_are_read_over_a_serial_line_and_a_spoilt_answer_is_none(line: tuple[int, str]) -> None:
    pytest.importorskip("pymodbus", reason="without the extra live")
    master, port = line
    spoil, registers = threading.Event(), {"b1": {"at": 0, "type": "FLOAT32"}, "speed": {"at": 2, "scale": 0.5}}
    told = {"port": port, "parity": "N", "registers": registers, "every": 0.01}
    with slave(master, [0x40D0, 0x0000, 1700], spoil), reading("modbus", **told) as (heard, _):
        until(lambda: heard.problem or len(heard.values.get("speed", [])) >= 2)
        assert heard.problem is None
        spoil.set()
        until(lambda: heard.problem, 20)
    assert set(heard.values["b1"]) == {6.5}
    assert set(heard.values["speed"]) == {850.0}
    assert isinstance(heard.problem, OSError)


DBC = """VERSION ""
BU_: ECU
BO_ 291 Engine: 4 ECU
 SG_ EngineSpeed : 0|16@1+ (0.25,0) [0|16383] "rpm" Vector__XXX
 SG_ Coolant : 16|8@1+ (1,-40) [-40|215] "degC" Vector__XXX
"""


def test_signals_are_decoded_from_a_can_bus_and_a_short_frame_is_spoilt(tmp_path: Path) -> None:
    can = pytest.importorskip("can", reason="without the extra live-can")
    pytest.importorskip("cantools", reason="without the extra live-can")
    dbc = tmp_path / "engine.dbc"
    dbc.write_text(DBC)
    wanted = {"speed": "EngineSpeed", "coolant": "Coolant"}
    settings = {"interface": "virtual", "channel": "bench", "dbc": str(dbc), "signals": wanted}
    with reading("can", **settings) as (heard, reader), can.Bus(interface="virtual", channel="bench") as bus:
        frames = [(291, b"\x48\x0d\x7c\x00"), (291, b"\x48"), (17, b"\x00")]

        def sent() -> bool:
            for ident, data in frames:
                bus.send(can.Message(arbitration_id=ident, data=data, is_extended_id=False))
            return bool(heard.problem or (heard.values.get("coolant") and reader.spoilt))

        until(sent)
    assert heard.problem is None
    assert (heard.values["speed"][0], heard.values["coolant"][0]) == (850.0, 84.0)  # 0x0D48 / 4, 0x7C - 40


def test_a_signal_that_the_file_does_not_know_is_told(tmp_path: Path) -> None:
    pytest.importorskip("cantools", reason="without the extra live-can")
    dbc = tmp_path / "engine.dbc"
    dbc.write_text(DBC)
    with reading("can", interface="virtual", channel="x", dbc=str(dbc), signals={"b1": "Flow"}) as (heard, _):
        until(lambda: heard.problem)
    assert isinstance(heard.problem, SourceError)


def test_diagnostics_are_asked_for_and_answered(line: tuple[int, str]) -> None:
    """A simulated adapter: it answers each line, then its prompt."""
    ours, port = line
    answers = {b"010C": b"41 0C 0D 48", b"0105": b"41 05 7C", b"0133": b"NO DATA"}

    def adapter() -> None:
        asked = b""
        while True:
            try:
                asked += os.read(ours, 64)
            except OSError:
                return
            *lines, asked = asked.split(b"\r")
            for one in lines:
                os.write(ours, answers.get(one, b"OK") + b"\r\r>")

    threading.Thread(target=adapter, daemon=True).start()
    ask = {"speed": "speed", "coolant": "coolant", "air": "air-pressure"}
    with reading("obd-serial", port=port, ask=ask) as (heard, _):
        until(lambda: heard.problem or len(heard.values.get("coolant", [])) >= 2)
    assert heard.problem is None
    assert heard.values.keys() == {"speed", "coolant"}
    assert (heard.values["speed"][0], heard.values["coolant"][0]) == (850.0, 84.0)


@pytest.mark.parametrize(
    ("what", "answer", "value"),
    [
        ("speed", "41 0C 1A F8", 1726.0),
        ("coolant", "41057B", 83.0),
        ("throttle", "4111FF", 100.0),
        ("air-pressure", "413365", 101.0),
        ("coolant", "7F 01 12", None),
        ("coolant", "41 05", None),
        ("coolant", "SEARCHING...", None),
        ("speed", "41 05 7B", None),
    ],
)
def test_answers_are_those_of_the_standard(what: str, answer: str, value: float | None) -> None:
    """SAE J1979: (256 A + B) / 4 rev/min, A - 40 degrees, A 100 / 255 percent, A kPa (the example of 1726 rev/min is
    the one commonly printed beside the formula, from memory)."""
    assert decoded(what, answer) == value


@pytest.mark.parametrize(("kind", "settings"), [("serial", {}), ("serial", {"port": "x", "pattern": "("}), ("csv", {}),
                                                ("modbus", {"registers": {}}), ("obd-serial", {"ask": {"x": "y"}}),
                                                ("udp", {"port": "x"}), ("simulated", {})])  # fmt: skip
def test_settings_that_cannot_be_are_told(kind: str, settings: dict[str, object]) -> None:
    with pytest.raises((SourceError, MissingExtraError)):
        READ[kind](settings, Reader(Heard().deliver))


def test_the_simulated_instrument_shows_its_flows_and_its_speed() -> None:
    with reading("simulated", flows={"b1": 6.5, "b2": 6.0}) as (heard, _):
        until(lambda: len(heard.values.get("b2", [])) > 100)
    mean = sum(heard.values["b1"]) / len(heard.values["b1"])
    assert mean == pytest.approx(6.5, rel=0.2)
    assert heard.values["speed"][0] == pytest.approx(850, rel=0.1)


def test_the_pulses_of_the_simulated_instrument_stay_on_their_cycle_while_the_idle_strays() -> None:
    """After five minutes their speed is still told from a trace, and a value settles."""
    clock, heard = [0.0], list[tuple[float, float]]()

    class Passing(threading.Event):
        def wait(self, timeout: float | None = None) -> bool:
            clock[0] += timeout or 0.0
            return clock[0] > 300.0

    def deliver(name: str, at: float, value: float) -> None:
        if name == "b1":
            heard.append((at, value))

    instrument({"flows": {"b1": 6.5}}, Reader(deliver, Passing(), lambda: clock[0]))
    times, values = np.array(heard[-900:]).T
    assert speed_of(values[None, -400:], RATE) == pytest.approx(850 / 60, rel=0.02)
    found = look(times, values, float(times[-1]), speed=850 / 60)
    assert found.lack is None
    assert found.value == pytest.approx(6.5, rel=0.03)
