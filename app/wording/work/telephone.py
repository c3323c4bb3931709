"""What is said over the telephone: one instruction at a time, in lay words, with both unit systems.

The person at the shop reads the sentence out and enters what the customer reads back, in the customer's units. Here a
bore is an intake, its plate a throttle flap, and a bank a side. Everything is in the customer's language.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from app.shop.procedure.items import Item
from app.shop.procedure.parts import Part
from app.shop.record.measures import Units, offered
from app.sync.engine.layout import Layout
from app.sync.engine.units import INCH, MM
from app.sync.planning.advice import Advice, AdviceKind
from app.wording.language import to_the_customer
from app.wording.message import Message, say
from app.wording.quantities import flats_in_figures, turns
from app.wording.work.adjusters import ADJUSTERS
from app.wording.work.phases import SNAP_SLUG, ByBanks, Text, for_banks, unit_label

ITEMS: Mapping[str, Text] = {
    "wide-open": ByBanks(
        Message("Take the key out. Press the pedal to the floor. Is the throttle flap in every intake straight up?"),
        Message(
            "Take the key out. Press the pedal to the floor. Is the throttle flap in every intake straight up, the "
            "same on both sides?"
        ),
    ),
    "closed-contact": Message("Release the pedal. Does every throttle flap close fully on its own, without a push?"),
    "base-blade": Message("Which feeler did you put under the stop screw? It should be {feeler}."),
    "preset-turns": ByBanks(
        Message("Remove the feeler. How many turns did you turn the stop screw in?"),
        Message("Remove the feeler. How many turns did you turn each stop screw in, the same on both sides?"),
    ),
    "bypass-turns": Message(
        "Turn each bypass screw in lightly until it stops, no further. How many turns did you then turn each one out, "
        "the same at every intake?"
    ),
    "shaft-plates": Message("Release the pedal. Do the throttle flaps on one shaft close together, and none rubs?"),
    "stop-spring": Message("Does a spring hold every stop screw, so that it does not turn on its own?"),
    "coupler-slack": Message("Rock each throttle flap against the next one with a finger. Is there no looseness?"),
    "sensor-closed": Message("Pedal released: what does the throttle position sensor read, in volts?"),
    "sensor-open": Message(
        "Key on, engine off, pedal pressed to the floor: what does the throttle position sensor read, in volts?"
    ),
    "kill-switch": Message("Is a second person at the key, and did you test that the key stops the engine?"),
    "exhaust-drawn": Message("Is the engine outdoors, or is the exhaust led outdoors?"),
    "fuel-dry": Message("Key on, engine off: is every fuel joint free of leaks?"),
    "throttle-returns": Message("Press the pedal to the floor and release it: does the throttle close on its own?"),
    "bores-clear": Message("Is nothing loose near the open intakes, and are your face and hands away from them?"),
    "coolant-full": Message("Is the coolant full, and is the air bled out?"),
    "wheels-chocked": Message("Are the wheels chocked, is it in neutral, and are all people away from the front?"),
    "fan-clear": Message(
        "Are leads, sleeves and hands away from fan and belts? An electric fan can start with the key off."
    ),
    "oil-pressure": Message("If there is a gauge: what did oil pressure show within seconds of the start?"),
    "oil-lamp": Message("Did the oil lamp go out within seconds of the start? If not, stop the engine now."),
    "coolant": Message("What does the coolant gauge read now?"),
    "oil": Message("If there is an oil temperature gauge, what does it read now?"),
    "pulls": Message("Raise the engine speed briefly and let it fall. How many times did you do that?"),
    "oil-pressure-hot": Message("If there is a gauge: what is the oil pressure at idle now that the engine is hot?"),
    "leak-checked": Message(
        "Stop the engine. Are all joints and hoses at the intake tight? Use no spray: hot parts can light it."
    ),
    "idle-speed": Message("How fast does the engine idle now, in rpm?"),
    "idle-control": Message(
        "Is the idle control switched off or unplugged as agreed, so that it does not correct the idle?"
    ),
    "loads-steady": Message(
        "Is air conditioning off or on, and does it stay that way? Leave the cooling fan alone, never switch it off."
    ),
    "fans": Message("What does the cooling fan do: run all the time, stand still, or start and stop by itself?"),
    "free-play": Message("Stop the engine. Wiggle the two rods, one to each side. Does each have a little free play?"),
    "joints-tight": Message("Are the joints at the ends of both rods free of looseness?"),
    "full-open": Message("Press the pedal to the floor: do both sides reach the end together?"),
    "first-opening-speed": Message("How fast does the engine run with the first feeler under the lever, in rpm?"),
    "next-opening-speed": Message("How fast does the engine run with the next feeler under the lever, in rpm?"),
    "lever-held": Message("Is a second person there to hold the lever, or is it wedged safely?"),
    "couplers-tight": Message("Stop the engine. Is every coupler tight?"),
    "links-tight": Message("Are the nuts on both rods tight, and is the little free play still there?"),
    "stops-marked": Message("Is every stop screw glued in place or marked with a dab of paint?"),
    "bypass-held": Message("Is every bypass screw held in place by its spring, its nut or its cap?"),
    "tools-counted": Message("Are all tools, feelers and rags back in the box? Count them."),
    "air-temperature": Message("How warm is the air that the engine draws in?"),
    "air-pressure": Message("If there is a barometer or a weather report: what is the air pressure today?"),
    "idle": Message("How fast does the engine idle as you leave it, in rpm?"),
}
"""What to ask for each item, in words for a person who never did this."""

BLIP = Message(
    "Press the pedal briefly and release it. Once the idle is steady, what does the meter show at intake {intake}?"
)

FIX_FIRST = Message("If the engine runs, stop it. Take the key out. Fix this first.")
NO_FURTHER = Message("We cannot continue until this is done.")
OR_WAIVED = Message("If you cannot fix it today, tell me why. I will write it down.")
"""What is read out when the answer is no. A required item cannot be waived."""

STOP_ENGINE = Message("Stop the engine.")
KEEP_CLEAR = Message("Keep sleeves and hands clear of fan and belts.")
START_AGAIN = Message("Keep hands clear, then start the engine again.")

READ = Message("Hold the meter on intake {intake} until the reading is steady. What does it show?")
READ_AT = Message(
    "Keep the {feeler} feeler under the lever. Hold the meter on intake {intake} until the reading is steady. What "
    "does it show?"
)
READ_FROM_OPEN = Message(
    "Open the lever well past the feeler, then let it close onto the {feeler} feeler. Hold the meter on intake "
    "{intake} until the reading is steady. What does it show?"
)
COLUMN = Message("Look at column {intake} until it is steady. What does it show?")
COLUMN_AT = Message(
    "Keep the {feeler} feeler under the lever. Look at column {intake} until it is steady. What does it show?"
)
COLUMN_FROM_OPEN = Message(
    "Open the lever well past the feeler, then let it close onto the {feeler} feeler. Look at column {intake} until it "
    "is steady. What does it show?"
)
"""Vacuum columns hang on every intake at once, numbered like them."""

RESET_ON_TWO = Message(
    "Loosen the coupler between intakes {near} and {far}. Let throttle flap {far} close on 2 feelers together, "
    "{feeler} and {second}. Tighten the coupler and remove the feelers."
)

FEELER = Message("{inch}\u00a0inch ({mm}\u00a0mm)")


@dataclass(frozen=True, slots=True)
class Prompt:
    """The one instruction to read out now: its item, the words, the units the answer may come in, and what to say
    ``otherwise``, when the answer is no; empty where a figure is asked for."""

    item: Item
    words: str
    units: tuple[str, ...]
    otherwise: str = ""


def item_prompt(item: Item, parts: Collection[Part], base_feeler: float, units: Units) -> Prompt:
    """An item as it is asked over the telephone, of an engine that has those parts.

    The shop's own unit comes first; ``base_feeler`` [m] is the shop's. Raises KeyError for an item that is not asked
    for over the telephone.
    """
    with to_the_customer():
        words = _asked(item.slug, parts, base_feeler)
        if item.kind == "tick":
            return Prompt(item, words, (), f"{say(FIX_FIRST)} {say(NO_FURTHER if item.required else OR_WAIVED)}")
    if item.quantity is None:
        return Prompt(item, words, (unit_label(item.unit_in(units)),))
    first = item.unit_in(units.on_screen)
    return Prompt(item, words, (first, *(unit for unit in offered(item.quantity) if unit != first)))


def advice_prompt(
    advice: Advice, layout: Layout, bore: int | None, lever: float, above: bool = False, columns: bool = False
) -> str:
    """A step of the readings as it is read out; empty where there is nothing for a customer to do.

    ``bore`` is the one to read next; ``lever`` the feeler under the central lever at that time [m], 0 at idle, reached
    from ``above`` where the lever is opened further first; ``columns`` where the meter reads vacuum at all intakes.
    """
    with to_the_customer():
        if advice.kind is AdviceKind.MEASURE:
            return _read(bore, lever, above, columns) if bore is not None else ""
        return _adjust(advice, layout)


def _asked(slug: str, parts: Collection[Part], base_feeler: float) -> str:
    if slug.startswith(SNAP_SLUG):
        return say(BLIP, intake=slug.removeprefix(SNAP_SLUG))
    return say(for_banks(ITEMS[slug], parts), feeler=_feeler(base_feeler))


def _read(bore: int, lever: float, above: bool, columns: bool) -> str:
    idle, held, from_open = (COLUMN, COLUMN_AT, COLUMN_FROM_OPEN) if columns else (READ, READ_AT, READ_FROM_OPEN)
    if not lever:
        return say(idle, intake=bore)
    return say(from_open if above else held, intake=bore, feeler=_feeler(lever))


def _adjust(advice: Advice, layout: Layout) -> str:
    if advice.adjuster is None:
        return ""
    words, (feeler, *more) = ADJUSTERS[advice.kind], [_feeler(leaf) for leaf in advice.leaves] or [""]
    said = say(
        RESET_ON_TWO if more else words.told.of(advice.amount),
        bank=advice.bank,
        intake=advice.near if advice.bank is None else layout.bank(advice.bank).stop,
        near=advice.near,
        far=advice.far,
        turns=turns(abs(advice.turns)),
        flats=flats_in_figures(abs(advice.flats)),
        feeler=feeler,
        second=more[0] if more else "",
    )
    return f"{say(KEEP_CLEAR)} {said}" if words.running else _engine_off(said)


def _engine_off(instruction: str) -> str:
    return f"{say(STOP_ENGINE)} {instruction} {say(START_AGAIN)}"


def _feeler(thickness: float) -> str:
    """A feeler [m] in both units, in inches with a fourth place where there is one."""
    inch = thickness / INCH
    places = 3 if abs(inch * 1000 - round(inch * 1000)) < 0.05 else 4
    return say(FEELER, inch=f"{inch:.{places}f}", mm=f"{thickness / MM:.2f}")
