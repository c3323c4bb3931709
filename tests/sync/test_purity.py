"""Nothing of web, records or files comes with the numerical core, and every function of it explains itself."""

import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
from collections.abc import Iterator
from types import FunctionType

import pytest

import app.sync

MODULES = sorted(found.name for found in pkgutil.walk_packages(app.sync.__path__, "app.sync."))
KEPT_OUT = {"fastapi", "starlette", "sqlmodel", "sqlalchemy", "sqlite3", "jinja2", "app.shop", "app.web"}


def public_functions() -> Iterator[tuple[str, FunctionType]]:
    """Every function of the core that others may call, by its full name."""
    for name in MODULES:
        for label, thing in vars(importlib.import_module(name)).items():
            if isinstance(thing, FunctionType) and thing.__module__ == name and not label.startswith("_"):
                yield f"{name}.{label}", thing


def test_importing_the_core_brings_no_web_and_no_records() -> None:
    script = f"import sys, importlib; [importlib.import_module(m) for m in {MODULES}]; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True).stdout.split()
    assert "app.sync.engine.plate" in loaded
    assert not KEPT_OUT & set(loaded)


FUNCTIONS = dict(public_functions())


ARRAY = re.compile("ndarray")
SHAPE = re.compile(r"shapes? \(", re.IGNORECASE)
"""How a docstring tells the size of an array: ``shape (..., bores)``, ``shape (n,)``, ``shape (...)`` for any."""


def parts(function: FunctionType) -> tuple[str, str]:
    """The docstring of a function without its section on parameters, and that section on one line."""
    said = inspect.getdoc(function) or ""
    found = re.search(r"^Parameters: (.*?)(?:\n\n|\Z)", said, re.DOTALL | re.MULTILINE)
    return (said.replace(found[0], ""), " ".join(found[1].split())) if found else (said, "")


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_docstring_tells_of_the_parameters_there_are(name: str) -> None:
    summary, told = parts(FUNCTIONS[name])
    assert summary
    parameters = list(inspect.signature(FUNCTIONS[name]).parameters)
    assert [each for each in parameters if f"``{each}``" not in told] == []
    opened = re.findall(r"(?:^|; |\. )``(\w+)``", told)
    assert opened == [each for each in parameters if each in opened], "names that are not there, or another order"


def arrays(name: str) -> list[str]:
    """What a function takes and returns that is an array."""
    return [each for each, kind in FUNCTIONS[name].__annotations__.items() if ARRAY.search(str(kind))]


@pytest.mark.parametrize("name", [name for name in FUNCTIONS if arrays(name)])
def test_every_docstring_states_the_shapes_of_arrays(name: str) -> None:
    summary, told = parts(FUNCTIONS[name])
    clauses = re.split(r";|\. ", told)
    for each in arrays(name):
        where = summary if each == "return" else next(clause for clause in clauses if f"``{each}``" in clause)
        assert SHAPE.search(where), each
