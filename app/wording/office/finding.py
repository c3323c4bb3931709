"""The board and the list of engines in words, and the words by which layouts, phases and states are searched."""

import re
import unicodedata
from collections.abc import Mapping
from datetime import timedelta
from typing import NamedTuple

from app.shop.queries.engine_list import EngineOrder
from app.shop.queries.open_visits import STALE, Order, VisitFilter
from app.shop.queries.traits import Trait
from app.shop.record.visit_record import PHASE_ORDER
from app.sync.engine.units import MINUTE
from app.wording.message import Message, say
from app.wording.reasons import TABLES, duration
from app.wording.work.phases import phase_title

FILTERS: Mapping[VisitFilter, Message] = {
    VisitFilter.MINE: Message("Mine", note="the visits of the person at this tablet"),
    VisitFilter.UNDER_WAY: Message("Under way", note="visits that something was entered in today"),
    VisitFilter.WAITING: Message("Waiting"),
    VisitFilter.STALE: Message("Stale, over {time}"),
    VisitFilter.ALL: Message("All open"),
}

ORDERS: Mapping[Order, Message] = {
    Order.NEWEST: Message("Last touched first"),
    Order.OLDEST: Message("Longest untouched first"),
    Order.SERIAL: Message("By serial"),
}

ENGINE_ORDERS: Mapping[EngineOrder, Message] = {
    EngineOrder.REGISTERED: Message("Newest first"),
    EngineOrder.VISITED: Message("Last visit first"),
    EngineOrder.SERIAL: Message("By serial"),
    EngineOrder.CUSTOMER: Message("By customer"),
}

TRAITS: Mapping[Trait, tuple[Message, ...]] = {
    Trait.ONE_BANK: (Message("one bank"), Message("1 bank"), Message("in line")),
    Trait.TWO_BANKS: (Message("two banks"), Message("2 banks")),
    Trait.HEAT_SOAKED: (Message("heat-soaked", context="search"), Message("recheck", context="search")),
    Trait.BANK_BALANCE: (Message("bank balance", context="search"),),
    Trait.OPEN: (Message("open visit"), Message("in work")),
    Trait.WAITING: (Message("waiting", context="search"),),
    Trait.STALE: (Message("stale", context="search"),),
}
"""What a person types for a trait; a phase is also typed by its title."""

BORES = Message("{count} bore", many="{count} bores", context="search")


SHOWN = Message("{first} to {last} of {count}")
JUST_NOW = Message("just now", note="a minute ago at most")


TABLES.update({VisitFilter: FILTERS, Order: ORDERS, EngineOrder: ENGINE_ORDERS})  # type: ignore[dict-item]


class Asked(NamedTuple):
    """What was typed into the search box: traits, numbers of bores, and the ``rest`` of the words."""

    traits: frozenset[Trait]
    bores: frozenset[int]
    rest: str


def filter_label(shown: VisitFilter) -> str:
    """The name of a filter."""
    return say(FILTERS[shown], **({"time": age(STALE)} if shown is VisitFilter.STALE else {}))


def age(passed: float) -> str:
    """How long ago something was [s]."""
    if passed < 1.5 * MINUTE:
        return say(JUST_NOW)
    return duration(timedelta(seconds=passed))


def shown(first: int, last: int, count: int) -> str:
    """Which part of a list a page has."""
    return say(SHOWN, first=first, last=last, count=count)


def order_label(order: Order | EngineOrder) -> str:
    """The name of an order."""
    return say(ORDERS[order] if isinstance(order, Order) else ENGINE_ORDERS[order])


def asked(typed: str) -> Asked:
    """What was typed, taken apart; case and accents do not matter.

    >>> asked("first fire two banks coupe").rest, sorted(asked("First fire, two banks").traits)
    ('coupe', [<Trait.FIRST_FIRE: 'first-fire'>, <Trait.TWO_BANKS: 'two-banks'>])
    """
    rest, traits, bores = f" {_plain(typed)} ", set[Trait](), set[int]()
    for words, trait in sorted(_phrases(), key=lambda pair: -len(pair[0])):
        if f" {words} " in rest:
            rest = rest.replace(f" {words} ", " ")
            traits.add(trait)
    for count in range(1, 17):
        if (words := f" {_plain(say(BORES, count=count))} ") in rest:
            rest = rest.replace(words, " ")
            bores.add(count)
    return Asked(frozenset(traits), frozenset(bores), rest.strip() if traits or bores else typed)


def _phrases() -> list[tuple[str, Trait]]:
    found = [(_plain(say(words)), trait) for trait, several in TRAITS.items() for words in several]
    return found + [(_plain(phase_title(trait)), trait) for trait in Trait if trait in PHASE_ORDER]


def _plain(typed: str) -> str:
    bare = "".join(c for c in unicodedata.normalize("NFKD", typed) if not unicodedata.combining(c))
    return " ".join(re.split(r"[\s,;\-]+", bare.casefold())).strip()
