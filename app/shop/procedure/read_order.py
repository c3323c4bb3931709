"""Which bore is read next. A round goes front to rear, bank by bank, and ends where it began.

Hot, it leaves out the bores that the last adjustment does not act on, and ends with the first of those.
"""

from dataclasses import dataclass
from typing import Literal

from app.shop.procedure.items import Phase
from app.shop.procedure.left_out import in_base_units, left_out_of
from app.shop.procedure.running import round_ran_out
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.sync.banks.lever import Speeds, opened
from app.sync.engine.adjusters.registry import kind_of
from app.sync.readings.untouched import ends_with


@dataclass(frozen=True, slots=True)
class NextReading:
    """The reading to take next in a phase: in which round, at which opening, which bore.

    ``bore`` is None when the round is closed, or the phase has no rounds. ``follow`` are the bores after it.
    ``current`` is the round as recorded so far, None before its first reading, and ``last`` the bore that ends it, None
    for the one it will begin with.
    ``from_above``: the lever is opened further first and brought back onto the feeler.
    """

    round_number: int
    opening: float
    bore: int | None
    kind: Literal["turn", "closing"]
    follow: tuple[int, ...]
    current: Round | None
    from_above: bool = False
    last: int | None = None


def next_reading(record: VisitRecord, phase: Phase) -> NextReading:
    """What to read next in ``phase``. A move ends the round it was made in, and so does a stop or a pause: what follows
    is a new one."""
    mine = [r for r in record.rounds if r.row.phase == phase.slug]
    newest = max((r.row.number for r in record.rounds), default=0)
    current = mine[-1] if mine else None
    if phase.rounds == "none" or (phase.rounds == "openings" and len(record.layout.banks) < 2):
        return NextReading(newest, 0.0, None, "turn", (), None)
    opening = next_opening(record, mine) if phase.rounds == "openings" else 0.0
    done_here = current is not None and current.closed and phase.rounds == "openings" and opening is not None
    if current is None or record.moved_since(current) or done_here or round_ran_out(record, current):
        left_out = left_out_of(record, phase.slug, None).latest
        bores = tuple([bore for bore in record.layout.bores if bore not in left_out]) or record.layout.bores
        last = next(iter(sorted(left_out, key=record.layout.bores.index)), None)
        return NextReading(newest + 1, opening or 0.0, bores[0], "turn", bores[1:], None, last=last)
    number, (opening, above) = current.row.number, current.lever
    last = closing_bore(record, current)
    if current.closed:
        return NextReading(number, opening, None, "closing", (), current, above, last)
    if left := left_to_read(record, current):
        return NextReading(number, opening, left[0], "turn", left[1:], current, above, last)
    return NextReading(number, opening, last, "closing", (), current, above, last)


def left_to_read(record: VisitRecord, one: Round) -> tuple[int, ...]:
    """The bores that a round still has to read before its drift check."""
    passed = {*one.latest, *one.skipped, *left_out_of(record, one.row.phase, one).latest}
    return tuple([bore for bore in record.layout.bores if bore not in passed])


def closing_bore(record: VisitRecord, one: Round) -> int | None:
    """The bore that ends a round, its drift check; None before one was read in it."""
    first = one.first_bore()
    left_out = left_out_of(record, one.row.phase, one).latest
    return first if first is None or not left_out else ends_with(record.layout.bores, [first, *one.latest], left_out)


def opening_rounds(record: VisitRecord, mine: list[Round], from_above: bool = False) -> dict[float, Round]:
    """The closed round that stands for each opening reached that way: the newest one that no move came after.

    A round read at an opening with the lever shut stands for none.
    """
    found: dict[float, Round] = {}
    for one in mine:
        if (
            bool(one.row.from_above) is from_above
            and one.closed
            and not one.in_question
            and not record.moved_since(one)
            and not read_shut(record, one)
        ):
            found[one.row.opening] = one
    return found


def read_shut(record: VisitRecord, one: Round) -> bool:
    """Whether a closed round at an opening reads as idle does, so that the lever did not open."""
    idle = next((r for r in reversed(record.rounds) if r.closed and r.row.opening == 0), None)
    if not one.row.opening or not one.closed or idle is None:
        return False
    at_idle, here = ({bore: read[-1] for bore, read in in_base_units(record, those).items()} for those in (idle, one))
    speed = record.speed_in(one)
    speeds = Speeds(record.idles_at, speed.speed) if speed is not None and record.idles_at else None
    return not opened(record.layout, at_idle, here, record.meter_as_read(), speeds)


def to_open_again(record: VisitRecord, phase: Phase, due: NextReading) -> bool:
    """Whether the round that is due is asked for because the lever was shut when its opening was read last."""
    if phase.rounds != "openings" or due.current is not None or due.bore is None:
        return False
    return was_shut(record, phase, (due.opening, due.from_above))


def was_shut(record: VisitRecord, phase: Phase, lever: tuple[float, bool]) -> bool:
    """Whether the lever was shut when its opening [m], reached from above or not, was read last in a phase."""
    same = [r for r in record.rounds if r.row.phase == phase.slug and r.lever == lever]
    return bool(same) and not record.moved_since(same[-1]) and read_shut(record, same[-1])


def next_opening(record: VisitRecord, mine: list[Round]) -> float | None:
    """The opening still to be read, None when all were; idle (0) comes last, once a link rod was turned.

    A link rod that was made too short holds its bank off the stop, and only idle shows that.
    """
    read = opening_rounds(record, mine)
    turned = any(not kind_of(m.kind).at_idle for m in record.moves)
    wanted = (*record.settings.openings, 0.0) if turned else record.settings.openings
    return next((o for o in wanted if o not in read), None)
