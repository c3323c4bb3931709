"""What is said over the telephone: one instruction at a time, in lay words, with both unit systems.

The person at the shop reads the sentence out and enters what the customer reads back, in the customer's units. Here a
bore is an intake, its plate a throttle flap, and a bank a side. Everything is in the customer's language. What is asked
was told before, and nothing at the engine is adjusted or laid in place while it runs: a customer stands beside belts,
fan and pulleys, and the shop does not see them.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from app.shop.assessment.leaks import BESIDE, HERE
from app.shop.procedure.items import Item
from app.shop.procedure.parts import Part
from app.shop.record.measures import Units, offered
from app.sync.engine.adjusters.bypass_screw import BYPASS_BASE
from app.sync.engine.layout import Layout
from app.sync.engine.units import INCH, MM, THOU
from app.sync.planning.advice import Advice, AdviceKind
from app.wording.language import to_the_customer
from app.wording.message import Message, say
from app.wording.quantities import flats_in_figures, turns
from app.wording.work.adjusters import ADJUSTERS
from app.wording.work.phases import SNAP_SLUG, ByBanks, Text, for_banks, of_bore, unit_label

IDLE_CONTROL = Message(
    "Stop the engine. Switch the idle control off or unplug it, so that it does not correct the idle. Start the engine "
    "again. Is that done?"
)
ITEMS: Mapping[str, Text] = {
    "wide-open": ByBanks(
        Message(
            "Take the key out and pocket it. Press the pedal to the floor. Look into every intake: is each throttle "
            "flap straight up?"
        ),
        Message(
            "Take the key out and pocket it. Press the pedal to the floor. Look into every intake: is each throttle "
            "flap straight up, the same on both sides?"
        ),
    ),
    "closed-contact": Message("Release the pedal. Does every throttle flap close fully on its own, without a push?"),
    "battery-off": Message("Is the ignition off, and disconnected from the battery?"),
    "battery-back": Message("Hands away from the throttle flaps. Is the ignition connected to the battery again?"),
    "fire-ready": Message("Is a fire extinguisher at hand, and do you know where to shut the fuel off?"),
    "protected": Message("Do you wear hearing and eye protection?"),
    "oil-primed": Message("New engine: was the oil primed until the pressure showed?"),
    "base-timing": Message("New engine: was the ignition timing set and checked?"),
    "run-in": Message(
        "New engine: was the camshaft run in as its maker says? If not, stop the engine now: it must not idle."
    ),
    "mixture-safe": Message("New engine: was the mixture under load measured, and is it safe?"),
    "intake-off": Message("Are the air filter or parts of the intakes off?"),
    "intake-back": Message("Are the air filter and all parts of the intakes on again?"),
    "hoses-off": Message("Are hoses of the intakes unplugged or led away?"),
    "hoses-back": Message("Is every hose connected and every port capped, and is there no hiss at idle?"),
    "idle-control-back": Message("Connect the idle control again. Does the idle come back to where it should be?"),
    "loads-back": Message("Let fans and air conditioning work as usual. Did you see them come on?"),
    "linkage-rest": Message(
        "Pedal released: is there a little free play in the linkage, and do springs hold it closed?"
    ),
    "linkage-full": Message(
        "Engine off, pedal to the floor: is every throttle flap fully open, does the pedal stop first, and does "
        "nothing lock there?"
    ),
    "sensor-learned": Message("Did the engine computer learn the throttle sensor, pedal released and to the floor?"),
    "throttle-power-off": Message(
        "Take the key out and pocket it. Disconnect the battery, so that no motor can move a throttle flap. Is that "
        "done?"
    ),
    "maker-instructions": Message("Do you have the manufacturer's instructions for these electronic throttles?"),
    "plates-follow": Message(
        "Connect the battery if it is off. Keep hands and tools away from the intakes. Turn the key on, engine off. "
        "Press the pedal to the floor and release it. Does every throttle flap open and return?"
    ),
    "throttle-adapted": Message(
        "Follow the manufacturer's steps for learning the throttle again, if there are any. Is that done?"
    ),
    "air-path-clear": Message("Look at the cooling fan, its covers and the fins. Is all of it in place and clear?"),
    "base-blade": ByBanks(
        Message(
            "Turn the stop screw out until it is free. Put the {feeler} feeler under it. Turn it in until it just "
            "touches. Which feeler is it?"
        ),
        Message(
            "Turn each stop screw out until it is free. Put the {feeler} feeler under it. Turn it in until it just "
            "touches. Which feeler is it?"
        ),
    ),
    "preset-turns": ByBanks(
        Message("Remove the feeler. Turn the stop screw in (clockwise) by {turns}. How many turns did you turn it?"),
        Message(
            "Remove the feeler. Turn each stop screw in (clockwise) by {turns}, the same on both sides. How many turns "
            "did you turn them?"
        ),
    ),
    "bypass-turns": Message(
        "Turn each bypass screw in lightly until it stops, no further. Then turn each one out by {out}. How many turns "
        "out are they, the same at every intake?"
    ),
    "shaft-plates": Message(
        "Release the pedal. Look at the throttle flaps on one shaft. Do they close together, and none rubs?"
    ),
    "stop-spring": Message(
        "Look at the stop screws. Does a spring hold every one, so that it does not turn on its own?"
    ),
    "coupler-slack": Message("Rock each throttle flap against the next one with a finger. Is there no looseness?"),
    "sensor-closed": Message(
        "Take hands and tools away from the throttle flaps. Engine stopped, key on, pedal released: what does the "
        "throttle position sensor read, in volts? Then turn the key off."
    ),
    "sensor-open": Message(
        "Engine stopped, key on, pedal pressed to the floor: what does the throttle position sensor read, in volts? "
        "Then turn the key off."
    ),
    "kill-switch": Message(
        "Have a second person sit at the key, to turn it off the moment you call. Let them turn it on and off once, "
        "without a start. Do the warning lamps come on and go out?"
    ),
    "exhaust-drawn": Message("Is the engine outdoors, or is the exhaust led outdoors?"),
    "fuel-dry": Message(
        "Connect the battery again if it is off. Turn the key on, engine off. Look at every fuel joint. Is each one "
        "free of leaks?"
    ),
    "throttle-returns": Message(
        "Engine off. Press the pedal to the floor and release it. Does the throttle close on its own?"
    ),
    "bores-clear": Message(
        "Take everything loose away from the open intakes. From now on keep face and hands away from them. Is that "
        "done?"
    ),
    "coolant-full": Message("Engine cold: look at the coolant. Is it full, and is the air bled out?"),
    "wheels-chocked": Message(
        "Chock the wheels, select neutral and set the brake. Send all people away from the front. Is that done?"
    ),
    "fan-clear": Message(
        "Take leads, sleeves and hands away from fan and belts. An electric fan can start with the key off. Is that "
        "done?"
    ),
    "oil-pressure": Message(
        "Start the engine. If there is a gauge: what did oil pressure show within seconds of the start?"
    ),
    "oil-lamp": Message(
        "Start the engine. The oil lamp must go out within seconds. If it does not, stop the engine at once. Did it go "
        "out?"
    ),
    "coolant": Message("Let the engine run. What does the coolant gauge read now?"),
    "head": Message("Let the engine run. What does the cylinder head gauge read now? Use the hottest one."),
    "oil": Message("If there is an oil temperature gauge: what does it read now?"),
    "pulls": Message(
        "From the driver's seat, raise the engine speed briefly and let it fall, {pulls} times. How many times did you "
        "do that?"
    ),
    "oil-pressure-hot": Message("If there is a gauge: what is the oil pressure at idle now that the engine is hot?"),
    "leak-checked": Message(
        "Stop the engine. Feel every joint and hose at the intake, to the brake booster and to the crankcase. Is each "
        "one tight? Use no spray: hot parts can light it."
    ),
    "idle-speed": Message("Let it idle, foot off the pedal. How fast does the engine run, in rpm?"),
    "idle-control": ByBanks(
        IDLE_CONTROL,
        IDLE_CONTROL,
        Message("Hold the throttle flaps in one position with the manufacturer's service function. Is that done?"),
    ),
    "loads-steady": Message(
        "Switch lights, heater and air conditioning off and leave them off. Leave the cooling fan as it is. Is that "
        "done?"
    ),
    "fans": Message("Watch the cooling fan at hot idle. Does it run all the time, never, or on and off in turn?"),
    "free-play": Message("Stop the engine. Wiggle the two rods, one to each side. Does each have a little free play?"),
    "joints-tight": Message(
        "Engine still off. Move both rods along their length. Are the joints at their ends free of looseness?"
    ),
    "full-open": Message("Engine off. Press the pedal to the floor. Do both sides reach the end together?"),
    "first-opening-speed": Message("How fast does the engine run with the first feeler under the lever, in rpm?"),
    "next-opening-speed": Message("How fast does the engine run with the next feeler under the lever, in rpm?"),
    "rev-limit": Message(
        "Engine off. Set a low rev limit if you can. Otherwise look up the engine's own limiter, and that it works. At "
        "how many rpm does it cut in?"
    ),
    "lever-held": Message(
        "A feeler will hold the lever: no hand holds it while the engine runs. Have a second person sit at the pedal "
        "and the key. Is that person there?"
    ),
    "couplers-tight": Message("Stop the engine. Try every coupler. Is each one tight?"),
    "links-tight": Message(
        "Engine off. Try the nuts on both rods, then the rods. Are the nuts tight, and is the little free play still "
        "there?"
    ),
    "stops-marked": ByBanks(
        Message("Engine off. Glue the stop screw, or put a dab of paint across it. Is that done?"),
        Message("Engine off. Glue every stop screw, or put a dab of paint across it. Is that done?"),
    ),
    "bypass-held": Message(
        "Engine off. Look at every bypass screw. Is each one held in place by its spring, its nut or its cap?"
    ),
    "tools-counted": Message("Put all tools, feelers and rags back in the box. Count them. Are all there?"),
    "air-temperature": Message("How warm is the air that the engine draws in?"),
    "air-pressure": Message("If there is a barometer or a weather report: what is the air pressure today?"),
    "odometer": Message("What does the odometer show?"),
    "hours": Message("If there is an hour meter: how many hours does it show?"),
    "idle": Message("Start the engine and let it settle. How fast does it idle as you leave it, in rpm?"),
}
"""What to ask for each item, in words for a person who never did this: what to do first, then the question."""

BLIP = Message(
    "Press the pedal briefly and release it. Once the idle is steady, what does the meter show at intake {intake}?"
)
BLIP_COLUMN = Message(
    "Press the pedal briefly and release it. Once the idle is steady, what does column {intake} show?"
)

OF_BORE: Mapping[str, Message] = {
    SNAP_SLUG: BLIP,
    BESIDE: Message("What does the vacuum gauge show at the other intakes, on average?"),
    HERE: Message("Engine idling: what does the vacuum gauge show at intake {intake}?"),
}
"""What is asked at a single intake, by what the slug of the item begins with."""

FIX_FIRST = Message("If the engine runs, stop it. Take the key out. Fix this first.")
NO_FURTHER = Message("We cannot continue until this is done.")
OR_WAIVED = Message("If you cannot fix it today, tell me why. I will write it down.")
"""What is read out when the answer is no. A required item cannot be waived."""

STOP_ENGINE = Message("Stop the engine.")
START_AGAIN = Message("Keep hands clear, then start the engine again.")

IDLING = Message("Keep hands clear. If the engine is off, start it and let it settle.")
READ = Message("Hold the meter on intake {intake} until the reading is steady. What does it show, in {unit}?")
CONNECT = Message(
    "Connect one column to the port behind each throttle flap, column 1 to intake 1, and so on.",
    note="vacuum columns; before the first reading, engine stopped",
)
ALL_COLUMNS = Message(
    "All columns show at once. Wait until they are steady, then read them to me one after another. What does column "
    "{intake} show, in {unit}?"
)
COLUMN = Message("What does column {intake} show now, in {unit}?")
"""Vacuum columns hang on the ports of all intakes at once, numbered like them."""

LAY_FEELER = Message(
    "Lift the lever, put the {feeler} feeler alone under it, and let the lever down on it. The engine will run faster "
    "than idle.",
    note="engine stopped",
)
FROM_OPEN = Message(
    "From the driver's seat, press the pedal well past the feeler, then let it come back onto the feeler."
)
LEAVE_FEELER = Message("Leave the {feeler} feeler under the lever.")
TAKE_FEELER_OUT = Message("Take the feeler out from under the lever.", note="engine stopped")

SPEED = Message("How fast does the engine run now, in rpm?", note="with the lever on a feeler")

RESET_ON_TWO = Message(
    "Loosen the coupler between intakes {near} and {far}. Let throttle flap {far} close on 2 feelers together, "
    "{feeler} and {second}. Tighten the coupler and remove the feelers."
)

MARKED_IN_INCHES = Message("{inch}\u00a0inch ({mm}\u00a0mm)")
MARKED_IN_MILLIMETERS = Message("{mm}\u00a0mm ({inch}\u00a0inch)")


@dataclass(frozen=True, slots=True)
class Prompt:
    """The one instruction to read out now: its item, the words, the units the answer may come in, and what to say
    ``otherwise``, when the answer is no; empty where a figure is asked for."""

    item: Item
    words: str
    units: tuple[str, ...]
    otherwise: str = ""


@dataclass(frozen=True, slots=True)
class ToldFirst:
    """Figures that a question tells before it asks: turns of the ``preset``, how many short ``pulls``; ``columns``
    where the meter hangs on all intakes."""

    preset: float = 0.0
    pulls: int = 0
    columns: bool = False


NOTHING_TOLD = ToldFirst()


@dataclass(frozen=True, slots=True)
class ReadingAsked:
    """A reading to ask for: the ``bore``, None where none is due; the ``unit`` of the meter; ``lever`` the feeler under
    the central lever [m], 0 at idle, reached from ``above`` where the lever is opened further first.

    ``columns`` where the meter reads pressure at all intakes, ``connected`` once anything was read with them; ``begun``
    once anything of this round was read, ``opened`` once any round of the visit was read with the lever open.
    """

    bore: int | None
    unit: str
    lever: float = 0.0
    above: bool = False
    columns: bool = False
    connected: bool = True
    begun: bool = True
    opened: bool = False


def item_prompt(
    item: Item, parts: Collection[Part], base_feeler: float, units: Units, told: ToldFirst = NOTHING_TOLD
) -> Prompt:
    """An item as it is asked over the telephone, of an engine that has those parts.

    The shop's own unit comes first; ``base_feeler`` [m] is the shop's. Raises KeyError for an item that is not asked
    for over the telephone.
    """
    with to_the_customer():
        words = _asked(item.slug, parts, base_feeler, told)
        if item.kind == "tick":
            return Prompt(item, words, (), f"{say(FIX_FIRST)} {say(NO_FURTHER if item.required else OR_WAIVED)}")
    if item.quantity is None:
        return Prompt(item, words, (unit_label(item.unit_in(units)),))
    first = item.unit_in(units.on_screen)
    return Prompt(item, words, (first, *(unit for unit in offered(item.quantity) if unit != first)))


def advice_prompt(advice: Advice, layout: Layout, reading: ReadingAsked | None = None) -> str:
    """A step of the readings as it is read out; empty where there is nothing for a customer to do. ``reading`` is the
    one to take next, where the step is to read."""
    with to_the_customer():
        if advice.kind is AdviceKind.MEASURE:
            return _read(reading) if reading is not None and reading.bore is not None else ""
        return _adjust(advice, layout)


def speed_prompt(lever: float, above: bool) -> str:
    """The question for the engine speed with the lever on a feeler [m], reached from ``above`` or not."""
    with to_the_customer():
        ahead = [_engine_off(say(LAY_FEELER, feeler=_feeler(lever)))]
        ahead += [say(FROM_OPEN)] if above else []
        return " ".join((*ahead, say(SPEED)))


def _asked(slug: str, parts: Collection[Part], base_feeler: float, told: ToldFirst) -> str:
    if found := of_bore(slug):
        blip_column = told.columns and found[0] == SNAP_SLUG
        return say(BLIP_COLUMN if blip_column else OF_BORE[found[0]], intake=found[1])
    values = {"turns": turns(told.preset), "out": turns(BYPASS_BASE), "pulls": told.pulls}
    return say(for_banks(ITEMS[slug], parts), feeler=_feeler(base_feeler), **values)


def _read(reading: ReadingAsked) -> str:
    """The question, and ahead of the first one of a round what has to be in place, which is put there engine off."""
    feeler = _feeler(reading.lever)
    if reading.begun:
        ahead = [say(LEAVE_FEELER, feeler=feeler)] if reading.lever else []
        return " ".join((*ahead, say(COLUMN if reading.columns else READ, intake=reading.bore, unit=reading.unit)))
    in_place = [say(CONNECT)] if reading.columns and not reading.connected else []
    if reading.lever:
        in_place.append(say(LAY_FEELER, feeler=feeler))
    elif reading.opened:
        in_place.append(say(TAKE_FEELER_OUT))
    ahead = [_engine_off(" ".join(in_place)) if in_place else say(IDLING)]
    ahead += [say(FROM_OPEN)] if reading.lever and reading.above else []
    return " ".join((*ahead, say(ALL_COLUMNS if reading.columns else READ, intake=reading.bore, unit=reading.unit)))


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
    return _engine_off(said)


def _engine_off(instruction: str) -> str:
    return f"{say(STOP_ENGINE)} {instruction} {say(START_AGAIN)}"


def _feeler(thickness: float) -> str:
    """A feeler [m] as it is marked, in inches where it is one of half a thousandth of an inch each, and in the other
    unit to as many places as tell it from its neighbors."""
    half_thou = thickness / THOU * 2
    in_inches = abs(half_thou - round(half_thou)) < 0.01
    inch, mm = thickness / INCH, thickness / MM
    if in_inches:
        return say(MARKED_IN_INCHES, inch=f"{inch:.{3 if round(half_thou) % 2 == 0 else 4}f}", mm=f"{mm:.3f}")
    places = 2 if abs(mm * 100 - round(mm * 100)) < 0.01 else 3
    return say(MARKED_IN_MILLIMETERS, inch=f"{inch:.4f}", mm=f"{mm:.{places}f}")
