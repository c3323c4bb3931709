"""Instruments that are read beside the program: by a process that ends with it, and simulated ones for the demo."""

import json
import os
import signal
import ssl
import subprocess
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from app.server.instruments import beside
from app.web.security.feed_door import is_own
from tests.started import COMMAND, Started, started
from tests.waiting import until

FILE = """
[channel.b1]
quantity = "flow"
unit = "kg/h"
bore = 1
rate = 100
[channel.speed]
quantity = "speed"
unit = "rpm"
high = 9000
[source.bench]
kind = "simulated"
[source.bench.flows]
b1 = 6.5
"""


def channels(program: Started) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(program.fetch("/api/live/channels"))
    return found


def states(program: Started) -> dict[str, str]:
    return {name: one["state"] for name, one in channels(program).items()}


def children(of: int) -> list[int]:
    tasks = Path(f"/proc/{of}/task")
    return [int(one) for task in tasks.iterdir() for one in (task / "children").read_text().split()]


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="no list of processes here")
@pytest.mark.parametrize("end", [signal.SIGTERM, signal.SIGKILL])
def test_a_process_that_reads_is_begun_again_and_ends_with_the_program(tmp_path: Path, end: signal.Signals) -> None:
    file = tmp_path / "live.toml"
    file.write_text(FILE)
    arguments = ("serve", "--port", "0", "--live", str(file), "--data", str(tmp_path / "shop"))
    with started(*arguments, command=COMMAND) as program:
        until(lambda: set(states(program).values()) == {"live"}, 60)
        (first,) = children(program.process.pid)
        os.kill(first, signal.SIGKILL)
        until(lambda: children(program.process.pid) not in ([], [first]), 60)
        (second,) = children(program.process.pid)
        until(lambda: set(states(program).values()) == {"live"}, 60)
        os.kill(program.process.pid, end)
        program.process.wait(60)
        until(lambda: not running(second), 60)


def running(process: int) -> bool:
    """Whether a process is at work, neither gone nor waiting to be taken away."""
    try:
        return "\nState:\tZ" not in Path(f"/proc/{process}/status").read_text()
    except OSError:
        return False


@pytest.mark.slow
def test_instruments_are_read_beside_a_program_on_https(tmp_path: Path) -> None:
    file = tmp_path / "live.toml"
    file.write_text(FILE)
    arguments = ("serve", "--port", "0", "--tls", "--live", str(file), "--data", str(tmp_path / "shop"))
    with started(*arguments) as program:
        assert program.address.startswith("https://")
        trusted = ssl.create_default_context(cadata=(tmp_path / "shop" / "https" / "authority.pem").read_text())

        def live() -> bool:
            with urllib.request.urlopen(f"{program.address}api/live/channels", timeout=10, context=trusted) as answer:
                return {one["state"] for one in json.loads(answer.read()).values()} == {"live"}

        until(live, 60)
        assert program.stop() == 0


@pytest.mark.slow
def test_a_feed_is_let_in_by_a_command(tmp_path: Path) -> None:
    with started("serve", "--port", "0", "--data", str(tmp_path)) as program:
        port = program.address.rstrip("/").rpartition(":")[2]
        line = [*COMMAND, "feed", "Bench", "--data", str(tmp_path), "--port", port]
        token = subprocess.run(line, capture_output=True, text=True, timeout=60, check=True).stdout.strip()
        body = json.dumps({"epoch": "one", "sent": 1.0, "rows": {}}).encode()
        for sent, status in ((token, 202), (token + "x", 401), ("", 401)):
            head = {"Content-Type": "application/json", "Authorization": f"Bearer {sent}"}
            asked = urllib.request.Request(program.address + "api/live/feed", body, head)
            try:
                with urllib.request.urlopen(asked, timeout=10) as answer:
                    found = answer.status
            except urllib.error.HTTPError as refusal:
                with refusal:
                    found = refusal.code
            assert found == status
        assert program.stop() == 0


def test_what_is_stopped_before_it_began_begins_nothing(tmp_path: Path) -> None:
    with beside(tmp_path / "none.toml", "http://127.0.0.1:1", "secret") as kept:
        kept.stopped.set()
    assert kept.process is None or kept.process.poll() is not None


@pytest.mark.parametrize(
    ("token", "own", "same"), [("a", "a", True), ("a", "b", False), ("", "", False), ("é", "a", 0)]
)
def test_no_token_is_nobody_s_own(token: str, own: str, same: bool) -> None:
    assert is_own(token, own) == same
