"""Meters in words: what each reads, how it repeats and how that is known, its studies, and its next check."""

from collections.abc import Mapping, Sequence

from app.shop.record.meter_studies import KnownMeter, RepeatabilitySource, StudyRecord
from app.wording.message import Message, say
from app.wording.names import begin, day
from app.wording.quantities import known, percent, unit_of
from app.wording.reasons import TABLES
from app.wording.stored import as_stored

QUANTITIES: Mapping[str, Message] = {"flow": Message("Air flow"), "vacuum": Message("Vacuum")}
"""What a meter reads."""

REFERENCES: Mapping[str, Message] = {
    "gauge": Message("Shows 0 in open air", note="a vacuum gauge: what is missing to the air around it"),
    "absolute": Message("Shows the air pressure in open air", note="an absolute pressure gauge"),
}
"""What a pressure meter counts from."""

ABSOLUTE_PRESSURE = Message("Absolute pressure")
NAMED = Message("{name}: {reads}", note="a meter among several, with what it reads")
READS = Message("{quantity}, {low} to {high} {unit}, steps of {step}")
UNIT = Message("{unit}, {quantity}", note="kg/h, Air flow")
CHOICE = Message("{name}, {unit}", note="a meter to choose: Bench meter, kg/h")
CHOICE_OVERDUE = Message("{name}, {unit}, check was due {due}")
SOURCES: Mapping[RepeatabilitySource, Message] = {
    RepeatabilitySource.ESTIMATE: Message("estimate until a repeatability study is done"),
}
TABLES[RepeatabilitySource] = SOURCES  # type: ignore[assignment]
FOUND = Message(
    "From {readings}: standard deviation {scatter}, with the step taken out at most {limit} in 95 cases of 100",
    note="readings: 10 readings",
)
SHOWN = Message(
    "The visits that are signed off show a standard deviation of {own}, at most {limit} in 95 cases of 100.",
    note="of a meter, from rounds that were read again with nothing moved between",
)
SHOWN_WORSE = Message("That is more than the study found, and counts. Repeat the study.")
SAME = Message(
    "At {level} {unit}, two readings of one bore differ from {apart} {unit} on, {count} step of this meter.",
    many="At {level} {unit}, two readings of one bore differ from {apart} {unit} on, {count} steps of this meter.",
)
READINGS = Message("{count} reading", many="{count} readings")
IN_PROGRESS = Message("{done} of {wanted} read")
ONE_BORE = Message("{count} reading of one bore", many="{count} readings of one bore")
AGREE = Message("{other} reads {ratio} times as much, between {low} and {high}: they agree")
DIFFER = Message(
    "{other} reads {ratio} times as much, between {low} and {high}: they differ. Use only one of them in a visit"
)


def reads(meter: KnownMeter) -> str:
    """What a meter reads: quantity, range and step."""
    row = meter.row
    return say(
        READS,
        quantity=say(ABSOLUTE_PRESSURE if row.absolute else QUANTITIES[row.quantity]),
        low=f"{row.low:g}",
        high=f"{row.high:g}",
        unit=row.unit_name,
        step=f"{row.step:g}",
    )


def among(meters: Sequence[KnownMeter]) -> list[str]:
    """What each of the shop's meters reads, with its name where there is more than one."""
    if len(meters) == 1:
        return [reads(meters[0])]
    return [say(NAMED, name=one.row.name, reads=reads(one)) for one in meters]


def unit(name: str, quantity: str) -> str:
    """A unit that a new meter may read in."""
    return say(UNIT, unit=name, quantity=say(QUANTITIES[quantity]))


def choice(meter: KnownMeter, today: str) -> str:
    """A meter to choose for a visit, with the day of a check that is overdue on ``today``, an ISO day."""
    if meter.due is not None and meter.overdue(today):
        return say(CHOICE_OVERDUE, name=meter.row.name, unit=meter.row.unit_name, due=day(meter.due.due))
    return say(CHOICE, name=meter.row.name, unit=meter.row.unit_name)


def known_from(meter: KnownMeter) -> str:
    """How a meter's repeatability is known."""
    found = meter.found
    if found is None:
        return begin(as_stored(meter.row.repeatability_from, "meter.repeatability_from"))
    readings = found.freedom + sum(len(s.series) for s in meter.studies if s.other is None and s.finished)
    return say(
        FOUND,
        readings=say(READINGS, count=readings),
        scatter=percent(found.scatter, 1),
        limit=percent(found.limit, 1),
    )


def shown(meter: KnownMeter) -> str:
    """How a meter repeated in visits; empty where they tell too little."""
    if meter.shown is None:
        return ""
    said = say(SHOWN, own=percent(meter.shown.own, 1), limit=percent(meter.shown.limit, 1))
    return " ".join((said, say(SHOWN_WORSE))) if meter.found and meter.by_visits else said


def same(meter: KnownMeter) -> str:
    """From what difference on two readings of one bore are not the same; empty before a study."""
    found, least = meter.found, meter.least_difference
    if found is None or least is None:
        return ""
    unit = unit_of(meter.row)
    apart, steps = least
    return say(
        SAME,
        level=f"{found.level:.{unit.decimals}f}",
        apart=f"{apart:.{unit.decimals}f}",
        unit=unit.name,
        count=steps,
    )


def result_of(study: StudyRecord) -> str:
    """How far a study or comparison has come, or what a complete comparison says."""
    done = len(study.readings)
    if not study.finished:
        return say(IN_PROGRESS, done=done, wanted=study.wanted)
    found = study.agreement
    if study.other is None or found is None:
        return say(ONE_BORE, count=done)
    return say(
        AGREE if found.agree else DIFFER,
        other=study.other.name,
        ratio=known(found.ratio, (found.high - found.low) / 4, 3),
        low=known(found.low, (found.high - found.low) / 4, 3),
        high=known(found.high, (found.high - found.low) / 4, 3),
    )
