"""Engine speed off idle: the round for which it is asked next, and when it is beyond the rev limit recorded."""

from dataclasses import dataclass

from app.shop.procedure.items import Phase
from app.shop.procedure.phases import BANK_BALANCE, OPENING_SPEEDS
from app.shop.procedure.read_order import NextReading, opening_rounds
from app.shop.procedure.requirements import Requirement
from app.shop.reasons import Reason, because
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import REV_PER_MIN

SLOWEST, FASTEST = 300.0, 9000.0
"""What an engine speed may be [rpm] (our judgement)."""


@dataclass(frozen=True, slots=True)
class SpeedDue:
    """The round whose engine speed is asked for, and what holds its lever [m].

    ``first``: it is asked before the round is read.
    """

    round_number: int
    opening: float
    from_above: bool
    first: bool


def speed_due(record: VisitRecord, phase: Phase, due: NextReading) -> SpeedDue | None:
    """The engine speed to record next: of the round that is due, of the one stopped at, of one read without; else
    None."""
    if phase.rounds != "openings" or record.sign_off is not None:
        return None
    begun, stop = due.current, over_rev_limit(record)
    if due.bore is not None and due.opening and (begun is None or stop or record.speed_in(begun) is None):
        first = begun is None or not begun.entered
        return SpeedDue(due.round_number, due.opening, due.from_above, first)
    without = newest_with_speed(record) if stop else next(iter(read_without(record, phase)), None)
    if without is None:
        return None
    return SpeedDue(without.row.number, without.row.opening, bool(without.row.from_above), first=False)


def read_without(record: VisitRecord, phase: Phase) -> list[Round]:
    """The rounds off idle that count and whose engine speed is not recorded; none where items of old hold it."""
    if any((phase.slug, item) in record.checks for item in OPENING_SPEEDS):
        return []
    mine = [one for one in record.rounds if one.row.phase == phase.slug]
    counting = (one for above in (False, True) for one in opening_rounds(record, mine, above).values())
    return [one for one in counting if one.row.opening and record.speed_in(one) is None]


def over_rev_limit(record: VisitRecord) -> Reason | None:
    """Why the engine is stopped: it ran faster off idle than the rev limit by the speed recorded last; else None."""
    held, one = record.checks.get((BANK_BALANCE.slug, "rev-limit")), newest_with_speed(record)
    if held is None or held.number is None or one is None:
        return None
    speed = round(one.speeds[-1].speed / REV_PER_MIN, 3)
    if speed <= held.number:
        return None
    return because(Requirement.OVER_REV_LIMIT, speed=round(speed), limit=round(held.number))


def newest_with_speed(record: VisitRecord) -> Round | None:
    """The round whose engine speed was recorded last."""
    with_speed = [one for one in record.rounds if one.speeds]
    return max(with_speed, key=lambda one: one.speeds[-1].ident, default=None)
