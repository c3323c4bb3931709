"""The safety messages: a signal word, the hazard, its consequence, how to avoid it. No part can be left out.

The signal words are those of ANSI Z535.6 and ISO 3864-2 (as secondary sources give them; no conformity is claimed):
DANGER where death or serious injury will follow, WARNING where it could, CAUTION for a lesser injury, NOTICE for damage
alone. They appear nowhere else in the program.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from app.shop.procedure.codes import CautionCode
from app.shop.reasons import Reason
from app.wording.message import Message, say
from app.wording.reasons import TABLES


class Signal(StrEnum):
    """How serious a hazard is, the most serious first."""

    DANGER = "danger"
    WARNING = "warning"
    CAUTION = "caution"
    NOTICE = "notice"


SIGNALS: Mapping[Signal, Message] = {
    Signal.DANGER: Message("DANGER", context="signal word"),
    Signal.WARNING: Message("WARNING", context="signal word"),
    Signal.CAUTION: Message("CAUTION", context="signal word"),
    Signal.NOTICE: Message("NOTICE", context="signal word"),
}


@dataclass(frozen=True, slots=True)
class SafetyMessage:
    """One hazard in its four parts, each a sentence or more. Raises ValueError for a part that is none."""

    signal: Signal
    hazard: Message
    consequence: Message
    avoidance: Message

    def __post_init__(self) -> None:
        for part in (self.hazard, self.consequence, self.avoidance):
            if len(part.text) < 2 or not part.text.endswith("."):
                raise ValueError(f"no sentence: {part.text!r}")


@dataclass(frozen=True, slots=True)
class SafetyWords:
    """A safety message as it is shown. ``alert``: the alert triangle stands before it, as it does for injuries."""

    signal: Signal
    word: str
    hazard: str
    consequence: str
    avoidance: str

    @property
    def alert(self) -> bool:
        """Whether people can be hurt, not only things."""
        return self.signal is not Signal.NOTICE

    def __str__(self) -> str:
        return f"{self.word}: {self.hazard} {self.consequence} {self.avoidance}"


CRUSHED_HANDS = Message("Moving parts crush hands.")
CAUGHT = Message("They catch sleeves and crush hands.")
PINCHED = Message("It pinches fingers.")
BURNT = Message("Burns to eyes, face and hair.")
POISONED = Message("Carbon monoxide kills within minutes.")

SAFETY: Mapping[CautionCode, SafetyMessage] = {
    CautionCode.UNEXPECTED_START: SafetyMessage(
        Signal.WARNING,
        Message("Engine can start while hands are at the plates."),
        CRUSHED_HANDS,
        Message("Switch the ignition off and disconnect it from the battery."),
    ),
    CautionCode.UNEXPECTED_START_IN_VEHICLE: SafetyMessage(
        Signal.WARNING,
        Message("Engine can start while hands are at the plates."),
        CRUSHED_HANDS,
        Message(
            "Work on a cold engine with the wheels chocked. Take the key out and disconnect the ignition from the "
            "battery. Keep the driver's seat empty."
        ),
    ),
    CautionCode.UNEXPECTED_START_AWAY: SafetyMessage(
        Signal.WARNING,
        Message("Engine can start while hands are at the plates."),
        CRUSHED_HANDS,
        Message(
            "Have the ignition disconnected from the battery. The key stays in the customer's pocket until hands and "
            "tools are clear."
        ),
    ),
    CautionCode.PLATE_SNAPS_SHUT: SafetyMessage(
        Signal.CAUTION, Message("Plate snaps shut."), PINCHED, Message("Hold the lever, not the plate.")
    ),
    CautionCode.DROPPED_PART: SafetyMessage(
        Signal.NOTICE,
        Message("Dropped feeler or screw."),
        Message("It will go through the engine."),
        Message("Count tools and parts out and in."),
    ),
    CautionCode.PLATE_SCREW: SafetyMessage(
        Signal.NOTICE,
        Message("Loosened plate screw."),
        Message("A lost one goes through the engine."),
        Message("Plate screws are staked. Never loosen one to match plates on a shaft."),
    ),
    CautionCode.MOTOR_SHUTS_PLATE: SafetyMessage(
        Signal.WARNING,
        Message("Electronic throttle: its motor can shut a plate without warning, also with the engine off."),
        Message("It crushes fingers."),
        Message("Ignition off and throttle motors disconnected before a finger or tool goes near a plate."),
    ),
    CautionCode.EXHAUST_GAS: SafetyMessage(
        Signal.DANGER,
        Message("Exhaust gas in a closed room."),
        POISONED,
        Message("Run exhaust extraction before you start the engine."),
    ),
    CautionCode.EXHAUST_GAS_AWAY: SafetyMessage(
        Signal.DANGER,
        Message("Exhaust gas in a closed garage."),
        POISONED,
        Message("Run the engine outdoors, or lead the exhaust outdoors before the start."),
    ),
    CautionCode.BACKFIRE: SafetyMessage(
        Signal.WARNING,
        Message("Backfire through open bores."),
        BURNT,
        Message("Keep face, hair and hands away from the bores while the engine runs."),
    ),
    CautionCode.BACKFIRE_AT_BYPASS_SCREW: SafetyMessage(
        Signal.WARNING,
        Message("Backfire through open bores, also while you turn a bypass screw on the running engine."),
        BURNT,
        Message(
            "Keep face, hair and hands away from the bores. Use a long screwdriver, tuck in sleeves, and keep your "
            "face beside the bores, not over them."
        ),
    ),
    CautionCode.FUEL_LEAK: SafetyMessage(
        Signal.WARNING,
        Message("Fuel leak or fuel smell."),
        Message("Fire."),
        Message("Stop the engine and find the leak."),
    ),
    CautionCode.ROTATING_PARTS: SafetyMessage(
        Signal.WARNING,
        Message("Moving belts, fan, flywheel, damper and coupling shaft, and hot exhaust."),
        Message("They catch clothing, throw parts and burn."),
        Message(
            "Tie back sleeves, hair and cords. Keep hands out. Stay out of the plane of flywheel, damper and "
            "coupling shaft."
        ),
    ),
    CautionCode.FAN_AND_BELTS: SafetyMessage(
        Signal.WARNING,
        Message("Moving belts and fan, hot exhaust."),
        Message("They catch clothing, crush hands and burn."),
        Message("Tie back sleeves, hair and cords. Keep hands out. An electric fan can start with the key off."),
    ),
    CautionCode.ALONE_AT_FAN: SafetyMessage(
        Signal.WARNING,
        Message("Working alone at a running engine, beside moving belts and fan and hot exhaust."),
        Message("They catch clothing, crush hands and burn."),
        Message(
            "Have a second person there. Put the telephone down before a hand goes near the engine. Tie back sleeves, "
            "hair and cords. An electric fan can start with the key off."
        ),
    ),
    CautionCode.HOT_ENGINE: SafetyMessage(
        Signal.WARNING,
        Message("Pressurized hot coolant and hot parts."),
        Message("Severe scalds and burns."),
        Message("Wear gloves. Do not open the cap while hot."),
    ),
    CautionCode.HOT_FINS: SafetyMessage(
        Signal.WARNING,
        Message("Hot cylinders, heads and exhaust."),
        Message("Severe burns."),
        Message("Wear gloves. Keep shrouds on and cooling air moving while the engine runs."),
    ),
    CautionCode.VEHICLE_ROLLS: SafetyMessage(
        Signal.WARNING,
        Message("Vehicle can roll."),
        Message("People in front are crushed."),
        Message("Chock the wheels, select neutral, set the brake, keep the front clear."),
    ),
    CautionCode.REACHING_FOR_LEVER: SafetyMessage(
        Signal.WARNING,
        Message("Reaching past belts and fan to hold the central lever."),
        CAUGHT,
        Message("Have a second person hold the lever, or use a positive hold. Keep clear of belts and fan."),
    ),
    CautionCode.ALONE_AT_LEVER: SafetyMessage(
        Signal.WARNING,
        Message("Working alone at a running engine, reaching past belts and fan to the central lever."),
        CAUGHT,
        Message(
            "Have a second person hold the lever, or use a positive hold with a second person there. Put the telephone "
            "down before a hand goes near the engine."
        ),
    ),
    CautionCode.THROTTLE_SNAPS: SafetyMessage(
        Signal.CAUTION,
        Message("Throttle snaps shut when the feeler slips out."),
        PINCHED,
        Message("Keep fingers off the linkage."),
    ),
    CautionCode.STICKING_THROTTLE: SafetyMessage(
        Signal.WARNING,
        Message("Sticking throttle."),
        Message("The engine can overspeed."),
        Message("Do not release it until every plate closes on its own."),
    ),
    CautionCode.ADHESIVE: SafetyMessage(
        Signal.CAUTION,
        Message("Adhesive splashes and vapor."),
        Message("They irritate eyes and lungs."),
        Message(
            "Read the label. Wear eye protection and ventilate. Keep adhesive out of the bores and off a hot engine."
        ),
    ),
    CautionCode.VEHICLE_AND_FAN: SafetyMessage(
        Signal.WARNING,
        Message("Vehicle can roll, and belts and fan move during the last round."),
        Message("People in front are crushed, sleeves and hands are caught."),
        Message(
            "Chock the wheels, select neutral, set the brake, keep the front clear. Keep hands out of belts and fan."
        ),
    ),
    CautionCode.ALONE_AT_VEHICLE: SafetyMessage(
        Signal.WARNING,
        Message("Working alone at a running engine in a vehicle that can roll, beside belts and fan."),
        Message("People in front are crushed, sleeves and hands are caught."),
        Message(
            "Have a second person there. Put the telephone down before a hand goes near the engine. Chock the wheels, "
            "select neutral, set the brake, keep the front clear."
        ),
    ),
}
"""The message of every caution. The shop's engineer has the last word on the signal words."""

DEFERRAL = Message(
    "The manufacturer's instructions, local codes and the rules of licensed practice come first. If they differ, "
    "follow them."
)


def in_parts(one: SafetyMessage) -> SafetyWords:
    """A safety message in the current language; as a text it is one line."""
    return SafetyWords(one.signal, say(SIGNALS[one.signal]), say(one.hazard), say(one.consequence), say(one.avoidance))


def safety_words(code: CautionCode) -> SafetyWords:
    """The safety message of a caution in the current language; as a text it is one line."""
    return in_parts(SAFETY[code])


def safety_lines(codes: Iterable[CautionCode]) -> tuple[SafetyWords, ...]:
    """The safety messages of several cautions, in their order."""
    return tuple(safety_words(code) for code in codes)


def deferral() -> str:
    """What comes before every instruction of this program."""
    return say(DEFERRAL)


def _line(reason: Reason) -> str:
    return str(safety_words(CautionCode(reason.code)))


TABLES[CautionCode] = dict.fromkeys(CautionCode, _line)
