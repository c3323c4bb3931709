"""The program starts by itself: what is written for each system, read back by what is not ours."""

import configparser
import os
import plistlib
import shlex
import shutil
import subprocess
import sys
from pathlib import Path, PurePosixPath
from typing import Any
from xml.etree import ElementTree

import pytest
from typer.main import get_command

from app.server import autostart as made
from app.server.cli import cli
from app.server.place import ShopPlace
from app.web.security.origin import PublicAddress
from app.wording.message import say
from app.wording.program import cli as words
from tests.started import COMMAND

SERVE = (
    "/opt/even bore/python",
    "-m",
    "app.server",
    "serve",
    "--port",
    "8010",
    "--lan",
    "--data",
    '/srv/50% "of" $HOME',
)

TASK_NAMES = {
    "Task": {"RegistrationInfo", "Triggers", "Principals", "Settings", "Actions"},
    "RegistrationInfo": {"Description"},
    "Triggers": {"LogonTrigger"},
    "LogonTrigger": {"Enabled", "UserId"},
    "Principals": {"Principal"},
    "Principal": {"UserId", "LogonType", "RunLevel"},
    "Settings": {
        "RestartOnFailure",
        "MultipleInstancesPolicy",
        "DisallowStartIfOnBatteries",
        "StopIfGoingOnBatteries",
        "ExecutionTimeLimit",
    },
    "RestartOnFailure": {"Interval", "Count"},
    "Actions": {"Exec"},
    "Exec": {"Command", "Arguments"},
}
"""Of the task schema, the names used here below the one they may stand in. [MS-TSCH] 2.5, the settings as 2.5.4 prints
them, the rest from memory of the same chapter."""

needs_systemctl = pytest.mark.skipif(shutil.which("systemctl") is None, reason="systemd is not on this computer")


def home(tmp_path: Path) -> dict[str, str]:
    """The environment of a person who has nothing yet. ``SYSTEMD_OFFLINE`` has systemctl work on the files alone."""
    runtime = tmp_path / "run"
    runtime.mkdir(exist_ok=True)
    return {
        **os.environ,
        "HOME": str(tmp_path),
        "XDG_CONFIG_HOME": str(tmp_path / "config"),
        "XDG_DATA_HOME": str(tmp_path / "data"),
        "XDG_RUNTIME_DIR": str(runtime),
        "SYSTEMD_OFFLINE": "1",
    }


def typed(tmp_path: Path, *arguments: str) -> str:
    """What ``evenbore autostart`` prints."""
    ended = subprocess.run(
        [*COMMAND, "autostart", *arguments], env=home(tmp_path), capture_output=True, text=True, timeout=60, check=False
    )
    assert ended.returncode == 0, ended
    return ended.stdout


def unit_in(text: str) -> configparser.ConfigParser:
    """A systemd unit, whose keys know capital letters."""
    parser = configparser.ConfigParser(interpolation=None, strict=True)
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read_string(text)
    return parser


def command_in(unit: configparser.ConfigParser) -> list[str]:
    """The words of ExecStart, with the doubled signs of systemd.service(5) taken for the single ones they mean."""
    return [word.replace("%%", "%").replace("$$", "$") for word in shlex.split(unit["Service"]["ExecStart"])]


def test_a_systemd_unit_holds_the_command_word_for_word(tmp_path: Path) -> None:
    unit = unit_in(made.on_linux(tmp_path, SERVE).text)
    assert command_in(unit) == list(SERVE)
    assert unit["Service"]["Restart"] == "on-failure"
    assert unit["Install"]["WantedBy"] == "default.target"
    assert unit["Service"]["StandardOutput"] == "null"  # pairing codes go to no log


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not on this computer")
def test_systemd_itself_finds_no_fault_with_the_unit(tmp_path: Path) -> None:
    serve = (sys.executable, *SERVE[1:])
    wanted = made.on_linux(tmp_path, serve)
    wanted.file.write_bytes(wanted.contents)
    verify = ["systemd-analyze", "--user", "verify", str(wanted.file)]
    verified = subprocess.run(verify, env=home(tmp_path), capture_output=True, text=True, check=False)
    assert (verified.returncode, verified.stderr) == (0, "")
    wanted.file.write_bytes(wanted.contents.replace(b"RestartSec=10", b"RestartSec=soon"))
    verified = subprocess.run(verify, env=home(tmp_path), capture_output=True, text=True, check=False)
    assert "Failed to parse" in verified.stderr


def test_a_launchd_agent_holds_the_command_and_starts_it_again(tmp_path: Path) -> None:
    wanted = made.on_macos(tmp_path, SERVE)
    agent = plistlib.loads(wanted.contents)
    assert agent["ProgramArguments"] == list(SERVE)
    assert wanted.file.name == f"{agent['Label']}.plist"  # launchd.plist(5), FILES
    assert agent["RunAtLoad"] is True
    assert agent["KeepAlive"] == {"SuccessfulExit": False}


def test_a_task_uses_the_names_of_the_task_schema_and_no_other(tmp_path: Path) -> None:
    task = ElementTree.fromstring(made.on_windows(tmp_path, SERVE, "BENCH\\ada").contents)
    space = f"{{{made.TASK_SCHEMA}}}"
    below = {
        parent.tag.removeprefix(space): {child.tag.removeprefix(space) for child in parent}
        for parent in task.iter()
        if len(parent)
    }
    assert all(element.tag.startswith(space) for element in task.iter())
    assert below == TASK_NAMES


def test_a_task_runs_without_an_end_and_on_batteries(tmp_path: Path) -> None:
    serve = ("C:\\Even bore\\python.exe", "serve", "--data", "D:\\The shop")
    task = ElementTree.fromstring(made.on_windows(tmp_path, serve, "BENCH\\ada").contents)
    said = {element.tag.rpartition("}")[2]: element.text for element in task.iter()}
    assert said["Command"] == "C:\\Even bore\\python.exe"
    assert said["Arguments"] == 'serve --data "D:\\The shop"'
    assert said["UserId"] == "BENCH\\ada"
    assert said["ExecutionTimeLimit"] == "PT0S"
    assert said["DisallowStartIfOnBatteries"] == said["StopIfGoingOnBatteries"] == "false"
    assert task.get("version") == "1.2"


def test_a_task_is_written_in_the_signs_that_the_scheduler_reads(tmp_path: Path) -> None:
    wanted = made.on_windows(tmp_path, SERVE, "BENCH\\ada")
    assert wanted.contents.decode("utf-16").startswith("<Task")
    (command,) = wanted.take_up
    assert command == ("schtasks", "/Create", "/TN", "evenbore", "/XML", str(wanted.file), "/F")


@needs_systemctl
@pytest.mark.slow
def test_written_shown_and_taken_back(tmp_path: Path) -> None:
    """With the systemctl of this computer: what is enabled there is what was written."""
    assert typed(tmp_path, "show").strip() == say(words.NO_AUTOSTART)
    file = tmp_path / "config" / "systemd" / "user" / "evenbore.service"
    written = typed(tmp_path, "--port", "8010", "--lan", "--no-name", "--tls").splitlines()
    assert written[0] == say(words.AUTOSTART_WRITTEN, file=file)
    serve = command_in(unit_in(file.read_text()))
    assert PurePosixPath(serve[0]) == PurePosixPath(sys.executable)
    usual = str(tmp_path / "data" / "evenbore")
    assert serve[3:] == ["serve", "--port", "8010", "--lan", "--no-name", "--tls", "--data", usual]
    asked = ["systemctl", "--user", "is-enabled", "evenbore.service"]
    state = subprocess.run(asked, env=home(tmp_path), capture_output=True, text=True, check=False)
    assert state.stdout.strip() == "enabled"
    assert file.read_text() in typed(tmp_path, "show")
    assert typed(tmp_path, "remove").strip() == say(words.AUTOSTART_REMOVED, file=file)
    state = subprocess.run(asked, env=home(tmp_path), capture_output=True, text=True, check=False)
    assert state.returncode != 0
    assert [one for one in (tmp_path / "config").rglob("*") if not one.is_dir()] == []


def test_it_takes_every_option_of_serve_and_hands_each_on(tmp_path: Path) -> None:
    group = get_command(cli).commands  # type: ignore[attr-defined]
    options = {one.name for one in group["serve"].params}
    assert options <= {one.name for one in group["autostart"].params}
    public, live = PublicAddress.typed("https://sync.example"), tmp_path / "bench.toml"
    everything: dict[str, Any] = {"port": 8010, "no_name": True, "tls": True, "live": live, "public": public}
    line = made.serving(**everything, host="127.0.0.1", lan=True, data=str(tmp_path / "shop"))
    told = group["serve"].make_context("serve", list(line[line.index("serve") + 1 :])).params
    assert told == {**everything, "lan": True, "host": "127.0.0.1", "data": ShopPlace(tmp_path / "shop")}
    assert set(told) == options - {"help"}


@pytest.mark.slow
def test_the_command_that_is_written_starts_the_program(tmp_path: Path) -> None:
    options = made.serving(port=8010, host="127.0.0.1", lan=False, tls=False, data=str(tmp_path / "shop"))
    ended = subprocess.run([*options, "--help"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended
    assert say(words.SERVE_HELP).split(",")[0] in ended.stdout


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems take it up by other commands")
@pytest.mark.slow
def test_a_command_that_the_system_refuses_is_told(tmp_path: Path) -> None:
    nothing = {**home(tmp_path), "PATH": str(tmp_path)}
    ended = subprocess.run(
        [*COMMAND, "autostart"], env=nothing, capture_output=True, text=True, timeout=60, check=False
    )
    assert say(words.AUTOSTART_BY_HAND, line="systemctl --user enable evenbore.service") in ended.stderr
    assert say(words.AUTOSTART_WRITTEN, file="").strip() not in ended.stdout


def test_a_system_that_is_not_known_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "plan9")
    with pytest.raises(made.UnknownSystemError):
        made.autostart(())
