"""Lists that go on for several pages: which part is shown, and the addresses of the other parts, orders and filters."""

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from app.shop.queries.engine_list import EngineOrder
from app.shop.queries.open_visits import OpenVisit, Order, VisitFilter
from app.wording.office import finding

PER_PAGE = 25
BESIDE = 1
"""How many numbers stand either side of the page that is shown, besides the first and the last."""


@dataclass(frozen=True, slots=True)
class Way:
    """A filter, an order or a page that can be chosen: ``href`` leads there, empty for a gap between two numbers."""

    label: str
    href: str
    current: bool
    count: int | None = None
    warns: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """One page of a list: ``first`` is how many entries come before it."""

    page: int
    first: int
    said: str
    pages: tuple[Way, ...]


def part(path: str, asked: Mapping[str, str], count: int, page: int) -> Part:
    """The part of a list of ``count`` entries that a page number asks for: the nearest one that there is."""
    last = max(1, -(-count // PER_PAGE))
    page = min(max(page, 1), last)
    first = (page - 1) * PER_PAGE
    shown = {1, last, *range(page - BESIDE, page + BESIDE + 1)} & set(range(1, last + 1))
    ways: list[Way] = []
    for number in sorted(shown):
        if number - 1 not in shown and number > 1:
            ways.append(Way("…", "", False))
        ways.append(Way(str(number), address(path, {**asked, "page": str(number)}), number == page))
    said = finding.shown(first + 1, min(first + PER_PAGE, count), count) if count else ""
    return Part(page, first, said, tuple(ways) if last > 1 else ())


def filters(
    sorted_in: Mapping[VisitFilter, list[OpenVisit]], asked: Mapping[str, str], current: VisitFilter
) -> tuple[Way, ...]:
    """The filters with how many visits each one shows."""
    return tuple(
        Way(
            finding.filter_label(shown),
            address("/", {**asked, "show": shown, "page": ""}),
            shown is current,
            len(visits),
            warns=shown is VisitFilter.STALE and bool(visits),
        )
        for shown, visits in sorted_in.items()
    )


def orders(path: str, asked: Mapping[str, str], current: Order | EngineOrder) -> tuple[Way, ...]:
    """The orders that a list comes in."""
    return tuple(
        Way(finding.order_label(order), address(path, {**asked, "order": order, "page": ""}), order is current)
        for order in type(current)
    )


def address(path: str, asked: Mapping[str, str]) -> str:
    """An address with what is asked for; what is empty, and the first page, are left out.

    >>> address("/", {"show": "stale", "order": "", "page": "1"})
    '/?show=stale'
    """
    said = {name: value for name, value in asked.items() if value and (name, value) != ("page", "1")}
    return f"{path}?{urlencode(said)}" if said else path
