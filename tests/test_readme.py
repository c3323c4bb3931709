"""The lines that README tells a person to type, held against the packaging and the commands."""

import re
import tomllib
from pathlib import Path

import pytest
from typer.main import get_command

from app.server import cli

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text()
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]


def line(block: int) -> str:
    """The one line of a fenced block."""
    (one,) = BLOCKS[block][1].splitlines()
    return str(one)


def test_the_run_line_and_the_test_line_come_first() -> None:
    assert [language for language, _ in BLOCKS[:3]] == ["sh", "sh", "bat"]
    assert line(0).endswith("evenbore demo")
    assert "-m pytest" in line(1)


def test_what_is_run_is_what_is_installed() -> None:
    assert list(PROJECT["scripts"]) == ["evenbore"]
    module, _, function = PROJECT["scripts"]["evenbore"].partition(":")
    assert (module, getattr(cli, function)) == (cli.__name__, cli.main)
    assert f".venv/bin/{next(iter(PROJECT['scripts']))} demo" in line(0)


def test_the_line_for_windows_is_the_run_line_with_the_places_of_windows() -> None:
    """``venv`` puts commands into ``Scripts`` there and into ``bin`` elsewhere (docs.python.org, venv); ``py`` is the
    launcher of Windows, whose prompt takes ``&&`` as well."""
    assert line(2) == line(0).replace("python3 -m", "py -3 -m").replace(".venv/bin/", ".venv\\Scripts\\")


def test_every_extra_that_is_installed_is_there() -> None:
    named = {extra for extras in re.findall(r"\.\[([\w,-]+)\]", README) for extra in extras.split(",")}
    assert named == {"group", "live", "live-can", "test", "standalone"} == set(PROJECT["optional-dependencies"])


def test_the_python_that_is_asked_for_is_the_one_that_is_needed() -> None:
    (told,) = re.findall(r"Python (3\.\d+) or newer", README)
    assert PROJECT["requires-python"] == f">={told}"


@pytest.mark.parametrize("typed", sorted(set(re.findall(r"`evenbore\s([^`]+)`", README))))
def test_every_command_that_is_named_is_there(typed: str) -> None:
    command = get_command(cli.cli)
    for word in typed.split():
        if word.startswith("--"):
            assert word in {name for parameter in command.params for name in parameter.opts}, word
        elif not word.isupper():
            command = command.commands[word]  # type: ignore[attr-defined]
