"""A visit's cross-check on the handover sheet: what a customer must know, and every entry for the workshop."""

from dataclasses import dataclass
from itertools import groupby

from app.shop.cross_check.weighing import CrossCheck
from app.sync.diagnosis.causes import EngineFault
from app.sync.diagnosis.diagnose import Verdict
from app.web.presenters.filters import clock
from app.wording.causes import on_paper, tests
from app.wording.message import say
from app.wording.quantities import listed


@dataclass(frozen=True, slots=True)
class CausesFound:
    """What was repaired, what is still open (empty for nothing), and the entries, a line a test."""

    repaired: tuple[str, ...] = ()
    still_open: str = ""
    entries: tuple[str, ...] = ()


def causes_found(told: CrossCheck | None) -> CausesFound:
    """The cross-check of a visit on paper; nothing where none was made."""
    if told is None or not told.made:
        return CausesFound()
    repaired = tuple(
        on_paper.repaired(EngineFault(row.word), row.bore, row.bank) for row in told.repaired if row.word is not None
    )
    return CausesFound(repaired, _still_open(told), _entries(told))


def _still_open(told: CrossCheck) -> str:
    if not told.rows:
        return ""
    diagnosis = told.diagnosis
    first = diagnosis.standing[0]
    named = on_paper.still_open(diagnosis.verdict, first.cause, *told.place_of(first))
    if named or told.repaired:
        return named
    if diagnosis.verdict is Verdict.NONE_FOUND:
        return say(on_paper.NO_CAUSE, looked=listed([tests.test_name(one) for one in diagnosis.looked_at]))
    return say(on_paper.NOT_TOLD)


def _entries(told: CrossCheck) -> tuple[str, ...]:
    lines = []
    for (kind, by, at), rows in groupby(told.made, key=lambda row: (row.kind, row.by, row.at)):
        places = [(row.bore, row.bank, on_paper.shown(row.kind, row.value, row.word, row.unit)) for row in rows]
        lines.append(on_paper.line(kind, places, by, clock(at)))
    return tuple(lines)
