"""Every text that a person reads, wherever it is: messages, safety messages, the marked text of templates, what
describes the JSON interface; and what programmers read beside the code."""

import ast
import importlib
import io
import pkgutil
import re
import tokenize
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

import app.wording
from app import places
from app.web.api.interface import document
from app.wording.message import Message

ROOT = Path(next(iter(app.__path__)))

TAGS = re.compile(r"{#.*?#}|{%.*?%}|{{.*?}}", re.DOTALL)
MARKED = re.compile(r"""\b_\(\s*("(?:[^"\\]|\\.)*"|'(?:[^'\\]|\\.)*')""")
ATTRIBUTES = ("aria-label", "title", "placeholder", "alt")
NAMES = re.compile(r"``[^`]*``|`[^`]*`|^\s*>>> .*(\n(?!\s*(>>>|$)).*)*", re.MULTILINE)
"""Names of the code inside a text for programmers, and examples with what they answer."""
PUBLISHED = re.compile(r"shop/exchange/versions/v\d")
"""Modules whose docstrings are part of a schema that was handed out: they stay as they are."""


class Text(NamedTuple):
    """One text and where it is."""

    where: str
    text: str


def modules() -> Iterator[ModuleType]:
    """The modules of words."""
    for found in pkgutil.walk_packages(app.wording.__path__, "app.wording."):
        yield importlib.import_module(found.name)


def messages() -> Iterator[tuple[str, Message]]:
    """Every message that a module of words holds by a name of its own, in a table, or in another value."""
    seen: set[int] = set()
    for module in modules():
        for name, value in vars(module).items():
            if not name.startswith("__"):
                for message in _inside(value, seen):
                    yield f"{module.__name__}.{name}", message


def _inside(value: object, seen: set[int]) -> Iterator[Message]:
    if id(value) in seen:
        return
    if isinstance(value, Message):
        seen.add(id(value))
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from _inside(one, seen)
    elif isinstance(value, list | tuple | set | frozenset):
        for one in value:
            yield from _inside(one, seen)
    elif is_dataclass(value) and not isinstance(value, type):
        for each in fields(value):
            yield from _inside(getattr(value, each.name), seen)
    elif callable(value) and getattr(value, "__closure__", None):
        for cell in value.__closure__ or ():  # type: ignore[attr-defined]
            yield from _inside(cell.cell_contents, seen)


def texts() -> Iterator[Text]:
    """All of them."""
    for where, message in messages():
        yield Text(where, message.text)
        if message.many:
            yield Text(where, message.many)
    for file in sorted(places.templates().rglob("*.html")):
        yield from of_template(file)


def of_template(file: Path) -> Iterator[Text]:
    """The text of a template: between tags, in attributes that are read out, and what is marked inside expressions."""
    where = str(file.relative_to(places.templates()))
    source = file.read_text()
    for marked in MARKED.findall(source):
        yield Text(where, marked[1:-1])
    reader = _Reader()
    reader.feed(TAGS.sub(" ", source))
    for text in reader.found:
        yield Text(where, text)


def of_interface() -> Iterator[Text]:
    """What the document of the JSON interface says of itself, names of fields left out."""
    yield from _described(document(), "interface")


def _described(node: object, where: str) -> Iterator[Text]:
    if isinstance(node, list):
        for one in node:
            yield from _described(one, where)
    elif isinstance(node, dict):
        for name, value in node.items():
            if name in ("description", "summary") and isinstance(value, str):
                yield Text(f"{where}/{name}", NAMES.sub(" ", value))
            else:
                yield from _described(value, f"{where}/{name}")


def of_code() -> Iterator[Text]:
    """The docstrings and comments of the program, names of the code left out."""
    for file in sorted(ROOT.rglob("*.py")):
        name = file.relative_to(ROOT).as_posix()
        if PUBLISHED.match(name):
            continue
        source = file.read_text()
        for node in ast.walk(ast.parse(source)):
            match node:
                case ast.Expr(value=ast.Constant(value=str(text))):
                    yield Text(f"{name}:{node.lineno}", " ".join(NAMES.sub(" ", text).split()))
        for token in tokenize.generate_tokens(io.StringIO(source).readline):
            if token.type == tokenize.COMMENT:
                yield Text(f"{name}:{token.start[0]}", NAMES.sub(" ", token.string))


class _Reader(HTMLParser):
    """Collects text nodes and the attributes that are read out; style and script are neither."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._silent += tag in ("style", "script")
        self.found += [value for name, value in attrs if name in ATTRIBUTES and value and value.strip()]

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag in ("style", "script")

    def handle_data(self, data: str) -> None:
        if not self._silent and data.strip():
            self.found.append(" ".join(data.split()))
