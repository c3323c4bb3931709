"""Engines in words: their facts, their hardware, what a file of one holds, and the rows of the Engines page."""

from collections.abc import Mapping, Sequence

from app.shop.record.fittings import FittingReason
from app.wording import names
from app.wording.message import Message, say
from app.wording.reasons import TABLES
from app.wording.stored import as_stored

FACTS: Mapping[str, Message] = {
    "serial": Message("Serial number"),
    "description": Message("Description"),
    "displacement": Message("Displacement"),
    "displacement_unit": Message("Displacement unit"),
    "customer": Message("Customer reference"),
    "vehicle": Message("Vehicle"),
    "idle_speed": Message("Target idle speed, rpm"),
}
"""The fields of an engine's facts, where two versions of them are compared."""

HARDWARE: Mapping[str, Message] = {
    "bore_diameter": Message("Bore diameter"),
    "shaft_diameter": Message("Shaft diameter"),
    "closed_angle": Message("Angle of the closed plate"),
    "stop_pitch": Message("Stop screw, travel per turn"),
    "stop_lever": Message("Stop screw, lever arm"),
    "link_pitch": Message("Link rod, travel per turn"),
    "link_lever": Message("Link rod, lever arm"),
}
"""The hardware figures."""

UNIT_SYMBOLS: Mapping[str, str] = {"degrees": "°"}
"""Symbols of units that are recorded under another name; written without a blank before them."""

STARTING_LAYOUTS: Mapping[str, Message] = {
    "v8": Message("2 banks of 4"),
    "four": Message("4 in line"),
    "six": Message("6 in line"),
    "v6": Message("2 banks of 3"),
    "v12": Message("2 banks of 6"),
    "opposed4": Message("Opposed 4"),
    "opposed6": Message("Opposed 6"),
    "twins": Message("4 on 2 shafts"),
}
"""Layouts to start from on the form of a new engine."""

COUPLER_MARKS: Mapping[str, Message] = {
    "screw": Message("coupler set by its screw"),
    "shaft": Message("one shaft"),
    "motors": Message("not joined"),
}
"""What joins two bores in the drawing of an engine, where it is not the usual."""

ENGINE = Message("Engine {serial}", note="at the head of a printed page")
PAGE_OF = Message("Page {page} of {pages}", note="both are counted by the printer")
JOB = Message("Job {job}")
VISIT = Message("Visit {number}, {day}")
MISTAKEN = Message("Opened by mistake: {why}", context="visit")
NO_VISIT = Message("No visits yet")
READY = Message("Ready to sign off")

FITTING_REASONS: Mapping[FittingReason, Message] = {FittingReason.AS_REGISTERED: Message("recorded with the engine")}
TABLES[FittingReason] = FITTING_REASONS  # type: ignore[assignment]

HOLDS: Mapping[str, Message] = {
    "engine": Message("{count} engine", many="{count} engines"),
    "fitting": Message("{count} hardware record", many="{count} hardware records"),
    "visit": Message("{count} visit", many="{count} visits"),
    "round": Message("{count} round", many="{count} rounds"),
    "reading": Message("{count} reading", many="{count} readings"),
    "speed": Message("{count} engine speed", many="{count} engine speeds"),
    "move": Message("{count} adjustment", many="{count} adjustments"),
    "check": Message("{count} check", many="{count} checks"),
    "override": Message("{count} waiver", many="{count} waivers"),
    "signoff": Message("{count} sign-off", many="{count} sign-offs"),
    "correction": Message("{count} correction", many="{count} corrections"),
    "engineevent": Message("{count} start or stop", many="{count} starts or stops"),
    "stopend": Message("{count} end of a stop", many="{count} ends of stops"),
    "hourscorrection": Message("{count} corrected time", many="{count} corrected times"),
}
"""What an engine file holds, by the name of its parts."""


def hardware_figure(value: str, unit: str) -> str:
    """A hardware figure with its unit, as recorded."""
    return f"{value}{UNIT_SYMBOLS[unit]}" if unit in UNIT_SYMBOLS else say(names.FIGURE, value=value, unit=unit)


def hardware_reason(why: str) -> str:
    """Why hardware was recorded, as the start of a sentence."""
    return names.begin(as_stored(why, "fitting.why"))


def held(counts: Mapping[str, int]) -> Sequence[str]:
    """How many of each part a file holds, a few words each."""
    return [say(HOLDS[name], count=count) for name, count in counts.items()]
