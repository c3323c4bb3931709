"""The words of the five phases: titles, goals, steps, and the labels of what a phase asks for.

An engine with one bank is not told of banks: where that changes a sentence, it has a text for one bank and one for two.
"""

from collections.abc import Collection, Mapping

from app.shop.assessment.leaks import BESIDE, HERE
from app.shop.procedure.codes import StepCode
from app.shop.procedure.items import Item, Phase
from app.shop.procedure.parts import Part
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.reasons import Reason
from app.shop.record.measures import Units
from app.sync.readings.snap import BLIPS
from app.wording.message import Message, say
from app.wording.quantities import turns
from app.wording.reasons import TABLES
from app.wording.work.checklist import ITEMS as ITEMS
from app.wording.work.checklist import ByBanks as ByBanks
from app.wording.work.checklist import ItemWords as ItemWords
from app.wording.work.checklist import Text as Text

TITLES: Mapping[str, Message] = {
    COLD_PRESET.slug: Message("Cold preset", context="title"),
    FIRST_FIRE.slug: Message("First fire", context="title"),
    HEAT_SOAKED.slug: Message("Heat-soaked recheck", context="title"),
    BANK_BALANCE.slug: Message("Part-throttle bank balance", context="title"),
    LOCK_DOWN.slug: Message("Lock-down", context="title"),
}
NAMES: Mapping[str, Message] = {
    COLD_PRESET.slug: Message("cold preset", context="in a sentence"),
    FIRST_FIRE.slug: Message("first fire", context="in a sentence"),
    HEAT_SOAKED.slug: Message("heat-soaked recheck", context="in a sentence"),
    BANK_BALANCE.slug: Message("part-throttle bank balance", context="in a sentence"),
    LOCK_DOWN.slug: Message("lock-down", context="in a sentence"),
}
IN_SHORT: Mapping[str, Message] = {
    COLD_PRESET.slug: Message("Engine off. Every plate opened equally."),
    FIRST_FIRE.slug: Message("Oil pressure first, then one quick round."),
    HEAT_SOAKED.slug: Message("Hot: read a round, make one adjustment, read again."),
    BANK_BALANCE.slug: Message("Both banks start to open together."),
    LOCK_DOWN.slug: Message("Tighten, read again, sign the sheet."),
}
"""Each phase in a line, by its slug."""

GOALS: Mapping[str, Text] = {
    COLD_PRESET.slug: ByBanks(
        Message("Goal: every plate closes fully, then the stop screw opens all of them equally."),
        Message("Goal: every plate closes fully, then both stop screws open their banks by the same turns."),
        Message(
            "Goal: electronic throttles without power, sound and untouched. Only the manufacturer sets their plates."
        ),
    ),
    FIRST_FIRE.slug: Message(
        "Goal: the engine runs safely, and one quick round shows any large error. Fine adjustment comes when it is hot."
    ),
    HEAT_SOAKED.slug: Message("Goal: the engine is heat-soaked and every bore flows the same at idle."),
    BANK_BALANCE.slug: Message("Goal: both banks start to open together when the pedal leaves its rest."),
    LOCK_DOWN.slug: Message("Goal: everything tight and marked, then one last round. Tightening can move a plate."),
}

STEPS: Mapping[StepCode, Text] = {
    StepCode.LOOK_INTO_BORES: Message(
        "Press the pedal to the floor and look into every bore. Release it. Every plate must close on its own."
    ),
    StepCode.BASE_FEELER: ByBanks(
        Message("Back off the stop screw. Put the base feeler under it. Turn the screw in until it touches."),
        Message("Back off each stop screw. Put the base feeler under it. Turn the screw in until it touches."),
    ),
    StepCode.PRESET_TURNS: ByBanks(
        Message("Remove the feeler. Turn the stop screw in by the turns shown."),
        Message("Remove the feeler. Turn each stop screw in by the turns shown. Use the same turns on both banks."),
    ),
    StepCode.ROCK_PLATES: Message("Rock each plate against the next one. Fix any lost motion before you continue."),
    StepCode.SHARED_SHAFTS: Message(
        "Plates on one shaft: check that all of them close fully. The manufacturer matched them to each other."
    ),
    StepCode.SEAT_BYPASS_SCREWS: Message(
        "Seat each bypass screw lightly with 2 fingers. Force damages the seat. Then turn each one out "
        "1\u00a01/2\u00a0turns."
    ),
    StepCode.LEAVE_COUPLER_SCREWS: Message(
        "Coupler screws: do not turn them yet. Note which way each one opens the plates after it."
    ),
    StepCode.MOTORS_POWER_OFF: Message(
        "Electronic throttles: ignition off, throttle motors disconnected, before anything touches a plate."
    ),
    StepCode.MOTORS_BY_MAKER: Message(
        "Set plates, couplers or stops only if the manufacturer's instructions say how. Never force a plate."
    ),
    StepCode.MOTORS_NO_FEELER: Message(
        "No feeler, coupler or stop screw while the throttles have power. Read, and see what the card says."
    ),
    StepCode.MOTORS_QUICK_ROUND: Message("On a first visit, read one quick round. Adjust nothing yet."),
    StepCode.MOTORS_HELD: Message(
        "Hold the electronic throttles in one position with the manufacturer's service function while you read."
    ),
    StepCode.MOTORS_TIGHTEN: Message(
        "Stop the engine, ignition off. Check that every joint and hose that you touched is tight."
    ),
    StepCode.MOTORS_ADAPT: Message("Run the manufacturer's throttle adaptation (relearn) before the last round."),
    StepCode.STOP_WHEN_HEAD_HOT: Message(
        "Stop the engine if cylinder head temperature keeps climbing or oil pressure falls."
    ),
    StepCode.CHECK_FIRST: Message("Complete the list before anyone turns the key."),
    StepCode.START: Message(
        "Start the engine. Look at the oil at once, before anything else. "
        "If oil pressure does not rise within seconds, stop it."
    ),
    StepCode.RUN_IN: Message(
        "Fresh engine: run the cam in first, as its maker says. A flat-tappet cam must not idle before that."
    ),
    StepCode.ADJUST_NOTHING_COLD: Message("Do not adjust anything while the engine warms up."),
    StepCode.QUICK_ROUND: ByBanks(
        Message(
            "On a first visit, read one quick round. Turn the stop screw only if the card says so. "
            "Turn it once, by no more than the card says. Leave the rest until it is hot."
        ),
        Message(
            "On a first visit, read one quick round. Turn a stop screw only if the card names it. "
            "Turn it once, by no more than the card says. Leave the rest until it is hot."
        ),
    ),
    StepCode.WARM_UP: Message(
        "Run the engine with short pulls. Read the gauges every few minutes until they are steady."
    ),
    StepCode.HOLD_LOADS: Message(
        "Lock out idle-speed and idle spark control. Keep air conditioning in one state. Never switch cooling off on a "
        "hot idling engine. Tick what is held or off: lock-down asks for it back."
    ),
    StepCode.CHECK_LEAKS: Message(
        "Before the first round, check for air leaks: intake joints, ports, brake booster, crankcase hose. "
        "A leak makes the meter lie: the bore breathes more and the meter shows less."
    ),
    StepCode.STOP_WHEN_HOT: Message("Stop the engine if coolant temperature climbs or oil pressure falls."),
    StepCode.COUPLERS_ENGINE_OFF: Message("Stop the engine before you loosen a coupler."),
    StepCode.SHAFTS_MOVE_TOGETHER: Message(
        "Plates on a shared shaft move together. Only bypass screws set them apart."
    ),
    StepCode.FLOW_METER_AT_PLENUM: Message(
        "Engine with a balance plenum: use an air flow meter if you have one. "
        "The plenum averages vacuum and hides differences."
    ),
    StepCode.FEEL_FREE_PLAY: Message(
        "Stop the engine. Feel for free play in both link rods. "
        "Without free play, the rod holds its bank off the stop screw."
    ),
    StepCode.OPENING_FEELER: Message(
        "Set a low rev limit. Hold the central lever on the feeler. Read engine speed, every bore, then the first "
        "again."
    ),
    StepCode.NEXT_OPENING: Message(
        "Repeat at the next opening. If the card says “approach from open”, open well past the feeler. "
        "Then close onto it. Do not push up to it."
    ),
    StepCode.TURN_LINK_ROD: Message(
        "Stop the engine before you turn a link rod. Turn only the rod that the card names. "
        "Lock it, then read the openings again."
    ),
    StepCode.REMOVE_OPENING_FEELER: Message("Remove the feeler. Check that idle reads as before."),
    StepCode.TIGHTEN: ByBanks(
        Message("Stop the engine. Tighten every coupler and the stop screw. Hold each in place as you tighten it."),
        Message(
            "Stop the engine. Tighten every coupler, stop screw and link rod nut. Hold each in place as you tighten it."
        ),
    ),
    StepCode.MARK_STOP_SCREWS: ByBanks(
        Message("Bond or mark the stop screw."), Message("Bond or mark every stop screw.")
    ),
    StepCode.COUNT_TOOLS: Message("Count tools, feelers and rags before the last start."),
    StepCode.LAST_ROUND: Message(
        "Start the engine and let it settle. Read one last round. "
        "If the readings changed, go back to the heat-soaked recheck."
    ),
    StepCode.PUT_BACK: Message("Put back what was held, removed or led away. See each one work."),
    StepCode.SIGN_OFF: Message("The responsible person signs off."),
}


CHOICES: Mapping[str, Message] = {
    "off": Message("Off", context="cooling fan"),
    "on": Message("Always on", context="cooling fan"),
    "cycling": Message("Cycling", context="cooling fan"),
}
"""What may be chosen for an item that offers choices."""

SNAP = ItemWords(
    Message("Bore {bore} after a blip, {blips} times"),
    Message("bore {bore} after a blip"),
)
"""The reading of a bore after its blips, an item of its own for each bore that is tested."""

SNAP_SLUG = "snap-"

OF_BORE: Mapping[str, ItemWords] = {
    SNAP_SLUG: SNAP,
    BESIDE: ItemWords(Message("Vacuum at the other bores, average"), Message("vacuum, other bores")),
    HERE: ItemWords(Message("Vacuum at bore {bore}, idling"), Message("vacuum at bore {bore}")),
}
"""Items of a single bore, by what their slugs begin with; the longer beginning comes first."""

UNITS: Mapping[str, Message] = {
    "rpm": Message("rpm"),
    "turns": Message("turns"),
    "pulls": Message("pulls"),
    "degrees": Message("degrees"),
    "gauge": Message("on the gauge"),
}
"""Units that are words or abbreviate some, which other languages have their own for."""

COUNTED: Mapping[str, Message] = {
    "turns": Message("{figure}\u00a0turn", many="{figure}\u00a0turns"),
    "pulls": Message("{figure}\u00a0pull", many="{figure}\u00a0pulls"),
    "degrees": Message("{figure}\u00a0degree", many="{figure}\u00a0degrees"),
}


def for_banks(text: Text, parts: Collection[Part]) -> Message:
    """The text for an engine that has those parts."""
    if isinstance(text, Message):
        return text
    if text.motors is not None and "motors" in parts:
        return text.motors
    return text.two if "two banks" in parts else text.one


def phase_title(phase: Phase | str) -> str:
    """The title of a phase, or of the one with that slug. Raises KeyError for a slug that is none."""
    return say(TITLES[_slug(phase)])


def phase_name(phase: Phase | str) -> str:
    """A phase as it is named within a sentence. Raises KeyError for a slug that is none."""
    return say(NAMES[_slug(phase)])


def phase_in_short(phase: Phase) -> str:
    """A phase in a line, for a person who has not seen a visit yet."""
    return say(IN_SHORT[phase.slug])


def phase_goal(phase: Phase, parts: Collection[Part]) -> str:
    """What a phase is for, at an engine that has those parts."""
    return say(for_banks(GOALS[phase.slug], parts))


def phase_steps(phase: Phase, parts: Collection[Part]) -> tuple[str, ...]:
    """What to do in a phase at an engine that has those parts, in order."""
    return tuple(say(for_banks(STEPS[code], parts)) for code in phase.steps_for(parts))


def item_label(item: Item | str, parts: Collection[Part]) -> str:
    """What an item asks for on the checklist of an engine that has those parts; a slug of old records as it is."""
    slug = _slug(item)
    found = _words_of(slug)
    return say(for_banks(found.label, parts), **_values(slug)) if found else slug.replace("-", " ")


def item_short(item: Item | str) -> str:
    """What was recorded under an item, for a list on paper or in the activity log; a slug of old records as it is."""
    slug = _slug(item)
    found = _words_of(slug)
    return say(found.short, **_values(slug)) if found else slug.replace("-", " ")


def item_figure(item: Item, number: float, units: Units) -> str:
    """A recorded figure of an item with its unit, for reading; whole sixteenths of a turn as a screw is turned."""
    if item.choices:
        return choice_words(item, number)
    if item.unit == "turns" and number * 16 == round(number * 16):
        return turns(number)
    shown, unit = item.shown(number, units.on_screen), item.unit_in(units.on_screen)
    if unit in COUNTED:
        return say(COUNTED[unit], count=1 if number == 1 else 2, figure=shown)
    return f"{shown}\u00a0{unit_label(unit)}"


def item_choices(item: Item) -> list[tuple[str, str]]:
    """What is sent for each choice that an item offers, and its words."""
    return [(str(place), say(CHOICES[choice])) for place, choice in enumerate(item.choices)]


def choice_words(item: Item, number: float) -> str:
    """The words of the choice that a figure of an item says."""
    return say(CHOICES[item.choices[round(number)]])


def unit_label(unit: str) -> str:
    """A unit that an item is shown in, beside a figure or an entry box."""
    return say(UNITS[unit]) if unit in UNITS else unit


def _slug(one: Phase | Item | str) -> str:
    return one if isinstance(one, str) else one.slug


def of_bore(slug: str) -> tuple[str, str] | None:
    """What an item of a single bore begins with, and the bore; None for other items."""
    start = next((one for one in OF_BORE if slug.startswith(one)), None)
    return (start, slug.removeprefix(start)) if start else None


def _words_of(slug: str) -> ItemWords | None:
    found = of_bore(slug)
    return OF_BORE[found[0]] if found else ITEMS.get(slug)


def _values(slug: str) -> dict[str, object]:
    found = of_bore(slug)
    return {"bore": found[1], "blips": BLIPS} if found else {}


def _step(reason: Reason) -> str:
    """The words of a step, for an engine with the ``parts`` among the reason's values, none where they are not said."""
    return say(for_banks(STEPS[StepCode(reason.code)], reason.values.get("parts", ())))


TABLES[StepCode] = dict.fromkeys(StepCode, _step)
