"""What holds for the form of the program: sizes, names, and what stands in which folder.

Exceptions are lists that may only shrink: a test also fails when something listed no longer needs to be.
"""

import ast
import re
import subprocess
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
APP, TESTS, STATIC = ROOT / "app", ROOT / "tests", ROOT / "static"

MOST_MODULES = 15
"""Modules of one folder, ``__init__.py`` among them."""

MOST_LINES = 400
"""Lines of a module, a script or a style sheet, docstrings and blank lines among them."""

MOST_FUNCTION_LINES = 60

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "app", "templates", "static", "migrations", "tests"}

CROWDED: set[str] = set()
LONG: set[str] = set()
LONG_FUNCTIONS: set[str] = set()

SHAPES_OF_FILES = re.compile(r"app/shop/exchange/versions/v\d+\.py")
"""What is in an engine's file is named as the thing it is a copy of, version by version."""

SHAPES_OF_THE_INTERFACE = {"BladeReset", "Coupler"}
"""In ``app/web/api``: the JSON of the class of that name in ``app.sync``."""


@cache
def parsed(file: Path) -> ast.Module:
    """The syntax tree of a module."""
    return ast.parse(file.read_text())


def modules(folder: Path) -> list[Path]:
    """Every module below a folder."""
    return sorted(folder.rglob("*.py"))


def named(file: Path) -> str:
    """A file as it is written in this module: from the top of the repository."""
    return file.relative_to(ROOT).as_posix()


def functions(file: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function and method of a module."""
    for node in ast.walk(parsed(file)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def test_no_folder_is_crowded() -> None:
    folders: dict[str, int] = defaultdict(int)
    for file in modules(APP):
        folders[named(file.parent)] += 1
    assert {folder for folder, count in folders.items() if count > MOST_MODULES} == CROWDED


def test_no_module_is_long() -> None:
    files = [*modules(APP), *modules(TESTS), *STATIC.glob("*.css"), *STATIC.glob("*.js")]
    assert {named(file) for file in files if len(file.read_text().splitlines()) > MOST_LINES} == LONG


def test_no_function_is_long() -> None:
    long = {
        f"{named(file)} {function.name}"
        for file in [*modules(APP), *modules(TESTS)]
        for function in functions(file)
        if (function.end_lineno or 0) - function.lineno >= MOST_FUNCTION_LINES
    }
    assert long == LONG_FUNCTIONS


@pytest.mark.parametrize("folder", sorted({named(file.parent) for file in modules(APP)}))
def test_every_package_says_in_one_sentence_what_belongs_there(folder: str) -> None:
    """How it is extended may follow in a paragraph of its own."""
    said = (ast.get_docstring(parsed(ROOT / folder / "__init__.py")) or "").partition("\n\n")[0]
    assert said.endswith(".")
    assert len(re.findall(r"[.!?](?:\s|$)", said)) == 1, said


def test_the_top_level_holds_nothing_else() -> None:
    if not (ROOT / ".git").exists():
        pytest.skip("only a checkout tells what belongs to it")
    listed = ("git", "ls-files", "--cached", "--others", "--exclude-standard")
    files = subprocess.run(listed, cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines()
    top = {file.split("/")[0] for file in files}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


def test_a_class_name_means_one_thing() -> None:
    places: dict[str, list[str]] = defaultdict(list)
    for file in modules(APP):
        if SHAPES_OF_FILES.fullmatch(named(file)):
            continue
        for node in parsed(file).body:
            if isinstance(node, ast.ClassDef):
                places[node.name].append(named(file))
    assert {name for name, files in places.items() if len(files) > 1} == SHAPES_OF_THE_INTERFACE
    for name in SHAPES_OF_THE_INTERFACE:
        assert [file.split("/")[1] for file in places[name]] == ["sync", "web"], name


def test_a_style_is_made_in_one_sheet() -> None:
    """Pages take all sheets together, so that a class that is made in two is changed by the later one."""
    made: dict[str, list[str]] = defaultdict(list)
    for sheet in sorted((ROOT / "static").glob("*.css")):
        bare = re.findall(r"^((?:\.[\w-]+(?:, )?)+) \{$", sheet.read_text(), re.MULTILINE)
        for name in {name for names in bare for name in names.split(", ")}:
            made[name].append(sheet.name)
    assert len(made) > 200
    assert {name: sheets for name, sheets in made.items() if len(sheets) > 1} == {}


def imported(file: Path) -> Iterator[str]:
    """Every module of ours that a module imports, wherever in it."""
    for node in ast.walk(parsed(file)):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{name.name}" for name in node.names)
        elif isinstance(node, ast.Import):
            yield from (name.name for name in node.names)


def test_what_tests_share_is_in_helper_modules() -> None:
    """No module of tests is imported by another, nor is conftest, which pytest loads by itself."""
    shared = {
        f"{named(file)} imports {module}"
        for file in modules(TESTS)
        for module in imported(file)
        if re.match(r"tests\..*\b(test_\w+|conftest)$", module) and (ROOT / f"{module.replace('.', '/')}.py").exists()
    }
    assert shared == set()


def test_the_program_does_not_import_its_tests() -> None:
    wrong = {named(file) for file in modules(APP) for module in imported(file) if module.split(".")[0] == "tests"}
    assert wrong == set()
