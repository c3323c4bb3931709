"""Sentences are in ``app/wording`` and nowhere else: no other module holds a literal of words for a person.

What is not for a person is told by where it is: docstrings, statements for the database, errors for programmers, lines
of the log, and the description of the JSON interface, which is reference for programmers beside what it describes.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import app

ROOT = Path(next(iter(app.__path__)))
WORDS = re.compile(r"[A-Za-z]{2,}[,.:;]? [A-Za-z]{2,}")
STATEMENT = re.compile(
    r"\s*(SELECT|INSERT|UPDATE|DELETE|CREATE|ALTER|DROP|SET|GRANT|PRAGMA|FROM|WHERE|WITH|ORDER|JOIN|BEGIN|UNION)\b"
)
PROGRAMMERS = re.compile(r"^((Value|Type|Key|Lookup|Assertion|Runtime|NotImplemented)Error|\w*Warning)$")
LOGGED = ("debug", "info", "warning", "error", "exception", "critical")

PLACES: dict[str, str] = {
    "web/api": "the description of the interface",
    "web/live/doors": "the description of the interface",
    "wording": "the words themselves",
    "shop/exchange/versions/v": "the description of engine files",
    "shop/exchange/tables": "the data dictionary of the tables",
    "shop/store/both/migrating": "statements that make tables",
    "shop/queries/activity": "pieces of a statement, table by table",
    "shop/demo": "invented engines, complaints and people of the demonstration",
}
"""Folders whose literals are something else, and what."""

CODES = frozenset(
    {
        *("cu in", "kPa abs.", "inHg abs.", "mbar abs."),
        *("test cell", "two banks", "oil pressure at the start", "oil pressure when hot", "taken back"),
        *("stop screw", "throttle sensor", "intake or air filter", "not even", "too close to call"),
        *("lets air past", "turns plates", "off idle", "too close", "no end"),
    }
)
"""Units, and codes of two words that are stored or compared, never shown: each has words of its own."""

KNOWN: dict[str, frozenset[str]] = {
    "live/sources/obd.py": frozenset({"NO DATA"}),
    "shop/commands/engines.py": frozenset({"as registered"}),
    "shop/commands/meters.py": frozenset({"this program's estimate until a repeatability study"}),
    "shop/commands/readings.py": frozenset({"Set aside: another value of this bore counts"}),
    "shop/store/postgres/opening.py": frozenset({"^connection failed: "}),
    "shop/exchange/rows.py": frozenset({"another shop's"}),
    "web/context.py": frozenset({r'<span class="unbroken">\g<0></span>'}),
    "web/error_responses.py": frozenset({"Content Too Large", "Unprocessable Content"}),
    "web/security/programs.py": frozenset({'Bearer realm="evenbore"'}),
    "web/presenters/paper/edge.py": frozenset({"@page handover{@bottom-left{content:"}),
    "web/pages/shop/offline.py": frozenset({'const VERSION = "'}),
}
"""Literals of a module that are stored as they were, or belong to a protocol, a script or markup."""

TECHNICAL = re.compile(
    r"^(text/|attachment;|<!doctype|\"><meta)|SELECT|LIKE|ORDER BY|WHERE|IS NULL|NOT EXISTS|IN \(|AND "
    r"|(ABLE TRIGGER|INTO|RETURNING) "
)
"""Headers, markup without words, and pieces of statements."""


def literals(file: Path) -> Iterator[str]:
    """The literals of a module that may be words for a person."""
    tree = ast.parse(file.read_text())
    passed: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            passed.add(node.value)
        called = _called(node)
        if isinstance(node, ast.Call) and (PROGRAMMERS.match(called) or called in LOGGED):
            passed.update(ast.walk(node))
        if isinstance(node, ast.Assert) and node.msg is not None:
            passed.update(ast.walk(node.msg))
    for node in ast.walk(tree):
        text = node.value if isinstance(node, ast.Constant) and node not in passed else None
        if isinstance(text, str) and WORDS.search(text) and not STATEMENT.match(text):
            yield text


def _called(node: ast.AST) -> str:
    match node:
        case ast.Call(func=ast.Name(id=name)) | ast.Call(func=ast.Attribute(attr=name)):
            return name
    return ""


def outside() -> list[str]:
    """Every literal of words that is not where words belong."""
    found = []
    for file in sorted(ROOT.rglob("*.py")):
        name = file.relative_to(ROOT).as_posix()
        if not name.startswith(tuple(PLACES)):
            known = CODES | KNOWN.get(name, frozenset())
            found += [f"{name}: {text}" for text in literals(file) if not (text in known or TECHNICAL.search(text))]
    return found


def test_no_sentence_is_outside_the_wording() -> None:
    assert outside() == []


def test_a_sentence_would_be_found(tmp_path: Path) -> None:
    file = tmp_path / "module.py"
    file.write_text(
        '"""Not this one."""\nX = f"Turn it {1} in now"\nraise ValueError("nor this one")\nY = "SELECT a FROM b"\n'
    )
    assert list(literals(file)) == ["Turn it ", " in now"]
