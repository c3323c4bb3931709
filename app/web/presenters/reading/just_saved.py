"""The strip that says for ten seconds what was just saved, with the one tap that undoes a stray one."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from app.shop.procedure.items import Phase
from app.shop.record.entries import MeterReading
from app.shop.record.rounds import seconds
from app.shop.record.visit_record import VisitRecord
from app.shop.store.idempotency import new_key
from app.web.presenters.drawing import shown
from app.web.presenters.reading.card_actions import here_of
from app.web.presenters.steps import move_words
from app.wording.message import say
from app.wording.work import corrections as words

SHOWN_FOR = 10.0
"""Seconds for which it may be undone from the strip."""

NAMED = re.compile(r"(move|reading)-(\d{1,18})")
"""How the address of a page names what was just saved: its kind and its id."""


@dataclass(frozen=True, slots=True)
class JustSaved:
    """What was saved, and for how many more milliseconds that is shown.

    A move is taken back by a form, with its ``action`` and ``hidden`` fields; a reading is corrected at ``href``.
    """

    words: str
    label: str
    left: int
    href: str = ""
    action: str = ""
    hidden: Mapping[str, str] = field(default_factory=dict)


def just_saved(record: VisitRecord, phase: Phase, named: str, now: str) -> JustSaved | None:
    """What the address of a page of ``phase`` names; None where that is long ago or does not count any more."""
    found = NAMED.fullmatch(named)
    if found is None or record.sign_off is not None:
        return None
    kind, ident = found[1], int(found[2])
    return _move(record, phase, ident, now) if kind == "move" else _reading(record, phase, ident, now)


def _left(at: str, now: str) -> int:
    """Milliseconds that what was saved then is still shown for; 0 or less for none."""
    ago = seconds(now) - seconds(at)
    return round((SHOWN_FOR - max(0.0, ago)) * 1000)


def _move(record: VisitRecord, phase: Phase, ident: int, now: str) -> JustSaved | None:
    move = next((m for m in record.moves if m.ident == ident and m.phase == phase.slug), None)
    if move is None or (left := _left(move.at, now)) <= 0:
        return None
    hidden = {"key": new_key(), "move": str(ident), "by": record.visit.by, "undo": "1"}
    action = f"{here_of(record, phase)}/moves/taken-back"
    said = say(words.SAVED, what=move_words(move, record))
    return JustSaved(said, say(words.UNDO), left, action=action, hidden=hidden)


def _reading(record: VisitRecord, phase: Phase, ident: int, now: str) -> JustSaved | None:
    rounds = [r for r in record.rounds if r.row.phase == phase.slug]
    counting = [r for one in rounds for r in (*one.readings, *one.skipped.values())]
    reading = next((r for r in counting if r.ident == ident), None)
    if reading is None or (left := _left(reading.at, now)) <= 0:
        return None
    skipped = reading.value is None
    message = words.SAVED_SKIP if skipped else words.SAVED_READING
    said = say(message, bore=reading.bore, value=shown(reading.value, record.meter))
    return JustSaved(said, say(words.CORRECT), left, href=corrects_at(record, phase, reading))


def corrects_at(record: VisitRecord, phase: Phase, reading: MeterReading) -> str:
    """Where a reading is corrected: by the keypad while it is what its bore has in the round under way, else in the
    list of what was recorded."""
    here, newest = here_of(record, phase), record.rounds[-1]
    if newest.latest.get(reading.bore) == reading and not record.moved_since(newest):
        return f"{here}/readings?bore={reading.bore}&entry=correct"
    if reading.value is None:
        return f"{here}/readings?bore={reading.bore}"
    return f"{here}/recorded?reading={reading.ident}"
