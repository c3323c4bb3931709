"""The program as a folder that starts on a computer without Python: ``python -m tests.standalone FOLDER``.

PyInstaller builds it, for the system that it is built on (``pip install '.[standalone]'``); then the folder is looked
through for what it must hold, and started. It takes a minute or two, so no test does it; ``.ci/run`` does.
"""

import os
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path

from app.web.kept_files import HTMX

ROOT = Path(__file__).parent.parent
NAME = "evenbore"

PACKAGES = ("app", HTMX[0])
"""What is imported by a name that is put together, or read as files, so that no import tells of it."""

LEFT_OUT = ("hypothesis", "mypy", "pandas", "pytest", "tkinter", "yaml")
"""What a package would use if it were there, and the program never does."""


def carried() -> dict[str, str]:
    """The folders that come with the program, each with its place beside the modules, as the wheel has them."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    places: dict[str, str] = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    return places


def arguments(to: Path, work: Path) -> list[str]:
    """What PyInstaller is told. ``work`` is for what it needs meanwhile."""
    told = ["--noconfirm", "--onedir", "--console", "--log-level", "ERROR", "--name", NAME, "--paths", str(ROOT)]
    told += ["--distpath", str(to), "--workpath", str(work), "--specpath", str(work), "--copy-metadata", NAME]
    for source, place in carried().items():
        told += ["--add-data", f"{ROOT / source}{os.pathsep}{place}"]
    for package in PACKAGES:
        told += ["--collect-submodules", package, "--hidden-import", package]
    told += ["--collect-data", HTMX[0]]
    for package in LEFT_OUT:
        told += ["--exclude-module", package]
    return [*told, str(ROOT / "app" / "server" / "__main__.py")]


def wanted() -> Iterator[Path]:
    """The files that a built folder must hold, as they lie beside the modules."""
    for source, place in carried().items():
        for file in sorted((ROOT / source).rglob("*")):
            if file.is_file() and "__pycache__" not in file.parts:
                yield Path(place) / file.relative_to(ROOT / source)


def missing(built: Path) -> list[Path]:
    """What a built folder lacks."""
    return [file for file in wanted() if not (built / "_internal" / file).is_file()]


def main() -> None:
    """Build the folder, look through it, start the program in it."""
    to = Path(sys.argv[1]).absolute()
    with tempfile.TemporaryDirectory() as work:
        subprocess.run([sys.executable, "-m", "PyInstaller", *arguments(to, Path(work))], check=True, cwd=ROOT)
    built = to / NAME
    if lacking := missing(built):
        sys.exit("Not in the folder: " + ", ".join(map(str, lacking)))
    subprocess.run([sys.executable, "-m", "tests.started", str(built / NAME)], check=True, cwd=ROOT)


if __name__ == "__main__":
    main()
