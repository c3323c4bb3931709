"""The edge of printed pages as a style sheet, since only style sheets can count pages."""

import re

from app.wording.language import to_the_customer
from app.wording.message import Message, pattern
from app.wording.office import handover
from app.wording.office.engines import PAGE_OF

KEPT = re.compile(r"[^A-Za-z0-9 .,_-]")
"""What is written as a number in a string of a style sheet."""


def printed_edge(*named: str) -> str:
    """What is printed and whose it is at the head of every page, and the page of how many at its foot (CSS Paged Media
    Module Level 3, margin boxes)."""
    head = ", ".join(part for part in named if part)
    boxes = "".join(
        f"@{place}{{content:{said};font:10pt/1 Evenbore,sans-serif}}"
        for place, said in (("top-left", _string(head)), ("bottom-right", _counted(PAGE_OF)))
    )
    return f"@page{{margin:16mm 12mm 14mm;{boxes}}}"


def sheet_edge(foot: str) -> str:
    """The page of how many, in the customer's language, and beside it the ``foot`` of a handover sheet, where one is
    told."""
    with to_the_customer():
        page = _counted(handover.PAGE)
    beside = f"@page handover{{@bottom-left{{content:{_string(foot)}}}}}" if foot else ""
    return f"@page{{@bottom-right{{content:{page}}}}}{beside}"


def _counted(message: Message) -> str:
    """A sentence with ``page`` of ``pages`` in it, which the browser counts."""
    parts = re.split(r"\{(pages?)\}", pattern(message))
    return " ".join(f"counter({part})" if at % 2 else _string(part) for at, part in enumerate(parts))


def _string(text: str) -> str:
    return '"' + KEPT.sub(lambda sign: f"\\{ord(sign[0]):x} ", text) + '"'
