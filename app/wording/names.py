"""Dates, lists and the names of engines, banks and parts: what pages and paper say of stored facts."""

from collections.abc import Mapping
from datetime import datetime

from app.sync.engine.layout import Actuation, Bank, Layout
from app.sync.engine.units import CUBIC_INCH, LITER, REV_PER_MIN
from app.wording.message import Message, say
from app.wording.quantities import bore_list
from app.wording.work import adjusters

MONTHS = tuple(
    Message(short, context="month")
    for short in ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
)
DAY = Message("{day} {month} {year}", note="month is its short name")
MONTH_AND_YEAR = Message("{month}\u00a0’{year}", note="month is its short name, year its last two figures")
MOMENT = Message("{day}, {time}", note="time is hours and minutes")


SPEED = Message("{speed}\u00a0rpm")
BORES_IN_LINE = Message("{count} bore", many="{count} bores in line")
EQUAL_BANKS = Message("2 banks of {count} bore", many="2 banks of {count} bores")
UNEQUAL_BANKS = Message("{first} and {second} bores in 2 banks")
BANK = Message("{bores}, stop screw at bore {stop}, link rod at bore {drive}")
BANK_ALONE = Message("{bores}, stop screw at bore {stop}")
FIGURE = Message("{value}\u00a0{unit}")

SHARED_SHAFT = Message("bores {bores} on one shaft")
COUPLER_SCREWS: Mapping[str, Message] = {
    "screw": Message("coupler {near}–{far} set by a screw"),
    "screw-in": Message("coupler {near}–{far} set by a screw that opens the plates after it when turned in"),
    "screw-out": Message("coupler {near}–{far} set by a screw that opens the plates after it when turned out"),
}
PLENUM = Message("balance plenum")
AIR_COOLED = Message("air-cooled")
ELECTRONIC: Mapping[Actuation, Message] = {
    "motor-per-bank": Message("electronic throttles, one motor a bank"),
    "motor-per-bore": Message("electronic throttles, one motor a bore"),
}

PLACES: Mapping[str, Message] = {
    "test cell": Message("test cell"),
    "vehicle": Message("vehicle"),
    "telephone": Message("telephone"),
}


def day(at: str) -> str:
    """A stored time as a day: 3 Sep 2026."""
    local = datetime.fromisoformat(at).astimezone()
    return say(DAY, day=local.day, month=say(MONTHS[local.month - 1]), year=local.year)


def month(at: str) -> str:
    """A stored time as its month: Sep ’26."""
    local = datetime.fromisoformat(at).astimezone()
    return say(MONTH_AND_YEAR, month=say(MONTHS[local.month - 1]), year=f"{local:%y}")


def clock(at: str) -> str:
    """A stored time as the hour: 14:05."""
    return f"{datetime.fromisoformat(at).astimezone():%H:%M}"


def moment(at: str) -> str:
    """A stored time as day and hour: 3 Sep 2026, 14:05."""
    return say(MOMENT, day=day(at), time=clock(at))


def begin(words: str) -> str:
    """Words as they begin a sentence, or a label."""
    return words[:1].upper() + words[1:]


def place(code: str) -> str:
    """Where a visit takes place, by its stored code."""
    return say(PLACES[code]) if code in PLACES else code


def choice(code: str) -> str:
    """A stored code as the label of a choice, with a capital."""
    return begin(place(code))


def move_kind(code: str) -> str:
    """What is adjusted, by the stored kind of move."""
    return say(adjusters.ADJUSTERS[code].name)


def liters(displacement: float) -> str:
    """A displacement [m3] in liters, at least one decimal.

    >>> liters(0.005)
    '5.0\\xa0L'
    """
    value = f"{displacement / LITER:.2f}".rstrip("0").rstrip(".")
    return say(FIGURE, value=value if "." in value else f"{value}.0", unit="L")


def cubic_inches(displacement: float) -> str:
    """A displacement [m3] in cubic inches."""
    return say(FIGURE, value=f"{displacement / CUBIC_INCH:.0f}", unit="cu\u00a0in")


def idle_speed(speed: float) -> str:
    """An idle speed [rev/s].

    >>> idle_speed(850 / 60)
    '850\\xa0rpm'
    """
    return say(SPEED, speed=f"{speed / REV_PER_MIN:.0f}")


def layout(engine: Layout) -> str:
    """The banks and bores of an engine: 2 banks of 4 bores; 6 bores in line."""
    sizes = [len(bank.bores) for bank in engine.banks]
    if len(sizes) == 1:
        return say(BORES_IN_LINE, count=sizes[0])
    if sizes[0] == sizes[1]:
        return say(EQUAL_BANKS, count=sizes[0])
    return say(UNEQUAL_BANKS, first=sizes[0], second=sizes[1])


def bank(one: Bank, engine: Layout) -> str:
    """The bores of a bank, front first, with the bores its stop screw and link rod act at where an engine has them."""
    bores = " ".join(map(str, one.bores))
    if engine.electronic:
        return bores
    return say(BANK if engine.linked else BANK_ALONE, bores=bores, stop=one.stop, drive=one.drive)


def other_adjusters(engine: Layout) -> list[str]:
    """What an engine has besides couplers reset on a feeler, a linkage and coolant: shared shafts, coupler screws,
    bypass screws, a plenum, motors at its throttles, cooling by air."""
    said = [part for one in engine.banks for part in _joints(one)]
    said += adjusters.fitted(engine)
    if engine.plenum:
        said.append(say(PLENUM))
    if engine.electronic:
        said.append(say(ELECTRONIC[engine.actuation]))
    if engine.cooling == "air":
        said.append(say(AIR_COOLED))
    return said


def _joints(one: Bank) -> list[str]:
    said = []
    for bore in one.bores:
        shaft = one.shaft(bore)
        if len(shaft) > 1 and bore == shaft[0]:
            said.append(say(SHARED_SHAFT, bores=bore_list(shaft)))
    said += [
        say(COUPLER_SCREWS[joint.kind], near=joint.near, far=joint.far)
        for joint in one.outward
        if joint.kind in COUPLER_SCREWS
    ]
    return said
