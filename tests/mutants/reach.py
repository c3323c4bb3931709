"""Which test passes through which line of the program, and how long it takes."""

import ast
import hashlib
import json
import os
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import coverage
import pytest

from tests.mutants.changes import defined
from tests.mutants.forked import QUIET, forked

ROOT = Path(__file__).parents[2]
KEPT = ROOT / ".pytest_cache" / "reach.json"
FOLDERS = ("app/sync", "tests/sync", "tests/shop", "tests/wording", "tests/web/presenters", "tests/web/api")
SECURITY = "tests/web/security"
AT_ONCE = 40
"""Files of tests that one process runs; what it measured is kept before the next begins."""

DEPTH = 3
"""Over how many constants, each made of the one before, a number is followed to where it is used."""


@dataclass(frozen=True, slots=True)
class Witness:
    """One test: its CPU seconds, and by file the lines that it passed through."""

    name: str
    seconds: float
    lines: Mapping[str, frozenset[int]]

    @property
    def breadth(self) -> int:
        """How many lines it passes through: the fewer, the more it says of each."""
        return sum(map(len, self.lines.values()))


@dataclass(frozen=True)
class Reach:
    """All tests that passed, asked for those that say something of a line."""

    tests: Sequence[Witness]

    def of(self, file: str, lines: Iterable[int], names: Iterable[str]) -> list[Witness]:
        """The tests of a change, the narrowest first: through its ``lines`` of a function, or where what it makes is
        used under its ``names``."""
        found = {at for line in lines for at in self._through.get((file, line), ())} if not names else set()
        wanted, followed = set(names), set(names)
        for _ in range(DEPTH):
            places = [place for name in wanted for place in uses(name)]
            found |= {at for _, place in places for at in self._through.get(place, ())}
            wanted = {name for outer, _ in places for name in outer} - followed
            followed |= wanted
        return sorted((self.tests[at] for at in found), key=lambda test: (test.breadth, test.name))

    @cached_property
    def _through(self) -> Mapping[tuple[str, int], Sequence[int]]:
        found: dict[tuple[str, int], list[int]] = defaultdict(list)
        for at, test in enumerate(self.tests):
            for file, lines in test.lines.items():
                for line in lines:
                    found[file, line].append(at)
        return found


@cache
def uses(name: str) -> Sequence[tuple[frozenset[str], tuple[str, int]]]:
    """Where the program uses a name: the names that the outermost statement gives, the file and the line."""
    found: list[tuple[frozenset[str], tuple[str, int]]] = []
    for path in sorted((ROOT / "app").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        for statement in ast.parse(text).body if name in text else ():
            for node in ast.walk(statement):
                match node:
                    case ast.Name(id=used, ctx=ast.Load()) | ast.Attribute(attr=used) if used == name:
                        found.append((defined(statement), (path.relative_to(ROOT).as_posix(), node.lineno)))
    return found


def reach(tests: Sequence[str] = (*FOLDERS, SECURITY), kept: Path = KEPT) -> Reach:
    """Run the tests once, or take what is ``kept`` of those whose file, and the program, are as they were."""
    program = _digest(sorted((ROOT / "app").rglob("*.py")))
    files = {file: _digest([ROOT / file]) for file in _files(tests)}
    known = json.loads(kept.read_text()) if kept.exists() else {}
    by_file = known.get("files", {}) if known.get("program") == program else {}
    by_file = {file: by_file[file] for file in files if by_file.get(file, {}).get("digest") == files[file]}
    wanted = [file for file in files if file not in by_file]
    for start in range(0, len(wanted), AT_ONCE):
        some = wanted[start : start + AT_ONCE]
        measured = _measured(some)
        by_file |= {file: {"digest": files[file], "tests": measured.get(file, [])} for file in some}
        kept.parent.mkdir(exist_ok=True)
        kept.write_text(json.dumps({"program": program, "files": by_file}))
    return Reach(
        [
            Witness(name, seconds, {file: frozenset(at) for file, at in lines.items()})
            for kept_file in by_file.values()
            for name, seconds, lines in kept_file["tests"]
        ]
    )


def _files(tests: Sequence[str]) -> list[str]:
    """The files of tests, and the modules of the program with examples in them."""
    found: list[Path] = []
    for one in tests:
        path = ROOT / one
        pattern = "*.py" if one.startswith("app") else "test_*.py"
        found += sorted(path.rglob(pattern)) if path.is_dir() else [path]
    return [path.relative_to(ROOT).as_posix() for path in found if path.name != "__init__.py"]


def _digest(paths: Sequence[Path]) -> str:
    return hashlib.sha256(b"".join(path.read_bytes() for path in paths)).hexdigest()


class Recorder:
    """A pytest plugin that tells coverage which test runs, and keeps the CPU seconds of those that pass."""

    def __init__(self, seen: coverage.Coverage) -> None:
        self.seen = seen
        self.seconds: dict[str, float] = {}
        self.passed: set[str] = set()
        self.failed: set[str] = set()

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        self.seen.switch_context(item.nodeid)
        self.seconds[item.nodeid] = -time.process_time()

    @pytest.hookimpl(trylast=True)
    def pytest_runtest_teardown(self, item: pytest.Item) -> None:
        self.seconds[item.nodeid] += time.process_time()

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.add(report.nodeid)
        elif report.when == "call" and report.passed:
            self.passed.add(report.nodeid)


def _measured(files: Sequence[str]) -> dict[str, list[tuple[str, float, dict[str, list[int]]]]]:
    """By file of tests: name, seconds and lines of each that passed."""
    with tempfile.TemporaryDirectory() as folder:
        told = Path(folder) / "told.json"
        forked(lambda: _measure(files, told))
        found: dict[str, list[tuple[str, float, dict[str, list[int]]]]] = json.loads(told.read_text())
    return found


def _measure(files: Sequence[str], told: Path) -> int:
    os.environ["CI"] = "true"  # examples drawn by hypothesis are then the same each time
    seen = coverage.Coverage(data_file=None, source=[str(ROOT / "app")], config_file=False)
    recorder = Recorder(seen)
    seen.start()
    pytest.main([*QUIET, "-m", "not browser and not slow", *files], plugins=[recorder])
    seen.stop()
    lines: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    data = seen.get_data()
    for file in data.measured_files():
        short = Path(file).relative_to(ROOT).as_posix()
        for line, contexts in data.contexts_by_lineno(file).items():
            for context in filter(None, contexts):
                lines[context][short].append(line)
    by_file: dict[str, list[tuple[str, float, dict[str, list[int]]]]] = defaultdict(list)
    for name in sorted(recorder.passed - recorder.failed):
        by_file[name.split("::")[0]].append((name, recorder.seconds[name], lines[name]))
    told.write_text(json.dumps(by_file))
    return 0
