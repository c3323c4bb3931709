"""What was recorded in one phase of an open visit, in its order, each with the way to correct it."""

from dataclasses import dataclass

from app.shop.procedure.items import Phase
from app.shop.record.entries import MeterReading, MoveEntry
from app.shop.record.measures import Units
from app.shop.record.rounds import Round
from app.shop.record.superseding import current
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.events import Place
from app.sync.engine.units import REV_PER_MIN, THOU
from app.web.presenters.adjusters import place_text
from app.web.presenters.drawing import shown
from app.web.presenters.filters import clock
from app.web.presenters.reading.card_actions import here_of
from app.web.presenters.reading.keypad import RPM
from app.web.presenters.steps import move_words
from app.wording.message import say
from app.wording.quantities import feeler, unit_of
from app.wording.work import corrections as words


@dataclass(frozen=True, slots=True)
class RecordedValue:
    """One reading: its bore, its value, what is read aloud, and where it is corrected. An engine speed names its unit
    in place of a bore."""

    bore: int | str
    value: str
    name: str
    href: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class RecordedLine:
    """A round with its values, or a move. ``ident`` is that of a move that counts, which may be taken back or changed,
    0 for any other; ``struck``: it was not made; ``changed``: it counts otherwise than it was recorded first."""

    words: str
    note: str = ""
    values: tuple[RecordedValue, ...] = ()
    ident: int = 0
    struck: bool = False
    changed: bool = False


@dataclass(frozen=True, slots=True)
class RecordedReading:
    """The reading that is corrected."""

    entry: MeterReading
    round: Round
    words: str
    unit: str


@dataclass(frozen=True, slots=True)
class RecordedSpeed:
    """The engine speed that is corrected: its round, and what it is."""

    number: int
    words: str
    unit: str


def recorded(record: VisitRecord, phase: Phase, chosen: int = 0) -> tuple[RecordedLine, ...]:
    """Rounds and moves of a phase in the order they were made; ``chosen`` is the reading that is corrected."""
    rounds = [((min(one.first_rows.values()), 0), _round(record, phase, one, chosen)) for one in _rounds(record, phase)]
    shown = [m for m in current(record.all_moves) if m.phase == phase.slug]
    moves = [((m.after_reading, record.first_told[m.ident]), _move(record, m)) for m in shown]
    return tuple(line for _, line in sorted([*rounds, *moves], key=lambda pair: pair[0]))


def recorded_reading(record: VisitRecord, phase: Phase, ident: int) -> RecordedReading | None:
    """A reading of the phase by its id; one that was corrected before too."""
    for one in _rounds(record, phase):
        for entry in one.entered:
            if entry.ident == ident and entry.value is not None:
                value = shown(entry.value, record.meter)
                said = say(words.CORRECTS, bore=entry.bore, round=one.row.number, value=value)
                return RecordedReading(entry, one, said, unit_of(record.meter).name)
    return None


def move_as_typed(record: VisitRecord, phase: Phase, ident: int, units: Units) -> dict[str, str] | None:
    """A move of the phase that counts, as the form of an adjustment has it in these units."""
    move = next((m for m in record.moves if m.ident == ident and m.phase == phase.slug), None)
    if move is None:
        return None
    kind = kind_of(move.kind)
    place = place_text(Place("" if kind.sits != "bank" else move.bank, move.near, move.far))
    leaves = [units.of("blade").shown(float(leaf) / THOU) for leaf in move.leaves.split()]
    inward = (move.amount > 0) == (kind.positive == "in")
    amount = "" if kind.unit == "leaves" else f"{abs(move.amount):g}"
    return {
        "kind": move.kind,
        "place": place,
        "amount": amount,
        "way": "in" if inward else "out",
        "leaf": leaves[0] if leaves else "",
        "second_leaf": leaves[1] if len(leaves) > 1 else "",
    }


def _rounds(record: VisitRecord, phase: Phase) -> list[Round]:
    return [one for one in record.rounds if one.row.phase == phase.slug and one.readings]


def _round(record: VisitRecord, phase: Phase, one: Round, chosen: int) -> RecordedLine:
    opening = one.row.opening
    title = say(words.ROUND, round=one.row.number)
    if opening:
        title = say(words.ROUND_AT, round=one.row.number, feeler=feeler(opening, record.units))
    values = tuple(
        RecordedValue(
            reading.bore,
            value := shown(reading.value, record.meter),
            say(
                words.DRIFT_CHECK if reading.kind == "closing" else words.VALUE,
                bore=reading.bore,
                value=value,
            ),
            f"{here_of(record, phase)}/recorded?reading={reading.ident}",
            reading.ident == chosen,
        )
        for reading in one.readings
    )
    return RecordedLine(title, values=(*_speed(record, phase, one), *values))


def _speed(record: VisitRecord, phase: Phase, one: Round) -> tuple[RecordedValue, ...]:
    """The engine speed of a round off idle, where it was recorded."""
    if not one.speeds:
        return ()
    speed = f"{one.speeds[-1].speed / REV_PER_MIN:.0f}"
    href = f"{here_of(record, phase)}/recorded?speed={one.row.number}"
    return (RecordedValue(RPM, speed, say(words.SPEED, speed=speed), href, False),)


def recorded_speed(record: VisitRecord, phase: Phase, number: int) -> RecordedSpeed | None:
    """The engine speed of a round of the phase by the round's number; None where it has none."""
    for one in _rounds(record, phase):
        if one.row.number == number and one.speeds:
            speed = f"{one.speeds[-1].speed / REV_PER_MIN:.0f}"
            return RecordedSpeed(number, say(words.CORRECTS_SPEED, round=number, speed=speed), RPM)
    return None


def _move(record: VisitRecord, move: MoveEntry) -> RecordedLine:
    """A move by its newest row."""
    told = {m.ident: m for m in record.all_moves}
    entered = {"by": move.by, "time": clock(move.at)}
    first = told[record.first_told[move.ident]]
    if move.taken_back:
        return RecordedLine(move_words(move, record), say(words.TAKEN_BACK, **entered), struck=True)
    if first is not move:
        note = say(words.CHANGED, was=move_words(first, record), **entered)
        return RecordedLine(move_words(move, record), note, ident=move.ident, changed=True)
    return RecordedLine(move_words(move, record), say(words.ENTERED, **entered), ident=move.ident)
