"""What makes a system start the program on its own when its user signs in: one file, in the system's own form.

Linux: a systemd user unit (systemd.unit(5), systemd.service(5)). macOS: an agent of launchd (launchd.plist(5)).
Windows: a task of Task Scheduler ([MS-TSCH] 2.5, the task schema in version 1.2).
"""

import os
import plistlib
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from platformdirs import user_config_path

from app.web.security.origin import PublicAddress

NAME = "evenbore"

TASK_SCHEMA = "http://schemas.microsoft.com/windows/2004/02/mit/task"

AGAIN_AFTER = 10
"""Seconds until a program that ended in error is started again, so that a port still taken is soon found free: our
judgement."""

Command = tuple[str, ...]


class UnknownSystemError(Exception):
    """No way is known to start a program on its own on this system."""


@dataclass(frozen=True)
class Autostart:
    """One system's way: the ``file`` and what stands in it, the commands that take it up and those that let it go.

    ``sooner`` is the command that has it start with the computer, before its user signs in, where there is one.
    """

    file: Path
    contents: bytes
    take_up: tuple[Command, ...] = ()
    let_go: tuple[Command, ...] = ()
    sooner: Command = ()

    @property
    def text(self) -> str:
        """The contents as a person reads them."""
        return self.contents.decode("utf-16" if self.contents.startswith(b"\xff\xfe") else "utf-8")


def autostart(serve: Sequence[str]) -> Autostart:
    """How this system starts ``serve``, a command with its arguments; none where only the file is looked for.

    Raises UnknownSystemError.
    """
    if sys.platform.startswith("linux"):
        config = os.environ.get("XDG_CONFIG_HOME") or str(Path.home() / ".config")
        return on_linux(Path(config) / "systemd" / "user", serve)
    if sys.platform == "darwin":
        return on_macos(Path.home() / "Library" / "LaunchAgents", serve)
    if sys.platform == "win32":
        return on_windows(user_config_path(NAME, appauthor=False), serve, user_of(os.environ))
    raise UnknownSystemError(sys.platform)


def program() -> Command:
    """What starts this program again: the interpreter with the package, or the program that was built to run alone."""
    return (sys.executable,) if getattr(sys, "frozen", False) else (sys.executable, "-m", "app.server")


def serving(
    *,
    port: int,
    host: str,
    lan: bool,
    no_name: bool = False,
    tls: bool,
    data: str,
    live: Path | None = None,
    public: PublicAddress | None = None,
) -> Command:
    """``evenbore serve`` with its options in full, so that it means the same from any folder."""
    reached = ("--lan", *(("--no-name",) if no_name else ())) if lan else ("--host", host)
    secured = ("--tls",) if tls else ()
    instruments = ("--live", str(live.absolute())) if live else ()
    proxied = ("--behind-proxy", public.home) if public else ()
    return (*program(), "serve", "--port", str(port), *reached, *secured, *instruments, *proxied, "--data", data)


def on_linux(folder: Path, serve: Sequence[str]) -> Autostart:
    """A unit of the user's own service manager. Pairing codes go to no log; what went wrong goes to the journal."""
    text = f"""\
[Unit]
Description=Evenbore

[Service]
Type=exec
ExecStart={_systemd_line(serve)}
Restart=on-failure
RestartSec={AGAIN_AFTER}
StandardOutput=null

[Install]
WantedBy=default.target
"""
    manager = ("systemctl", "--user")
    unit = f"{NAME}.service"
    return Autostart(
        folder / unit,
        text.encode(),
        take_up=((*manager, "daemon-reload"), (*manager, "enable", unit)),
        let_go=((*manager, "disable", unit),),
        sooner=("loginctl", "enable-linger"),
    )


def _systemd_line(words: Sequence[str]) -> str:
    """A command line as systemd.service(5) reads it: quoted; % is doubled, and after the first word $ is too."""
    escaped = [word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%") for word in words]
    return " ".join(f'"{word}"' for word in (*escaped[:1], *(word.replace("$", "$$") for word in escaped[1:])))


def on_macos(folder: Path, serve: Sequence[str]) -> Autostart:
    """An agent that launchd loads at the next login; what it prints goes nowhere."""
    name = f"local.{NAME}"
    agent = {
        "Label": name,
        "ProgramArguments": list(serve),
        "RunAtLoad": True,
        "KeepAlive": {"SuccessfulExit": False},
        "ThrottleInterval": AGAIN_AFTER,
    }
    return Autostart(folder / f"{name}.plist", plistlib.dumps(agent))


def on_windows(folder: Path, serve: Sequence[str], user: str) -> Autostart:
    """A task for ``user`` that runs on batteries too and without an end: left to itself the scheduler stops one after
    three days. Its window shows the pairing codes, and closing it closes the program."""
    task = ElementTree.Element("Task", version="1.2", xmlns=TASK_SCHEMA)
    _branch(task, "RegistrationInfo", {"Description": "Evenbore"})
    _branch(ElementTree.SubElement(task, "Triggers"), "LogonTrigger", {"Enabled": "true", "UserId": user})
    principals = ElementTree.SubElement(task, "Principals")
    person = {"UserId": user, "LogonType": "InteractiveToken", "RunLevel": "LeastPrivilege"}
    _branch(principals, "Principal", person).set("id", "Author")
    settings = {
        "MultipleInstancesPolicy": "IgnoreNew",
        "DisallowStartIfOnBatteries": "false",
        "StopIfGoingOnBatteries": "false",
        "ExecutionTimeLimit": "PT0S",
    }
    _branch(_branch(task, "Settings", settings), "RestartOnFailure", {"Interval": "PT1M", "Count": "3"})
    actions = ElementTree.SubElement(task, "Actions", Context="Author")
    _branch(actions, "Exec", {"Command": "".join(serve[:1]), "Arguments": subprocess.list2cmdline(serve[1:])})
    ElementTree.indent(task)
    file = folder / f"{NAME}-task.xml"
    return Autostart(
        file,
        b"\xff\xfe" + ElementTree.tostring(task, encoding="unicode").encode("utf-16-le"),
        take_up=(("schtasks", "/Create", "/TN", NAME, "/XML", str(file), "/F"),),
        let_go=(("schtasks", "/Delete", "/TN", NAME, "/F"),),
    )


def _branch(parent: ElementTree.Element, name: str, leaves: Mapping[str, str]) -> ElementTree.Element:
    """A new element below ``parent`` that holds one element for each of ``leaves``."""
    branch = ElementTree.SubElement(parent, name)
    for leaf, text in leaves.items():
        ElementTree.SubElement(branch, leaf).text = text
    return branch


def user_of(environment: Mapping[str, str]) -> str:
    """The user as Task Scheduler names one: the domain or computer, then the name."""
    return "\\".join(filter(None, (environment.get("USERDOMAIN"), environment.get("USERNAME"))))
