"""The causes of an uneven engine in words, and what is said of them. Plates even out air, and nothing else."""

from collections.abc import Mapping, Sequence
from enum import StrEnum

from app.sync.diagnosis.causes import EngineFault
from app.sync.diagnosis.diagnose import LIKELY, Diagnosis, Standing, Verdict
from app.sync.diagnosis.measurements import FindingKind
from app.sync.diagnosis.next_test import NextTest
from app.wording.causes.tests import test_name
from app.wording.message import Message, say
from app.wording.quantities import listed
from app.wording.reasons import TABLES

NAMES: Mapping[StrEnum, Message] = {
    EngineFault.NONE: Message("nothing", context="cross-check"),
    EngineFault.PLATE: Message("plate not even"),
    EngineFault.COUPLER: Message("coupler that does not answer"),
    EngineFault.SLACK: Message("slack in the linkage"),
    EngineFault.STICKING: Message("plate that hangs"),
    EngineFault.LEAK: Message("air behind the plate"),
    EngineFault.LEAN: Message("injector gives too little"),
    EngineFault.RICH: Message("injector gives too much"),
    EngineFault.NO_FUEL: Message("injector is dead"),
    EngineFault.SPARK: Message("spark weak or missing"),
    EngineFault.RINGS: Message("compression lost past the rings"),
    EngineFault.VALVE: Message("compression lost past a valve"),
    EngineFault.LASH: Message("valve lash or cam lobe"),
    EngineFault.METER: Message("meter or adapter"),
    EngineFault.TIMING: Message("timing of this bore"),
    EngineFault.UNKNOWN: Message("something else"),
    EngineFault.SHARED_LEAK: Message("leak that all bores share"),
    EngineFault.EXHAUST: Message("choked exhaust"),
}

TABLES[EngineFault] = NAMES

AT_BORE = Message("Bore {bore}: {cause}")
AT_BANK = Message("Bank {bank}: {cause}")
OF_ENGINE = Message("Whole engine: {cause}")

VERDICTS: Mapping[StrEnum, Message] = {
    Verdict.FOUND: Message("Found: {first}."),
    Verdict.LIKELY: Message("Likely: {first}. Not tested directly, or not told apart from others."),
    Verdict.DOES_NOT_FIT: Message(
        "Most speaks for: {first}. But this does not fit: {against}. Look at both before any repair."
    ),
    Verdict.NONE_FOUND: Message("No cause found. Looked at: {looked}."),
    Verdict.NOT_TOLD: Message("Not told. Ask the person who knows this engine."),
    Verdict.GOING: Message("Not told yet. Make the next test."),
}
TABLES[Verdict] = VERDICTS
LEFT = Message("No cause was told in this visit.")
LIKELY_BY_ITS_TEST = Message("Likely: {first}. Its own test speaks for it, but others are not ruled out.")
ALSO_OFF = Message(
    "Most speaks for: {first}. But that does not fit all: something is wrong at bore {also} too. Look at both before "
    "any repair."
)

WITH_CHANCE = Message("{cause} ({chance})")
SPEAKS = Message("For it: {tests}.")
SPEAKS_NOT = Message("Against it: {tests}.")

NEXT = Message("Next: {test}, {minutes}\u00a0min")
NEXT_AT = Message("Next: {test} at bore {bore}, {minutes}\u00a0min")
NEXT_AT_SEVERAL = Message("Next: {test} at bores {bores}, {minutes}\u00a0min")
AGAIN = Message("Next: {test} again, {minutes}\u00a0min")
AGAIN_AT = Message("Next: {test} again at bore {bore}, {minutes}\u00a0min")
AGAIN_AT_SEVERAL = Message("Next: {test} again at bores {bores}, {minutes}\u00a0min")
NO_NEXT = Message("No further test is worth its time here.")
NOT_LOOKED = Message("Not looked at: {missing}.")
PLATES = Message(
    "Plates set air only. They cannot correct fuel, spark, compression or timing, and a plate turned against one of "
    "these hides it."
)
TO_READINGS = Message("Bore {bore}'s plate is off: go back to the readings and follow their advice.")
CHECK_METER = Message(
    "Bore {bore} reads off, by a meter that nothing has checked yet. Turn the adapter and read with a second meter; "
    "then go back to the readings and follow their advice."
)


def place_and_cause(one: Standing, bores: Sequence[int], banks: Sequence[str]) -> str:
    """A cause with the place it is at."""
    cause = say(NAMES[one.cause])
    if one.bore is not None:
        return say(AT_BORE, bore=bores[one.bore], cause=cause)
    return say(AT_BANK, bank=banks[one.bank], cause=cause) if one.bank is not None else say(OF_ENGINE, cause=cause)


def standing_words(one: Standing, bores: Sequence[int], banks: Sequence[str]) -> str:
    """A cause with its place, how likely it is from 0 to 1, and the tests that speak for it and against it."""
    said = [say(WITH_CHANCE, cause=place_and_cause(one, bores, banks), chance=f"{min(one.odds, 0.99):.2f}")]
    said += [say(SPEAKS, tests=_tests(one.speaking))] if one.speaking else []
    said += [say(SPEAKS_NOT, tests=_tests(one.against))] if one.against else []
    return " ".join([f"{said[0]}.", *said[1:]])


def reason_words(told: Diagnosis) -> str:
    """Why the first cause is named, in a sentence; empty where nothing speaks for it."""
    first = told.standing[0]
    return say(SPEAKS, tests=_tests(first.speaking)) if first.speaking else ""


def verdict_words(told: Diagnosis, bores: Sequence[int], banks: Sequence[str], *, ended: bool = False) -> str:
    """What is said of the engine, in one or two sentences; ``ended`` where the visit takes no more tests."""
    if ended and told.verdict is Verdict.GOING:
        return say(LEFT)
    first = told.standing[0]
    named = place_and_cause(first, bores, banks)
    if told.verdict is Verdict.DOES_NOT_FIT and not first.against:
        return say(ALSO_OFF, first=named, also=listed([str(bores[bore]) for bore in told.also_wrong]))
    own = told.verdict is Verdict.LIKELY and first.looked_at
    return say(
        LIKELY_BY_ITS_TEST if own else VERDICTS[told.verdict],
        first=named,
        against=_tests(first.against),
        looked=_tests(told.looked_at),
    )


def next_words(test: NextTest | None, bores: Sequence[int]) -> str:
    """The one next test, where, and how long it takes."""
    if test is None:
        return say(NO_NEXT)
    minutes = max(round(test.minutes), 1)
    name, at = test_name(test.measure), sorted(bores[bore] for bore in test.bores)
    if len(at) == 1:
        return say(AGAIN_AT if test.again else NEXT_AT, test=name, bore=at[0], minutes=minutes)
    if at and (test.again or len(at) < len(bores)):
        several = listed([str(bore) for bore in at])
        return say(AGAIN_AT_SEVERAL if test.again else NEXT_AT_SEVERAL, test=name, bores=several, minutes=minutes)
    return say(AGAIN if test.again else NEXT, test=name, minutes=minutes)


def not_looked_at(measures: Sequence[FindingKind]) -> str:
    """What was not looked at; empty where all was."""
    return say(NOT_LOOKED, missing=_tests(measures)) if measures else ""


def plates_words() -> str:
    """What plates can do, and what not."""
    return say(PLATES)


def to_readings(told: Diagnosis, bores: Sequence[int]) -> str:
    """The way back to the readings where it is the plate itself; else empty. No plate is called off by a meter that
    was not checked."""
    first = told.standing[0]
    if first.cause is EngineFault.PLATE and first.bore is not None and first.odds >= LIKELY:
        return say(CHECK_METER if first.unchecked else TO_READINGS, bore=bores[first.bore])
    return ""


def _tests(measures: Sequence[FindingKind]) -> str:
    return listed([test_name(one) for one in measures]) if measures else ""
