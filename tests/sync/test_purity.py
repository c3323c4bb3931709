"""The brain stays a brain: nothing of web, records or files comes with it, and every function explains itself."""

import importlib
import inspect
import pkgutil
import subprocess
import sys
from collections.abc import Iterator
from types import FunctionType

import pytest

import app.sync

MODULES = sorted(found.name for found in pkgutil.walk_packages(app.sync.__path__, "app.sync."))
KEPT_OUT = {"fastapi", "starlette", "sqlmodel", "sqlalchemy", "sqlite3", "jinja2", "app.shop", "app.web"}


def public_functions() -> Iterator[tuple[str, FunctionType]]:
    """Every function of the brain that others may call, by its full name."""
    for name in MODULES:
        for label, thing in vars(importlib.import_module(name)).items():
            if isinstance(thing, FunctionType) and thing.__module__ == name and not label.startswith("_"):
                yield f"{name}.{label}", thing


def test_importing_the_brain_brings_no_web_and_no_records() -> None:
    script = f"import sys, importlib; [importlib.import_module(m) for m in {MODULES}]; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True).stdout.split()
    assert "app.sync.engine.plate" in loaded
    assert not KEPT_OUT & set(loaded)


FUNCTIONS = dict(public_functions())


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_docstring_names_every_parameter(name: str) -> None:
    said = inspect.getdoc(FUNCTIONS[name]) or ""
    assert said
    assert [each for each in inspect.signature(FUNCTIONS[name]).parameters if f"``{each}``" not in said] == []
