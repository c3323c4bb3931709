"""Constants that something is judged by, with value, unit and source: ``python -m tests.sources``."""

import ast
import importlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from numbers import Real
from pathlib import Path
from typing import Any

import app

APP = Path(app.__file__).parent
ROOTS = ("sync", "shop/procedure", "shop/assessment", "shop/record", "shop/queries")
"""The folders that judge: the core, the rules of the phases, what is judged of a visit, how a meter repeats, and
across engines."""

JUDGED = "our judgement"
"""What says of a figure that it is chosen here, whatever published band it was chosen in."""

KINDS = re.compile(
    r"published|common practice, no published source|from memory|by definition|ISO \d+|any (?:table|gas dynamics text)"
)
"""What else says where a figure comes from."""

PUBLISHED = re.compile(r"published|ISO \d+")

UNIT = re.compile(r"\[([^\]]+)\]")


@dataclass(frozen=True, slots=True)
class Constant:
    """A number of a module, or a group of them, with what is said of it."""

    module: str
    name: str
    value: Any
    said: str

    @property
    def unit(self) -> str:
        """The unit, empty for a bare number."""
        found = UNIT.search(self.said)
        return found.group(1) if found else ""

    @property
    def source(self) -> str:
        """The kind of source named, empty where none is."""
        found = KINDS.search(self.said)
        return JUDGED if JUDGED in self.said else found.group(0) if found else ""

    @property
    def reference(self) -> str:
        """What is said of a figure that was published or is a standard's; empty for others."""
        return self.said if PUBLISHED.fullmatch(self.source) else ""


def constants() -> Iterator[Constant]:
    """The module-level numbers of what judges, in the order of files and lines; exact units are not among them."""
    for path in sorted(path for root in ROOTS for path in (APP / root).rglob("*.py")):
        name = ".".join(("app", *path.relative_to(APP).with_suffix("").parts))
        if path.name not in ("__init__.py", "units.py"):
            yield from of_module(name, path.read_text(encoding="utf-8"))


def of_module(module: str, text: str) -> Iterator[Constant]:
    """The module-level numbers of one module, by its name and its text."""
    lines, body = text.splitlines(), ast.parse(text).body
    values = vars(importlib.import_module(module))
    for at, statement in enumerate(body):
        names = _names(statement)
        if not names or not all(_is_number(values[name]) for name in names):
            continue
        after = body[at + 1] if at + 1 < len(body) else None
        said = _comment(lines, statement)
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) and isinstance(after.value.value, str):
            said = f"{said} {after.value.value}"
        for name in names:
            yield Constant(module, name, values[name], " ".join(said.split()))


def _names(statement: ast.stmt) -> list[str]:
    targets = statement.targets if isinstance(statement, ast.Assign) else [getattr(statement, "target", None)]
    found = []
    for target in targets:
        each = target.elts if isinstance(target, ast.Tuple) else [target]
        found += [one.id for one in each if isinstance(one, ast.Name)]
    return [name for name in found if name.isupper()]


def _is_number(value: object) -> bool:
    if isinstance(value, dict):
        return bool(value) and all(map(_is_number, value.values()))
    if isinstance(value, tuple):
        return bool(value) and all(map(_is_number, value))
    return isinstance(value, Real) and not isinstance(value, bool)


def _comment(lines: list[str], statement: ast.stmt) -> str:
    """The comment on its lines, and that above it or above the block of assignments it stands in."""
    first, last = statement.lineno - 1, (statement.end_lineno or statement.lineno) - 1
    said = [line.split("  # ", 1)[1] for line in lines[first : last + 1] if "  # " in line]
    while first > 0 and lines[first - 1].strip():
        first -= 1
        if lines[first].startswith("#"):
            said.insert(0, lines[first].lstrip("# "))
        elif lines[first].rstrip().endswith('"""'):
            break
    return " ".join(said)


def main() -> None:
    """Print the table."""
    for one in constants():
        value = f"{one.value:.6g}" if isinstance(one.value, float) else str(one.value)
        where = f"{one.source or '-'}{': ' * bool(one.reference)}{one.reference}"
        print(f"{one.module.removeprefix('app.sync.'):28} {one.name:26} {value:>14} {one.unit:10} {where}")


if __name__ == "__main__":
    main()
