"""A built wheel carries everything that the program needs. That it opens a shop elsewhere is seen by ``.ci/run``."""

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
CARRIED = ("templates", "static", "migrations")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(made)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    (file,) = made.glob("*.whl")
    return file


@pytest.mark.parametrize("folder", CARRIED)
def test_every_file_comes_along(wheel: Path, folder: str) -> None:
    with zipfile.ZipFile(wheel) as held:
        names = set(held.namelist())
    here = {
        f"app/{file.relative_to(ROOT).as_posix()}"
        for file in (ROOT / folder).rglob("*")
        if file.is_file() and "__pycache__" not in file.parts
    }
    assert here
    assert here <= names


def test_nothing_else_comes_along(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as held:
        tops = {name.partition("/")[0] for name in held.namelist()}
    assert {top for top in tops if not top.startswith("evenbore-")} == {"app"}
