"""What is said over the telephone: one instruction at a time, in plain words, with both unit systems.

Whoever answers at the shop reads the sentence out and enters what the customer reads back, in the customer's units.
"""

from dataclasses import dataclass

from app.shop.procedure.items import Item
from app.shop.record.measures import CHOICES, Units
from app.sync.engine.layout import Layout
from app.sync.engine.units import INCH, MM
from app.sync.planning.advice import Advice
from app.wording.quantities import turns_in_words

PLAIN: dict[str, str] = {
    "wide-open": "Key out. Press the pedal right down: is the flap in every intake straight up, both sides alike?",
    "closed-contact": "Let the pedal go. Does every flap close by itself, without a push?",
    "base-blade": "Which feeler blade did you lay under the stop screw? It should be {inch} inch, that is {mm} mm.",
    "preset-turns": "Take the blade out. How many turns did you screw each stop screw in, the same on both sides?",
    "bypass-turns": "Seat each bypass screw lightly, no more. How many turns did you screw each one out, all alike?",
    "shaft-plates": "Let the pedal go. Do the flaps on one shaft close together, and does none of them rub?",
    "stop-spring": "Does a spring hold every stop screw, so that it does not turn by itself?",
    "coupler-slack": "Rock each flap against the next one with a finger. Is there no play between them?",
    "sensor-closed": "With the pedal up, what does the throttle sensor read, in volts?",
    "sensor-open": "Key on, engine off, pedal right down: what does the throttle sensor read, in volts?",
    "kill-switch": "Is somebody at the key, and have you tried that the key stops it?",
    "exhaust-drawn": "Are you outdoors, or is the exhaust led outdoors?",
    "fuel-dry": "Key on, engine off: is every fuel joint dry?",
    "throttle-returns": "Press the pedal right down and let go: does it come back by itself?",
    "bores-clear": "Is nothing loose near the open intakes, and are your face and hands away from them?",
    "coolant-full": "Is the coolant full, and the air let out?",
    "wheels-chocked": "Are the wheels chocked, the gear out, and nobody in front of the car?",
    "fan-clear": "Are leads, sleeves and hands away from fan and belts? The fan starts by itself.",
    "oil-pressure": "If there is a gauge: what did oil pressure show within seconds of the start?",
    "oil-lamp": "Did the oil lamp go out within seconds of the start? If not, stop it now.",
    "coolant": "What does the coolant gauge read now?",
    "oil": "If there is an oil temperature gauge, what does it read now?",
    "pulls": "Raise the engine speed briefly and let it fall. How many times did you do that?",
    "oil-pressure-hot": "If there is a gauge: what is oil pressure at idle now that it is hot?",
    "idle-speed": "How fast does it idle now, in turns a minute?",
    "idle-control": "Is idle control switched off or unplugged as we agreed, so that it does not correct?",
    "loads-steady": "Are fans and air conditioning all off, or all on, and staying so?",
    "free-play": "Engine off. Wiggle the rod to each side: is there a little play at both?",
    "joints-tight": "Do the rod ends have no play of their own?",
    "full-open": "Press the pedal right down: do both sides reach the end together?",
    "lever-held": "Is a second person there to hold the lever, or is it wedged safely?",
    "couplers-tight": "Engine off. Is every coupler tight?",
    "links-tight": "Are the nuts on both rods tight, with the little play still there?",
    "stops-marked": "Is every stop screw locked and marked with a dab of paint?",
    "bypass-held": "Is every bypass screw held where it is, by its spring, its nut or its cap?",
    "tools-counted": "Are all tools, blades and rags back in the box? Count them.",
    "air-temperature": "How warm is the air that the engine draws in?",
    "air-pressure": "If there is a barometer or a weather report: what is the air pressure today?",
    "idle": "How fast does it idle as you leave it, in turns a minute?",
}
"""What to ask for each item, in words for somebody who never did this; the base blade stands in both units."""

NOT_SO = "Then stop the engine if it runs, key out, and put that right first."
NO_FURTHER = "We go no further before it is so."
OR_PASSED = "If it cannot be put right today, tell me why, and I write that down."
"""What is read out when the answer is no: beside what keeps people from harm nothing is passed over."""


@dataclass(frozen=True, slots=True)
class Prompt:
    """The one instruction to read out now: its item, the words, the units the answer may come in, and what to say
    ``otherwise``, when the answer is no; empty where a figure is asked for."""

    item: Item
    words: str
    units: tuple[str, ...]
    otherwise: str = ""


def item_prompt(item: Item, base_blade: float, units: Units) -> Prompt:
    """An item as it is asked over the telephone, the shop's own unit first; ``base_blade`` [m] is the shop's."""
    words = PLAIN.get(item.slug, item.ask).format(inch=f"{base_blade / INCH:.3f}", mm=f"{base_blade / MM:.2f}")
    if item.kind == "tick":
        return Prompt(item, words, (), f"{NOT_SO} {NO_FURTHER if item.must else OR_PASSED}")
    if item.quantity is None:
        return Prompt(item, words, (item.unit,) if item.unit else ())
    first = item.unit_in(units)
    return Prompt(item, words, (first, *(unit for unit in CHOICES[item.quantity] if unit != first)))


def advice_prompt(advice: Advice, layout: Layout, bore: int | None, lever: float, above: bool = False) -> str:
    """A step of the readings as it is read out; empty where there is nothing for a customer to do.

    ``bore`` is the one to read next; ``lever`` the blade under the central lever meanwhile [m], 0 at idle, reached from
    ``above`` where the lever is opened further first.
    """
    match advice.kind:
        case "measure" if bore is not None:
            held = f"With the {_both(lever)} blade under the lever, hold" if lever else "Hold"
            if lever and above:
                held = f"Open the lever well past it, then let it come back onto the {_both(lever)} blade. Hold"
            return f"{held} the meter on intake {bore} until it stands still. What does it show?"
        case "stop":
            where = f"the stop screw at intake {layout.bank(advice.bank or '').stop}"
            return f"{OFF} Turn {where} {_turned(advice.turns)}. {START}"
        case "blade":
            blade = " and ".join(_both(leaf) for leaf in advice.leaves)
            between = f"between intakes {advice.near} and {advice.far}"
            laid = f"let flap {advice.far} close on a blade of {blade}, tighten it, blade out"
            return f"{OFF} Loosen the coupler {between}, {laid}. {START}"
        case "link":
            flats, way = f"{abs(advice.flats):g}", "earlier" if advice.flats > 0 else "later"
            turn = f"Turn the rod of bank {advice.bank} by {flats} of the six flats of its nut"
            return f"{OFF} {turn}, so that this side opens {way}, and lock it. {START}"
        case "screw":
            where = f"the screw of the coupler between intakes {advice.near} and {advice.far}"
            return f"{OFF} Turn {where} {_turned(advice.turns)}. {START}"
        case "bypass":
            where = f"the bypass screw of intake {advice.near}"
            return f"{CLEAR} Turn {where} {_turned(-advice.turns)}."
    return ""


OFF = "Stop the engine."
CLEAR = "Keep sleeves and hands clear of fan and belts."
START = "Hands clear, then start it again."


def _turned(inward: float) -> str:
    way = "in, clockwise," if inward > 0 else "out, anticlockwise,"
    return f"{way} by {turns_in_words(abs(inward))}{' of a turn' if abs(inward) < 1 else ''}"


def _both(thickness: float) -> str:
    return f"{thickness / INCH:.3f} inch ({thickness / MM:.2f} mm)"
