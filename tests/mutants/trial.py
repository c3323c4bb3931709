"""One change tried: the program with it is imported in a process of its own and the tests that reach it are run."""

import ast
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import os
import sys
import types
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import pytest

from tests.mutants.changes import Change, changed, changes
from tests.mutants.forked import QUIET, forked
from tests.mutants.reach import ROOT, Reach, Witness

FIRST = 12
"""How many tests are run before the others are collected at all."""

BUDGET = 20.0
"""Seconds of tests, as they took unchanged, that one change is given."""

SLACK = 15
"""CPU seconds that starting takes at most; tests may take three times what they took before."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """The change of that ``number`` in a ``file``, told from the top of the repository."""

    file: str
    number: int

    @property
    def module(self) -> str:
        """The name it is imported by."""
        return self.file.removesuffix(".py").replace("/", ".").removesuffix(".__init__")

    @property
    def change(self) -> Change:
        """What it changes."""
        return changes(ast.parse(self.source))[self.number]

    @property
    def source(self) -> str:
        """The module as it is."""
        return (ROOT / self.file).read_text(encoding="utf-8")

    def __str__(self) -> str:
        return f"{self.file}:{self.change.said}"


class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Finds one module, and loads it with its change made."""

    def __init__(self, mutant: Mutant) -> None:
        self.mutant = mutant

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: types.ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if fullname != self.mutant.module:
            return None
        file = ROOT / self.mutant.file
        inner = [str(file.parent)] if file.name == "__init__.py" else None
        return importlib.util.spec_from_file_location(fullname, file, loader=self, submodule_search_locations=inner)

    def exec_module(self, module: types.ModuleType) -> None:
        file = str(ROOT / self.mutant.file)
        exec(compile(changed(self.mutant.source, self.mutant.number), file, "exec"), vars(module))


def witnesses(mutant: Mutant, reach: Reach) -> list[Witness]:
    """The tests that it is given: the narrowest, as many as fit into ``BUDGET``."""
    change, chosen, seconds = mutant.change, [], 0.0
    for test in reach.of(mutant.file, change.lines, change.names):
        if seconds + test.seconds <= BUDGET:
            chosen.append(test)
            seconds += test.seconds
    return chosen


def killed(mutant: Mutant, tests: Sequence[Witness]) -> bool:
    """Whether a test fails, or does not end, with the change made."""
    for part in (tests[:FIRST], tests[FIRST:]):
        limit = SLACK + round(3 * sum(test.seconds for test in part))
        if part and forked(partial(run, mutant, [test.name for test in part]), limit) != 0:
            return True
    return False


def run(mutant: Mutant, names: Sequence[str]) -> int:
    """The exit code of pytest for tests of those ``names``, in this process, with the change made."""
    os.environ["CI"] = "true"
    sys.meta_path.insert(0, Changed(mutant))
    importlib.import_module(mutant.module)
    return pytest.main([*QUIET, "-p", "no:playwright", "-x", *names])
