"""The guides say what is there: the tree of DEVELOPERS.md against the real one, packages against pyproject.toml."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parent.parent
GUIDE = (ROOT / "DEVELOPERS.md").read_text()
LONGEST_GUIDE = 8 * 1024


def told() -> set[str]:
    """The folders under app/ that the guide's picture names."""
    picture = GUIDE.split("```")[1]
    inside = picture.split("app/", 1)[1].split("\ntemplates/", 1)[0]
    found: set[str] = set()
    layer = ""
    for line in inside.splitlines():
        names = re.findall(r"(?<![\w/])([a-z_]+)/", line.replace("sync/engine/", ""))
        if line.startswith("  ") and not line.startswith("   ") and names:
            layer = names[0]
            found.add(layer)
            names = names[1:]
        found |= {f"{layer}/{name}" for name in names}
    return found


def test_the_picture_shows_every_folder_of_the_program_and_no_other() -> None:
    app = ROOT / "app"
    packages = {file.parent.relative_to(app) for file in app.rglob("__init__.py")} - {Path()}
    assert told() == {str(one) for one in packages if len(one.parts) <= 2}


def test_the_guide_is_read_in_ten_minutes() -> None:
    assert len(GUIDE.encode()) <= LONGEST_GUIDE


def test_the_guide_says_what_every_package_is_for() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = [*project["dependencies"], *(one for extra in project["optional-dependencies"].values() for one in extra)]
    names = {re.split(r"[<>=\[]", one)[0] for one in wanted}
    table = GUIDE.split("## Packages we use, and why", 1)[1]
    assert {name for name in names if not re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", table)} == set()
