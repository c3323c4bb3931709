"""The causes of an uneven engine in words, and what is said of them. Plates even out air, and nothing else."""

from collections.abc import Mapping, Sequence

from app.sync.diagnosis.causes import Cause
from app.sync.diagnosis.diagnose import Diagnosis, Standing, Verdict
from app.sync.diagnosis.measurements import Measure
from app.sync.diagnosis.next_test import Test
from app.wording.causes.tests import test_name
from app.wording.message import Message, say
from app.wording.quantities import listed

NAMES: Mapping[Cause, Message] = {
    Cause.PLATE: Message("plate not even"),
    Cause.COUPLER: Message("coupler that does not answer"),
    Cause.SLACK: Message("slack in the linkage"),
    Cause.STICKING: Message("plate that hangs"),
    Cause.LEAK: Message("air behind the plate"),
    Cause.LEAN: Message("injector gives too little"),
    Cause.RICH: Message("injector gives too much"),
    Cause.NO_FUEL: Message("injector is dead"),
    Cause.SPARK: Message("spark weak or missing"),
    Cause.RINGS: Message("compression lost past the rings"),
    Cause.VALVE: Message("compression lost past a valve"),
    Cause.LASH: Message("valve lash or cam lobe"),
    Cause.METER: Message("meter or adapter"),
    Cause.TIMING: Message("timing of this bore"),
    Cause.UNKNOWN: Message("something else"),
    Cause.SHARED_LEAK: Message("leak that all bores share"),
    Cause.EXHAUST: Message("choked exhaust"),
}

AT_BORE = Message("Bore {bore}: {cause}")
AT_BANK = Message("Bank {bank}: {cause}")
OF_ENGINE = Message("Whole engine: {cause}")

FOUND = Message("Found: {first}.")
LIKELY = Message("Likely: {first}. Not looked at by itself yet, or not told apart.")
DOES_NOT_FIT = Message("Most speaks for: {first}. But this does not fit: {against}. Look at both before any repair.")
NONE_FOUND = Message("No cause found. Looked at: {looked}.")
NOT_TOLD = Message("Not told. Ask the person who knows this engine.")
GOING = Message("Not told yet. Make the next test.")

NEXT = Message("Next: {test}, {minutes}\u00a0min")
NEXT_AT = Message("Next: {test} at bore {bore}, {minutes}\u00a0min")
NO_NEXT = Message("No further test is worth its time here.")
NOT_LOOKED = Message("Not looked at: {missing}.")
PLATES = Message(
    "Plates set air only. They cannot put right fuel, spark, compression or timing, and a plate turned against one of "
    "these hides it."
)
TO_READINGS = Message("Bore {bore}'s plate is off: go back to the readings and follow their advice.")


def place_and_cause(one: Standing, bores: Sequence[int], banks: Sequence[str]) -> str:
    """A cause with the place it is at."""
    cause = say(NAMES[one.cause])
    if one.bore is not None:
        return say(AT_BORE, bore=bores[one.bore], cause=cause)
    return say(AT_BANK, bank=banks[one.bank], cause=cause) if one.bank is not None else say(OF_ENGINE, cause=cause)


def verdict_words(told: Diagnosis, bores: Sequence[int], banks: Sequence[str]) -> str:
    """What is said of the engine, in one or two sentences."""
    first = told.standing[0]
    named = place_and_cause(first, bores, banks)
    match told.verdict:
        case Verdict.FOUND:
            return say(FOUND, first=named)
        case Verdict.LIKELY:
            return say(LIKELY, first=named)
        case Verdict.DOES_NOT_FIT:
            return say(DOES_NOT_FIT, first=named, against=_tests(first.against))
        case Verdict.NONE_FOUND:
            return say(NONE_FOUND, looked=_tests(told.looked_at))
        case Verdict.NOT_TOLD:
            return say(NOT_TOLD)
        case Verdict.GOING:
            return say(GOING)


def next_words(test: Test | None, bores: Sequence[int]) -> str:
    """The one next test, where, and how long it takes."""
    if test is None:
        return say(NO_NEXT)
    minutes = max(round(test.minutes), 1)
    if len(test.bores) == 1:
        return say(NEXT_AT, test=test_name(test.measure), bore=bores[test.bores[0]], minutes=minutes)
    return say(NEXT, test=test_name(test.measure), minutes=minutes)


def not_looked_at(measures: Sequence[Measure]) -> str:
    """What nobody looked at; empty where all was."""
    return say(NOT_LOOKED, missing=_tests(measures)) if measures else ""


def plates_words() -> str:
    """What plates can do, and what not."""
    return say(PLATES)


def to_readings(told: Diagnosis, bores: Sequence[int]) -> str:
    """The way back to the readings where it is the plate itself; else empty."""
    first = told.standing[0]
    if first.cause is Cause.PLATE and first.bore is not None and first.odds >= 0.5:
        return say(TO_READINGS, bore=bores[first.bore])
    return ""


def _tests(measures: Sequence[Measure]) -> str:
    return listed([test_name(one) for one in measures])
