"""No message outgrows the room it has, even with the longest values that can be put in."""

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from types import ModuleType
from typing import Any

import pytest

from app.shop.assessment.codes import StepReason
from app.sync.banks.banks import Extra
from app.sync.banks.link_hypotheses import Cause
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import BoreVerdict
from app.sync.planning.advice import AdviceReason
from app.wording.message import Message, say
from app.wording.reasons import TABLES
from app.wording.work import adjusters, advice, bank_balance, linkage, next_step, reading_page, verdicts

MODULES = (adjusters, advice, bank_balance, linkage, next_step, reading_page, verdicts)
LONGEST: dict[str, Any] = {
    "bank": "B",
    "early": "B",
    "fast": "B",
    "bore": 12,
    "near": 11,
    "far": 12,
    "bores": "11 and 12",
    "count": 12,
    "total": 12,
    "round": 12,
    "turns": "1\u00a015/16\u00a0turns",
    "flats": "2¼\u00a0flats",
    "degrees": "12.5",
    "feeler": "0.0045\u00a0in",
    "first": "0.0045\u00a0in",
    "second": "0.0015\u00a0in",
    "opening": "0.0305\u00a0in",
    "tolerance": "0.46\u00a0kg/h",
    "probability": "99\u00a0%",
    "gap": "100\u00a0%",
    "older": "12.75 at 14:05",
    "newer": "12.50 at 14:06",
    "value": "12.75",
    "phase": "part-throttle bank balance",
    "name": "Foreman of the Yard",
    "adjuster": "bypass screw 12",
    "title": "Turn coupler screw 11–12 out 1/8\u00a0turn",
}
"""The longest of each value on an engine of twelve bores."""


def found_in(thing: object) -> Iterator[Message]:
    """Every message in a module, table or tuple."""
    if isinstance(thing, Message):
        yield thing
    elif isinstance(thing, ModuleType):
        for one in vars(thing).values():
            if one is not TABLES and not isinstance(one, ModuleType):
                yield from found_in(one)
    elif isinstance(thing, dict):
        for one in thing.values():
            yield from found_in(one)
    elif isinstance(thing, tuple):
        for one in thing:
            yield from found_in(one)
    elif is_dataclass(thing) and not isinstance(thing, type):
        for field in fields(thing):
            yield from found_in(getattr(thing, field.name))


MESSAGES = list(dict.fromkeys(message for module in MODULES for message in found_in(module)))
LIMITED = [message for message in MESSAGES if message.limit]


def test_the_messages_of_the_tables_were_found() -> None:
    assert adjusters.ADJUSTERS["stop"].title.more in LIMITED
    assert bank_balance.EXTRAS[Extra.AGAIN].reason in LIMITED


@pytest.mark.parametrize("message", LIMITED, ids=lambda message: message.text[:40])
def test_a_message_fits_with_its_longest_values(message: Message) -> None:
    for count in (1, 12):
        said = say(message, **{**LONGEST, "count": count})
        assert len(said) <= message.limit, said


@pytest.mark.parametrize("enum", [AdviceReason, StepReason, Cause, BoreVerdict, Conformity])
def test_every_code_has_words(enum: Any) -> None:
    assert set(TABLES[enum]) == set(enum)


def test_every_extra_has_a_title_and_a_reason() -> None:
    assert set(bank_balance.EXTRAS) == set(Extra)


@pytest.mark.parametrize(
    "message",
    [one for one in MESSAGES if one.limit in (advice.REASON, advice.TITLE)],
    ids=lambda message: message.text[:40],
)
def test_a_title_has_no_stop_and_a_sentence_has_one(message: Message) -> None:
    assert message.text.endswith(".") == (message.limit == advice.REASON)


FORBIDDEN = re.compile(
    r"\b(blades?|window|wide|tight|nobody|somebody|whoever|stands?|by itself|anew|alike|meanwhile|thou|nudge|slop)\b"
)


@pytest.mark.parametrize("message", MESSAGES, ids=lambda message: message.text[:40])
def test_a_message_uses_the_words_of_the_glossary(message: Message) -> None:
    assert not FORBIDDEN.search(f"{message.text} {message.many}".lower())
