"""Lint, format and types of the scripts, by Deno's checkers, which come as a wheel and need no network."""

import os
import subprocess
from pathlib import Path

import pytest
from deno import find_deno_bin  # type: ignore[import-untyped]

from app.places import static

CHECKS = Path(__file__).parent / "checks"
"""Settings for the pages and for the worker, whose global names differ, and what else they find there."""

WORKER = static() / "worker.js"
PAGES = sorted(set(static().glob("*.js")) - {WORKER})

PLANTED = "// A mistake in every respect.\nvar planted  = /** @type {number} */ ('a word');\nplanted == 1;\n"


def checked(folder: Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """One check of Deno, with its cache in ``folder``."""
    alone = {"DENO_DIR": str(folder), "DENO_NO_UPDATE_CHECK": "1", "NO_COLOR": "1"}
    command = [find_deno_bin(), *map(str, arguments)]
    return subprocess.run(
        command, check=False, capture_output=True, text=True, timeout=120, env={**os.environ, **alone}
    )


def checks(pages: list[Path]) -> dict[str, tuple[str | Path, ...]]:
    """The arguments of each check of these scripts."""
    config = ("--config", CHECKS / "pages.json")
    return {
        "types": ("check", *config, "--no-remote", *pages),
        "lint": ("lint", *config, *pages),
        "format": ("fmt", "--check", *config, *pages),
    }


@pytest.mark.parametrize("name", checks([]))
def test_the_scripts_of_the_pages(name: str, tmp_path: Path) -> None:
    ended = checked(tmp_path, *checks(PAGES)[name])
    assert ended.returncode == 0, ended.stderr


def test_the_worker(tmp_path: Path) -> None:
    types = checked(tmp_path, "check", "--config", CHECKS / "worker.json", "--no-remote", WORKER)
    assert types.returncode == 0, types.stderr
    for name in ("lint", "format"):
        ended = checked(tmp_path, *checks([WORKER])[name])
        assert ended.returncode == 0, ended.stderr


@pytest.mark.parametrize("name", checks([]))
def test_a_mistake_is_found(name: str, tmp_path: Path) -> None:
    script = tmp_path / "planted.js"
    script.write_text(PLANTED)
    ended = checked(tmp_path / "cache", *checks([script])[name])
    assert ended.returncode == 1, ended
