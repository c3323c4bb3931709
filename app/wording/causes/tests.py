"""The tests of a cross-check: their names, how each is made safely, and what either outcome tells."""

from collections.abc import Mapping

from app.sync.diagnosis.measurements import CATALOGUE, Measure, Run
from app.wording.message import Message, say

NAME_LENGTH = 24
HOW = 200

NAMES: Mapping[Measure, Message] = {
    Measure.AIR: Message("Air at the meter", limit=NAME_LENGTH),
    Measure.VACUUM: Message("Vacuum", limit=NAME_LENGTH, context="cross-check"),
    Measure.HEAT: Message("Exhaust heat", limit=NAME_LENGTH),
    Measure.DROP: Message("Speed drop", limit=NAME_LENGTH),
    Measure.MIXTURE: Message("Mixture", limit=NAME_LENGTH),
    Measure.SNAP: Message("Snap scatter", limit=NAME_LENGTH),
    Measure.TIMING: Message("Timing", limit=NAME_LENGTH),
    Measure.SQUEEZE: Message("Hose squeezed", limit=NAME_LENGTH),
    Measure.BACK_PRESSURE: Message("Back pressure", limit=NAME_LENGTH),
    Measure.RECORD: Message("Vacuum to last visit", limit=NAME_LENGTH),
    Measure.SPRAY: Message("Water mist", limit=NAME_LENGTH),
    Measure.ADAPTER: Message("Second meter", limit=NAME_LENGTH),
    Measure.SMOKE: Message("Smoke", limit=NAME_LENGTH),
    Measure.PLUG: Message("Plug look", limit=NAME_LENGTH),
    Measure.SWAP: Message("Coil and plug swapped", limit=NAME_LENGTH),
    Measure.FEEL: Message("Feel by hand", limit=NAME_LENGTH),
    Measure.RESET: Message("Coupler reset", limit=NAME_LENGTH),
    Measure.RESISTANCE: Message("Injector resistance", limit=NAME_LENGTH),
    Measure.FLOW: Message("Injector flow", limit=NAME_LENGTH),
    Measure.COMPRESSION: Message("Compression", limit=NAME_LENGTH),
    Measure.LEAK_DOWN: Message("Leak-down", limit=NAME_LENGTH),
    Measure.LASH: Message("Valve lash", limit=NAME_LENGTH),
}

REPAIR = Message("Repair")

HOWS: Mapping[Measure, Message] = {
    Measure.AIR: Message("Read every bore as in a round.", limit=HOW),
    Measure.VACUUM: Message("Read every runner with the column, hot and at idle.", limit=HOW),
    Measure.HEAT: Message("Hold the probe at the same place of every primary pipe. The pipes burn skin.", limit=HOW),
    Measure.DROP: Message(
        "Cut one bore by its injector, at most 10 s and once a bore. Note by how much the speed falls. Never pull a "
        "live lead.",
        limit=HOW,
    ),
    Measure.MIXTURE: Message("Read lambda at the primary pipe of every bore, hot and at idle.", limit=HOW),
    Measure.SNAP: Message(
        "Open and let go four times. Note by how much the readings after each return differ.", limit=HOW
    ),
    Measure.TIMING: Message("Read the timing light at every bore. Keep leads, sleeves and hair off belts.", limit=HOW),
    Measure.SQUEEZE: Message(
        "Squeeze the hoses of booster and crankcase. 0: nothing changes, 1: the idle changes clearly.", limit=HOW
    ),
    Measure.BACK_PRESSURE: Message("Read the pressure before each exhaust at 2,500 rpm.", limit=HOW),
    Measure.RECORD: Message("Divide the vacuum of today by that of the last visit.", limit=HOW),
    Measure.SPRAY: Message(
        "Mist water round the joint behind the plate, nothing that burns, and not near coils or leads. See if the "
        "reading moves.",
        limit=HOW,
    ),
    Measure.ADAPTER: Message(
        "Turn the adapter, read with a second meter, and divide its reading by the first.", limit=HOW
    ),
    Measure.SMOKE: Message("Fill the intakes with smoke at low pressure. Note where it comes out.", limit=HOW),
    Measure.PLUG: Message("Take the plug out and look at it.", limit=HOW),
    Measure.SWAP: Message("Swap coil and plug with a neighbor, run, and see if the weak bore goes along.", limit=HOW),
    Measure.FEEL: Message("Rock the coupler and close the plate by hand. Fingers out of the bore.", limit=HOW),
    Measure.RESET: Message(
        "Reset the coupler, read again, and enter how much of the expected change was seen, as 0 to 1.", limit=HOW
    ),
    Measure.RESISTANCE: Message("Measure the injector against its maker's figure.", limit=HOW),
    Measure.FLOW: Message(
        "Release the fuel pressure, battery off, no flame near. Measure the flow of every injector on a bench.",
        limit=HOW,
    ),
    Measure.COMPRESSION: Message(
        "Fuel and spark disabled, throttle held open by a person clear of the belts. Crank alike at every bore.",
        limit=HOW,
    ),
    Measure.LEAK_DOWN: Message(
        "Socket off the crank first, no hand near belts or fan. Hear where the air goes.", limit=HOW
    ),
    Measure.LASH: Message("Measure the lash cold and enter how far it is off the maker's figure.", limit=HOW),
}  # fmt: skip

TELLS: Mapping[Measure, Message] = {
    Measure.AIR: Message("A bore far off: its plate or coupler. All alike: look elsewhere."),
    Measure.VACUUM: Message("One lower while the meter is even: a leak, its valve or the meter. Alike: none of these."),
    Measure.HEAT: Message("One much cooler: it misses, or burns lean or rich. Alike: all burn."),
    Measure.DROP: Message("One that falls less does less work. Alike: none misses."),
    Measure.MIXTURE: Message("One leaner: air behind its plate, or too little fuel. Alike: fuel follows air."),
    Measure.SNAP: Message("One that scatters: slack or a plate that hangs. Alike: plates return."),
    Measure.TIMING: Message("One off: its trigger or coil. Alike: timing is not it."),
    Measure.SQUEEZE: Message("A clear change: a leak that all bores share. None: no such leak there."),
    Measure.BACK_PRESSURE: Message("One bank high: its exhaust. Both low: exhausts are free."),
    Measure.RECORD: Message("All lower than before: a shared leak. As before: none."),
    Measure.SPRAY: Message("It moves: air comes in behind the plate. Still: a leak is less likely, not ruled out."),
    Measure.ADAPTER: Message("The meters differ: meter or adapter. They agree: the reading is right."),
    Measure.SMOKE: Message("Smoke shows the leak. None: a leak is less likely, not ruled out."),
    Measure.PLUG: Message("Wet, white, sooty or oily each point to one cause. Normal tells little."),
    Measure.SWAP: Message("It goes along: coil or plug. It stays: spark is not it."),
    Measure.FEEL: Message("Slack or hanging is felt at once. Free: the linkage is right there."),
    Measure.RESET: Message("It answers: the plate was off. No answer: the coupler is dead."),
    Measure.RESISTANCE: Message("Wrong: the injector is dead. Right: it may still be."),
    Measure.FLOW: Message("One off: that injector. Alike: fuel is not it."),
    Measure.COMPRESSION: Message("One low: rings or a valve. Alike: neither."),
    Measure.LEAK_DOWN: Message("Into the crankcase: rings. Into intake or exhaust: a valve. Tight: neither."),
    Measure.LASH: Message("Off: set the lash first. Right: lash is not it."),
}

WORDS: Mapping[str, Message] = {
    "still": Message("Still", context="cross-check"),
    "moved": Message("Moved", context="cross-check"),
    "none": Message("None", context="cross-check"),
    "seen": Message("Seen", context="cross-check"),
    "normal": Message("Normal", context="cross-check"),
    "sooty": Message("Sooty"),
    "wet": Message("Wet"),
    "white": Message("White"),
    "oily": Message("Oily"),
    "stayed": Message("Stayed"),
    "free": Message("Free", context="cross-check"),
    "slack": Message("Slack"),
    "hangs": Message("Hangs"),
    "right": Message("Right", context="cross-check"),
    "wrong": Message("Wrong", context="cross-check"),
    "tight": Message("Tight"),
    "crankcase": Message("Into crankcase"),
    "valve": Message("Past a valve"),
    "neighbor": Message("Into next bore"),
}
UNITS: Mapping[str, Message] = {"0-1": Message("0 to 1"), "1": Message("ratio"), "lambda": Message("lambda")}

STATES: Mapping[Run, Message] = {
    Run.RUNNING: Message(
        "Engine running: exhaust led away, stop switch in reach, face beside the bores, sleeves tight."
    ),
    Run.OPENED: Message(
        "Engine running off idle: only with a second person or a positive hold. Exhaust led away, stop switch in reach."
    ),
    Run.OFF: Message("Engine off and cool to the touch."),
    Run.CRANKING: Message("Engine off; it is cranked by the starter. Nobody near belts, fan or leads."),
}


def test_name(measure: Measure) -> str:
    """A test in a word or two."""
    return say(NAMES[measure])


def finding_name(kind: str) -> str:
    """What a stored finding is of: a test, or a repair."""
    return test_name(Measure(kind)) if kind in set(Measure) else say(REPAIR)


def how(measure: Measure) -> str:
    """How the test is made, and what to keep clear of."""
    return say(HOWS[measure])


def tells(measure: Measure) -> str:
    """What either outcome would tell."""
    return say(TELLS[measure])


def state_line(measure: Measure) -> str:
    """What the engine does meanwhile, with its cautions."""
    return say(STATES[CATALOGUE[measure].run])


def word(code: str) -> str:
    """What was seen, in a word."""
    return say(WORDS[code])


def unit(code: str) -> str:
    """A unit of a finding as it stands beside a figure."""
    return say(UNITS[code]) if code in UNITS else code
