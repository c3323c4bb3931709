"""The tests of a cross-check: their names, how each is made safely, and what either outcome tells."""

from collections.abc import Mapping
from enum import StrEnum

from app.sync.diagnosis.measurements import CATALOGUE, FindingKind, Run
from app.wording.message import Message, say
from app.wording.reasons import TABLES

NAME_LENGTH = 24
HOW = 200

NAMES: Mapping[StrEnum, Message] = {
    FindingKind.AIR: Message("Air at the meter", limit=NAME_LENGTH),
    FindingKind.VACUUM: Message("Vacuum", limit=NAME_LENGTH, context="cross-check"),
    FindingKind.HEAT: Message("Exhaust heat", limit=NAME_LENGTH),
    FindingKind.DROP: Message("Speed drop", limit=NAME_LENGTH),
    FindingKind.MIXTURE: Message("Mixture", limit=NAME_LENGTH),
    FindingKind.SNAP: Message("Snap scatter", limit=NAME_LENGTH),
    FindingKind.TIMING: Message("Timing", limit=NAME_LENGTH),
    FindingKind.SQUEEZE: Message("Hose squeezed", limit=NAME_LENGTH),
    FindingKind.BACK_PRESSURE: Message("Back pressure", limit=NAME_LENGTH),
    FindingKind.RECORD: Message("Vacuum to last visit", limit=NAME_LENGTH),
    FindingKind.SPRAY: Message("Water mist", limit=NAME_LENGTH),
    FindingKind.ADAPTER: Message("Second meter", limit=NAME_LENGTH),
    FindingKind.SMOKE: Message("Smoke", limit=NAME_LENGTH),
    FindingKind.PLUG: Message("Plug look", limit=NAME_LENGTH),
    FindingKind.SWAP: Message("Coil and plug swapped", limit=NAME_LENGTH),
    FindingKind.FEEL: Message("Feel by hand", limit=NAME_LENGTH),
    FindingKind.RESET: Message("Coupler reset", limit=NAME_LENGTH),
    FindingKind.RESISTANCE: Message("Injector resistance", limit=NAME_LENGTH),
    FindingKind.FLOW: Message("Injector flow", limit=NAME_LENGTH),
    FindingKind.COMPRESSION: Message("Compression", limit=NAME_LENGTH),
    FindingKind.LEAK_DOWN: Message("Leak-down", limit=NAME_LENGTH),
    FindingKind.LASH: Message("Valve lash", limit=NAME_LENGTH),
}

REPAIR = Message("Repair")
TABLES[FindingKind] = NAMES

HOWS: Mapping[FindingKind, Message] = {
    FindingKind.AIR: Message("Read every bore as in a round.", limit=HOW),
    FindingKind.VACUUM: Message("Read every runner with the column, hot and at idle.", limit=HOW),
    FindingKind.HEAT: Message(
        "Hold the probe at the same place of every primary pipe. The pipes burn skin.", limit=HOW
    ),
    FindingKind.DROP: Message(
        "Cut one bore by its injector, at most 10 s, once a bore, a minute apart. Note by how much the speed falls. "
        "Never pull a live lead.",
        limit=HOW,
    ),
    FindingKind.MIXTURE: Message("Read lambda at the primary pipe of every bore, hot and at idle.", limit=HOW),
    FindingKind.SNAP: Message(
        "Open and let go four times. Note by how much the readings after each return differ.", limit=HOW
    ),
    FindingKind.TIMING: Message(
        "Read the timing light at every bore. Keep leads, sleeves and hair off belts.", limit=HOW
    ),
    FindingKind.SQUEEZE: Message(
        "Squeeze the hoses of booster and crankcase. 0: nothing changes, 1: the idle changes clearly.", limit=HOW
    ),
    FindingKind.BACK_PRESSURE: Message("Read the pressure before each exhaust at 2,500 rpm.", limit=HOW),
    FindingKind.RECORD: Message("Divide the vacuum of today by that of the last visit.", limit=HOW),
    FindingKind.SPRAY: Message(
        "Mist water round the joint behind the plate, nothing that burns, and not near coils or leads. See if the "
        "reading moves.",
        limit=HOW,
    ),
    FindingKind.ADAPTER: Message(
        "Turn the adapter, read with a second meter, and divide its reading by the first.", limit=HOW
    ),
    FindingKind.SMOKE: Message("Fill the intakes with smoke at low pressure. Note where it comes out.", limit=HOW),
    FindingKind.PLUG: Message("Take the plug out and look at it.", limit=HOW),
    FindingKind.SWAP: Message(
        "Swap coil and plug with a neighbor, run, and see if the weak bore goes along.", limit=HOW
    ),
    FindingKind.FEEL: Message("Rock the coupler and close the plate by hand. Fingers out of the bore.", limit=HOW),
    FindingKind.RESET: Message(
        "Reset the coupler, read again, and enter how much of the expected change was seen, as 0 to 1.", limit=HOW
    ),
    FindingKind.RESISTANCE: Message("Measure the injector against its maker's figure.", limit=HOW),
    FindingKind.FLOW: Message(
        "Release the fuel pressure, battery off, no flame near. Measure the flow of every injector on a bench.",
        limit=HOW,
    ),
    FindingKind.COMPRESSION: Message(
        "Fuel and spark disabled, throttle held open by a person clear of the belts. Crank every bore the same way.",
        limit=HOW,
    ),
    FindingKind.LEAK_DOWN: Message(
        "Socket off the crank first, no hand near belts or fan. Hear where the air goes.", limit=HOW
    ),
    FindingKind.LASH: Message("Measure the lash cold and enter how far it is off the maker's figure.", limit=HOW),
}

TELLS: Mapping[FindingKind, Message] = {
    FindingKind.AIR: Message("A bore far off: its plate or coupler. All the same: look elsewhere."),
    FindingKind.VACUUM: Message(
        "One lower while the meter is even: a leak, its valve or the meter. All the same: none of these."
    ),
    FindingKind.HEAT: Message("One much cooler: it misses, or burns lean or rich. All the same: all burn."),
    FindingKind.DROP: Message("One that falls less misses or burns badly. All the same: none misses."),
    FindingKind.MIXTURE: Message(
        "One leaner: air behind its plate, or too little fuel. All the same: fuel follows air."
    ),
    FindingKind.SNAP: Message("One that scatters: slack or a plate that hangs. All the same: plates return."),
    FindingKind.TIMING: Message("One off: its trigger or coil. All the same: timing is not it."),
    FindingKind.SQUEEZE: Message("A clear change: a leak that all bores share. None: no such leak there."),
    FindingKind.BACK_PRESSURE: Message("One bank high: its exhaust. Both low: exhausts are free."),
    FindingKind.RECORD: Message("All lower than before: a shared leak. As before: none."),
    FindingKind.SPRAY: Message("It moves: air comes in behind the plate. Still: a leak is less likely, not ruled out."),
    FindingKind.ADAPTER: Message("The meters differ: meter or adapter. They agree: the reading is right."),
    FindingKind.SMOKE: Message("Smoke shows the leak. None: a leak is less likely, not ruled out."),
    FindingKind.PLUG: Message("Wet, white, sooty or oily each point to one cause. Normal tells little."),
    FindingKind.SWAP: Message("It goes along: coil or plug. It stays: spark is not it."),
    FindingKind.FEEL: Message("Slack or hanging is felt at once. Free: the linkage is right there."),
    FindingKind.RESET: Message("It answers: the plate was off. No answer: the coupler is dead."),
    FindingKind.RESISTANCE: Message("Wrong: the injector is dead. Right: it may still be."),
    FindingKind.FLOW: Message("One off: that injector. All the same: fuel is not it."),
    FindingKind.COMPRESSION: Message("One low: rings or a valve. All the same: neither."),
    FindingKind.LEAK_DOWN: Message("Into the crankcase: rings. Into intake or exhaust: a valve. Tight: neither."),
    FindingKind.LASH: Message("Off: set the lash first. Right: lash is not it."),
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
    Run.CRANKING: Message("Engine off; it is cranked by the starter. Keep clear of belts, fan and leads."),
}


def test_name(measure: FindingKind) -> str:
    """A test in a word or two."""
    return say(NAMES[measure])


def finding_name(kind: str) -> str:
    """What a stored finding is of: a test, or a repair."""
    return test_name(FindingKind(kind)) if kind in set(FindingKind) else say(REPAIR)


def how(measure: FindingKind) -> str:
    """How the test is made, and what to keep clear of."""
    return say(HOWS[measure])


def tells(measure: FindingKind) -> str:
    """What either outcome would tell."""
    return say(TELLS[measure])


def state_line(measure: FindingKind) -> str:
    """What the engine does meanwhile, with its cautions."""
    return say(STATES[CATALOGUE[measure].run])


def word(code: str) -> str:
    """What was seen, in a word."""
    return say(WORDS[code])


def unit(code: str) -> str:
    """A unit of a finding as it stands beside a figure."""
    return say(UNITS[code]) if code in UNITS else code
