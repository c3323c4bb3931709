"""The style sheets and the scripts of the pages, each kind handed out as one file, so that a first page asks for few.

They are written as many small ones. A sheet may change what one before it says, so their order is kept here; a script
comes after those that it imports, in a scope of its own. Comments and indents stay behind: a third of what they weigh.
"""

import re
from collections.abc import Iterator
from functools import cache

from app import places

SHEETS = (
    "tokens.css",
    "pieces.css",
    "verdict.css",
    "engine.css",
    "visit.css",
    "visit_small.css",
    "ask.css",
    "rest.css",
    "linkage.css",
    "pages.css",
    "board.css",
    "first.css",
    "past.css",
    "forms.css",
    "steps.css",
    "steps_ask.css",
    "checklist.css",
    "sheet.css",
    "handover.css",
    "worksheet.css",
    "practice.css",
    "stopped.css",
    "phone_top.css",
    "phone.css",
    "live.css",
)
SCRIPTS = (
    "page.js",
    "keypad.js",
    "digits.js",
    "status_bar.js",
    "follow.js",
    "desk.js",
    "arm.js",
    "just_saved.js",
    "refresh.js",
    "take.js",
)

IMPORT = re.compile(r'^import (?:\{([^}]+)\}|\* as (\w+)) from "\./(\w+)\.js";$', re.MULTILINE)
NOT_SENT = re.compile(r"^(?:\s+|/\*(?:(?!\*/).)*\*/|//[^\n]*)+", re.MULTILINE | re.DOTALL)
"""What stands before the code of a line: empty lines, comments, its indent. A string may not run over lines."""
EXPORT = re.compile(r"^export\s(?=(?:async\s)?(?:function|const)\s(\w+))", re.MULTILINE)


@cache
def joined() -> dict[str, tuple[str, str]]:
    """What each kind says and its media type, by the name under which a page asks for it."""
    sheets = "\n".join(_text(name) for name in SHEETS)
    scripts = "\n".join(_scoped(name) for name in _in_order())
    return {"all.css": (_lean(sheets), "text/css"), "all.js": (_lean(scripts), "text/javascript")}


def _lean(text: str) -> str:
    return NOT_SENT.sub("", text)


def _text(name: str) -> str:
    return (places.static() / name).read_text(encoding="utf-8")


def _in_order() -> Iterator[str]:
    """Every script that a page needs, after those that it imports, which it may not do in a circle."""
    seen: set[str] = set()

    def take(name: str) -> Iterator[str]:
        if name in seen:
            return
        seen.add(name)
        for _, _, imported in IMPORT.findall(_text(name)):
            yield from take(f"{imported}.js")
        yield name

    for script in SCRIPTS:
        yield from take(script)


def _scoped(name: str) -> str:
    """A script in a function that hands out what it exports. Raises ValueError on any other import or export."""
    source = _text(name)
    exports = ", ".join(EXPORT.findall(source))
    body = IMPORT.sub(lambda found: f"const {found[2] or f'{{{found[1]}}}'} = ${found[3]};", EXPORT.sub("", source))
    if left := re.search(r"^(?:import|export)\b.*", body, re.MULTILINE):
        raise ValueError(f"{name}: {left[0]}")
    return f"const ${name.removesuffix('.js')} = (() => {{\n{body}return {{ {exports} }};\n}})();\n"
