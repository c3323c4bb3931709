"""The leak check at a bore that resists: the vacuum there beside the other bores', and what both figures say.

Air that comes in behind a plate raises the pressure there, so that less flows past the plate: meter and vacuum are both
low. Behind a plate that is too far closed the pressure falls: the meter is low and the vacuum is high.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from statistics import fmean

from app.shop.assessment.round_results import as_last_read
from app.shop.procedure.items import Item
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.record.entries import CheckEntry
from app.shop.record.visit_record import VisitRecord, move_of
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.events import SEEN, Reading

LEAK_CHECK = "leak-checked"
"""The item of the leak check."""

RESISTS = 2
"""Adjustments made for a bore, from which on the vacuum there may be recorded (our judgement)."""

LEAK_LIKELY = 0.5
"""Chance of standing outside on the side of a leak from which a leak is looked for (our judgement)."""

MARGIN = 0.03
"""By how much the vacuum has to differ to say anything, as a fraction of the other bores': three times what a good
gauge repeats (our judgement)."""

HERE, BESIDE = "vacuum-", "vacuum-beside-"
"""The items of the vacuum at a bore and of the mean at the others, before the number of the bore."""


class LeakSign(StrEnum):
    """What meter and vacuum say of a bore that reads low. The values of each are ``bore`` and ``percent``."""

    LEAK = "leak-behind-plate"
    CLOSED = "plate-closed"
    UNDECIDED = "vacuum-alike"


@dataclass(frozen=True, slots=True)
class LeakTold:
    """What the vacuum at a bore says: ``share`` is how far it is above the others', a fraction of theirs; ``newest``
    the newer one of the two figures."""

    bore: int
    share: float
    sign: LeakSign
    newest: CheckEntry


def leak_items(record: VisitRecord) -> tuple[Item, ...]:
    """The vacuum at the bores that resist and beside them, where air is measured; it is never missed."""
    return tuple(item for bore in _resisting(record) for item in _vacuum(bore))


def leaks_told(record: VisitRecord) -> tuple[LeakTold, ...]:
    """What was found at the bores that resist and whose meter reads low, with nothing adjusted since."""
    return tuple(told for bore in _resisting(record) if (told := _told(record, bore)) is not None)


def leak_to_find(record: VisitRecord) -> LeakTold | None:
    """The leak to find before anything is adjusted: one that was told and not looked for since."""
    checked = record.checks.get((HEAT_SOAKED.slug, LEAK_CHECK))
    for told in leaks_told(record):
        if told.sign is LeakSign.LEAK and (checked is None or checked.ident < told.newest.ident):
            return told
    return None


def to_check_again(record: VisitRecord) -> bool:
    """Whether leaks are looked for again: one was told, or a bore resists."""
    if (HEAT_SOAKED.slug, LEAK_CHECK) not in record.checks:
        return False
    return leak_to_find(record) is not None or bore_that_resists(record) is not None


def bore_that_resists(record: VisitRecord) -> int | None:
    """A bore that still looks like one with a leak after so many adjustments made for it, where none was looked for
    since; None for none.

    Air that comes in behind a plate makes a flow meter at the intake read low, and a column stand as behind a plate too
    far open: moving that plate until the meter agrees makes it worse. A leak is there all the time, so a bore that once
    stood on the other side has none: its feelers missed.
    """
    often = {bore: made for bore, made in _made(record).items() if len(made) >= RESISTS}
    found = as_last_read(record) if often else None
    checked = record.checks.get((HEAT_SOAKED.slug, LEAK_CHECK))
    for one in found.standings if found is not None else ():
        leaks = one.below if record.meter.quantity == "flow" else one.above
        if one.bore in often and leaks > LEAK_LIKELY and _always_as_with_a_leak(record, one.bore):
            enough = record.first_told[often[one.bore][RESISTS - 1]]
            if checked is None or checked.after_move < enough:
                return one.bore
    return None


def _always_as_with_a_leak(record: VisitRecord, bore: int) -> bool:
    """Whether a bore read on the side of a leak, by the mean of the others as they were read last, before each of the
    last adjustments made for it."""
    shown: dict[int, float] = {}
    as_with_one: list[bool] = []
    for event in record.events():
        if isinstance(event, Reading):
            shown[event.bore] = event.value
        elif not isinstance(event, SEEN) and event.place.sets == bore:
            others = [value for other, value in shown.items() if other != bore]
            below = bore in shown and bool(others) and shown[bore] < fmean(others)
            as_with_one.append(below == (record.meter.quantity == "flow"))
    return all(as_with_one[-RESISTS:])


def _made(record: VisitRecord) -> dict[int | None, list[int]]:
    """The adjustments that act at idle, by the bore that each was made for."""
    made: dict[int | None, list[int]] = {}
    for move in record.moves:
        if kind_of(move.kind).at_idle:
            made.setdefault(move_of(move).place.sets, []).append(move.ident)
    return made


def _resisting(record: VisitRecord) -> tuple[int, ...]:
    if record.meter.quantity != "flow":
        return ()
    made = _made(record)
    return tuple(bore for bore in record.layout.bores if len(made.get(bore, ())) >= RESISTS)


@cache
def _vacuum(bore: int) -> tuple[Item, Item]:
    here, beside = (
        Item(f"{which}{bore}", "number", "gauge", 0.1, 1100, before_running=False, needed=())
        for which in (HERE, BESIDE)
    )
    return here, beside


def _told(record: VisitRecord, bore: int) -> LeakTold | None:
    here, beside = (record.checks.get((HEAT_SOAKED.slug, f"{which}{bore}")) for which in (HERE, BESIDE))
    if here is None or beside is None or min(here.after_move, beside.after_move) < record.last_idle_move:
        return None
    if not here.number or not beside.number or not _reads_low(record, bore):
        return None
    share = here.number / beside.number - 1
    sign = LeakSign.UNDECIDED if abs(share) <= MARGIN else LeakSign.LEAK if share < 0 else LeakSign.CLOSED
    return LeakTold(bore, share, sign, max(here, beside, key=lambda check: check.ident))


def _reads_low(record: VisitRecord, bore: int) -> bool:
    """Whether a bore read less air than the others on average, each as it was read last."""
    hot = (one for one in record.rounds if one.row.phase == HEAT_SOAKED.slug)
    latest = {b: r.value for one in hot for b, r in one.latest.items() if r.value is not None}
    others = [value for b, value in latest.items() if b != bore]
    return bore in latest and bool(others) and latest[bore] < fmean(others)
