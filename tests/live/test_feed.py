"""What is sent to the program, and the process that sends it."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from app.live.baud import Crowded
from app.live.channels import read_channels
from app.live.feed import MOST_AT_ONCE, MOST_WAITING, Feed, RefusedError
from app.live.process import Running, Told, run
from app.web.live.hub import Hub
from app.web.security.middleware import FEED_LIMIT
from tests.free_ports import free_port
from tests.waiting import until

FILE = """
[channel.b1]
quantity = "flow"
unit = "kg/h"
bore = 1

[channel.speed]
quantity = "speed"
unit = "rpm"

[source.bench]
kind = "simulated"

[source.bench.flows]
b1 = 6.5

[source.gone]
kind = "csv"
file = "/there/is/none.csv"

[source.wrong]
kind = "obd-serial"
"""
CHANNELS = read_channels(FILE).channels


@dataclass
class Door:
    """A program that takes pushes, or does not."""

    address: str
    status: int = 202
    pushes: list[dict[str, Any]] = field(default_factory=list)
    tokens: list[str] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    declare: list[str] = field(default_factory=list)

    @property
    def rows(self) -> dict[str, list[list[float]]]:
        """Everything that came, by channel."""
        found: dict[str, list[list[float]]] = {}
        for one in self.pushes:
            for name, rows in one["rows"].items():
                found.setdefault(name, []).extend(rows)
        return found


@pytest.fixture
def door() -> Iterator[Door]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            opened.sizes.append(len(body))
            opened.tokens.append(self.headers["Authorization"])
            opened.pushes.append(json.loads(body))
            answer = json.dumps({"declare": opened.declare}).encode()
            self.send_response(opened.status)
            self.send_header("Content-Length", str(len(answer)))
            self.end_headers()
            self.wfile.write(answer)

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    opened = Door(f"http://127.0.0.1:{server.server_address[1]}")
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    yield opened
    server.shutdown()
    server.server_close()
    thread.join()


def test_values_are_sent_with_their_clock_and_channels_are_declared_once(door: Door) -> None:
    feed = Feed(door.address, "secret", CHANNELS, now=lambda: 12.5)
    feed.deliver("b1", 12.4, 6.5)
    feed.deliver("nobody", 12.4, 6.5)
    feed.push()
    feed.push()
    feed.close()
    first, second = door.pushes
    assert first["rows"] == {"b1": [[12.4, 6.5]]}
    assert (first["sent"], first["epoch"]) == (12.5, feed.epoch)
    assert first["channels"]["b1"]["unit"] == "kg/h"
    assert second["channels"] == {}
    assert second["rows"] == {}
    assert feed.unknown == 1
    assert door.tokens == ["Bearer secret"] * 2


def test_no_value_is_rounded_into_the_future(door: Door) -> None:
    at = 12.49996
    feed = Feed(door.address, "secret", CHANNELS, now=lambda: at)
    feed.deliver("b1", at, 6.5)
    feed.push()
    feed.close()
    (push,) = door.pushes
    assert push["rows"]["b1"][0][0] <= push["sent"]


def test_lines_of_one_batch_keep_their_order_and_all_count(door: Door) -> None:
    """An adapter hands over several lines at once, some microseconds apart."""
    feed = Feed(door.address, "secret", CHANNELS, now=lambda: 12.6)
    for n in range(5):
        feed.deliver("b1", 12.5 + n * 2e-5, 6.5 + n)
    feed.push()
    feed.close()
    hub = Hub(lambda: 50.0)
    rows = {"b1": [(at, value) for at, value in door.pushes[0]["rows"]["b1"]]}
    hub.receive("feed", "one", 12.6, rows, {"b1": CHANNELS["b1"]})
    assert (hub.channels()["b1"]["refused"], hub.strips()["b1"].tolist()) == (0, [6.5, 7.5, 8.5, 9.5, 10.5])


def test_what_waited_goes_out_in_pushes_that_the_door_takes(door: Door) -> None:
    """After a pause much waits; each push is small enough, and none of it is a flood to the program."""
    feed = Feed(door.address, "secret", CHANNELS, now=lambda: 20.0)
    count = 3 * MOST_AT_ONCE + 7
    for n in range(count):
        feed.deliver("b1", 4.0 + n * 0.005 + 1e-7 / 3, 6.543210987654321 * (1 + 1e-3 * (n % 7)))
    feed.push()
    feed.close()
    assert len(door.pushes) == 4
    assert max(door.sizes) < FEED_LIMIT
    hub = Hub(lambda: 50.0)
    for push in door.pushes:
        rows = {name: [(at, value) for at, value in samples] for name, samples in push["rows"].items()}
        hub.receive("bench", push["epoch"], push["sent"], rows, CHANNELS)
    told = hub.channels()["b1"]
    assert (told["refused"], len(door.rows["b1"])) == (0, count)


def test_channels_that_the_program_forgot_are_declared_again(door: Door) -> None:
    feed = Feed(door.address, "secret", CHANNELS)
    door.declare = ["b1", "nobody"]
    feed.push()
    feed.push()
    feed.close()
    assert door.pushes[1]["channels"].keys() == {"b1"}


def test_a_feed_that_is_not_let_in_says_so(door: Door) -> None:
    door.status = 401
    feed = Feed(door.address, "withdrawn", CHANNELS)
    with pytest.raises(RefusedError) as refused:
        feed.push()
    feed.close()
    assert refused.value.status == 401


def test_without_an_answer_nothing_old_is_kept(door: Door) -> None:
    feed = Feed(f"http://127.0.0.1:{free_port()}", "secret", CHANNELS)
    feed.deliver("b1", 1.0, 6.5)
    with pytest.raises(ConnectionError):
        feed.push()
    feed.address = door.address
    feed.push()
    feed.close()
    assert door.pushes[0]["rows"] == {}
    assert door.pushes[0]["channels"].keys() == CHANNELS.keys()


def test_what_waits_is_bounded() -> None:
    feed = Feed("http://127.0.0.1:1", "secret", CHANNELS)
    for at in range(3 * MOST_WAITING):
        feed.deliver("b1", float(at), 6.5)
    assert feed.dropped >= MOST_WAITING
    assert len(feed._waiting) <= MOST_WAITING


def test_the_others_go_on_when_a_source_ends(door: Door) -> None:
    file, stopped, told = read_channels(FILE), threading.Event(), list[Told]()
    feed = Feed(door.address, "secret", file.channels)
    thread = threading.Thread(target=run, args=(file, feed, stopped, told.append), daemon=True)
    thread.start()
    until(lambda: len(door.rows.get("b1", [])) > 50 and len(told) >= 3)
    stopped.set()
    thread.join(timeout=20)
    assert not thread.is_alive()
    ended = {one.source.name: one for one in told if isinstance(one, Running)}
    assert ended.keys() == {"gone", "wrong"}
    assert ended["gone"].restarts >= 1
    assert ended["wrong"].restarts == 0
    assert door.rows["speed"][0][1] == pytest.approx(850, rel=0.1)


def test_a_port_that_is_too_slow_is_told_once(door: Door) -> None:
    pytest.importorskip("pymodbus", reason="without the extra live")
    text = FILE[: FILE.index("[source")] + '[source.slow]\nkind = "modbus"\nport = "/dev/none"\nbaud = 300\n'
    text += '[source.slow.registers]\nb1 = { at = 0, type = "FLOAT32" }\n'
    file, stopped, told = read_channels(text), threading.Event(), list[Told]()
    feed = Feed(door.address, "secret", file.channels)
    thread = threading.Thread(target=run, args=(file, feed, stopped, told.append), daemon=True)
    thread.start()
    until(lambda: any(one.get("sources", {}).get("slow", {}).get("restarts", 0) > 1 for one in door.pushes))
    stopped.set()
    thread.join(timeout=20)
    slow = [one for one in told if isinstance(one, Crowded)]
    assert [(one.source, one.baud) for one in slow] == [("slow", 300)]
    assert any(one["sources"]["slow"]["baud_needed"] == slow[0].needs for one in door.pushes if one.get("sources"))


@pytest.mark.slow
def test_the_command_sends_until_it_is_ended(door: Door, tmp_path: Path) -> None:
    file, token = tmp_path / "live.toml", tmp_path / "token"
    file.write_text(FILE)
    token.write_text("secret\n")
    line = [sys.executable, "-m", "app.server", "live", str(file), "--to", door.address, "--token-file", str(token)]
    with subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        until(lambda: door.rows.get("b1") or process.poll() is not None, 60)
        process.send_signal(signal.SIGTERM)
        said, wrong = process.communicate(timeout=60)
    assert process.returncode == 0, wrong
    assert "Sending 2 channels from 3 sources" in said
    assert "gone" in wrong
    assert "wrong cannot be read: ask" in wrong


@pytest.mark.parametrize(
    ("text", "token", "said"),
    [
        ("[channel.b1]\nquantity = 'flow'\nunit = 'kPa'\n", "secret", "Line 3: channel.b1.unit has to be one of kg/h"),
        (FILE, "", "There is no token"),
    ],
)
@pytest.mark.slow
def test_the_command_says_what_is_wrong_and_starts_nothing(tmp_path: Path, text: str, token: str, said: str) -> None:
    file = tmp_path / "live.toml"
    file.write_text(text)
    line = [sys.executable, "-m", "app.server", "live", str(file)]
    done = subprocess.run(
        line, capture_output=True, text=True, timeout=60, check=False, env={**os.environ, "EVENBORE_FEED_TOKEN": token}
    )
    assert done.returncode == 2
    assert said in re.sub(r"\s+", " ", done.stderr)


def test_waiting_is_monotonic() -> None:
    assert Feed("http://127.0.0.1:1", "secret", CHANNELS).now is time.monotonic
