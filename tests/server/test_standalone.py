"""The folder for a computer without Python carries what the program reads as files or imports by a name."""

import shutil
from itertools import pairwise
from pathlib import Path

import pytest

from app import places
from app.web.kept_files import HTMX
from tests import standalone


def test_every_folder_that_the_program_reads_goes_where_it_is_looked_for(tmp_path: Path) -> None:
    looked_for = {place().name: f"app/{place().name}" for place in (places.templates, places.static, places.migrations)}
    assert standalone.carried() == looked_for


def test_the_packager_is_told_of_every_one_of_them(tmp_path: Path) -> None:
    told = standalone.arguments(tmp_path, tmp_path)
    given = [value for name, value in pairwise(told) if name == "--add-data"]
    root = standalone.ROOT
    assert len(given) == 3
    for name in ("templates", "static", "migrations"):
        assert any(value.startswith(str(root / name)) and value.endswith(f"app/{name}") for value in given)
    collected = [value for name, value in pairwise(told) if name == "--collect-submodules"]
    assert set(collected) == {"app", HTMX[0]}
    assert Path(told[-1]).samefile(root / "app" / "server" / "__main__.py")


@pytest.mark.parametrize(
    "lost", ["app/templates/sheet.html", "app/static/outbox.js", "app/migrations/versions/0001_first_shop.py"]
)
def test_a_file_that_a_built_folder_lacks_is_found(tmp_path: Path, lost: str) -> None:
    for source, place in standalone.carried().items():
        shutil.copytree(standalone.ROOT / source, tmp_path / "_internal" / place)
    assert standalone.missing(tmp_path) == []
    (tmp_path / "_internal" / lost).unlink()
    assert standalone.missing(tmp_path) == [Path(lost)]
