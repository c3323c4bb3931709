"""What the handover sheet says of a cross-check: what was found and repaired, and what is still to be looked at."""

from collections.abc import Mapping, Sequence
from enum import StrEnum

from app.sync.diagnosis.causes import EngineFault
from app.sync.diagnosis.diagnose import Verdict
from app.sync.diagnosis.measurements import FindingKind
from app.wording.causes import causes, tests
from app.wording.message import Message, say
from app.wording.reasons import figure

AT_CYLINDER = Message("Cylinder {bore}: {cause}")
REPAIRED = Message("{cause}. Found and repaired.")
NOT_REPAIRED = Message("{cause}. Found, not repaired. See the shop.")
LOOK_AGAIN = Message("{place} to be looked at again: it does not run evenly, and the throttles are not the cause.")
CYLINDER_IS = Message("Cylinder {bore} is")
BANK_IS = Message("Bank {bank} is")
ENGINE_IS = Message("The engine is")
NO_CAUSE = Message("No cause of uneven running was found in what was looked at: {looked}.")
NOT_TOLD = Message("Why the engine runs unevenly is not told yet. See the shop.")

SHOWN = Message("{test}: {shown}. {by}, {at}")
SHOWN_AT = Message("{test}, {shown}. {by}, {at}")
BORE_SHOWN = Message("bore {bore}: {shown}")
BANK_SHOWN = Message("bank {bank}: {shown}")
CANNOT = Message("cannot be done here")
REPAIRED_HERE = Message("{cause}, repaired.")
BORE = Message("Bore {bore}")
BANK = Message("Bank {bank}")
ENGINE = Message("Engine")
REPAIRED_SHOWN = Message("{cause} repaired")

_OPEN: Mapping[StrEnum, Message] = {
    Verdict.FOUND: NOT_REPAIRED,
    Verdict.LIKELY: LOOK_AGAIN,
    Verdict.DOES_NOT_FIT: LOOK_AGAIN,
}


def place_of(bore: int | None, bank: str) -> str:
    """Which cylinder, bank or engine is still to be looked at, as the beginning of a sentence."""
    if bore is not None:
        return say(CYLINDER_IS, bore=bore)
    return say(BANK_IS, bank=bank) if bank else say(ENGINE_IS)


def cause_at(cause: EngineFault, bore: int | None, bank: str) -> str:
    """A cause with its cylinder or bank, for the customer."""
    name = say(causes.NAMES[cause])
    if bore is not None:
        return say(AT_CYLINDER, bore=bore, cause=name)
    return say(causes.AT_BANK, bank=bank, cause=name) if bank else say(causes.OF_ENGINE, cause=name)


def repaired(cause: EngineFault, bore: int | None, bank: str) -> str:
    """That a cause was found and repaired."""
    return say(REPAIRED, cause=cause_at(cause, bore, bank))


def repaired_here(cause: EngineFault, bore: int | None, bank: str) -> str:
    """That a cause was repaired, for the technician."""
    name = say(causes.NAMES[cause])
    if bore is not None:
        return say(REPAIRED_HERE, cause=say(causes.AT_BORE, bore=bore, cause=name))
    at = say(causes.AT_BANK, bank=bank, cause=name) if bank else say(causes.OF_ENGINE, cause=name)
    return say(REPAIRED_HERE, cause=at)


def still_open(verdict: Verdict, cause: EngineFault, bore: int | None, bank: str) -> str:
    """What the customer must know of a cause that was not repaired; empty where none was named."""
    if verdict not in _OPEN:
        return ""
    return say(_OPEN[verdict], cause=cause_at(cause, bore, bank), place=place_of(bore, bank))


def shown(kind: str, value: float | None, word: str | None, unit: str) -> str:
    """One thing that was shown: a figure with its unit, a word, a cause repaired, or that it cannot be done here."""
    if kind not in set(FindingKind) and word is not None:
        return say(REPAIRED_SHOWN, cause=say(causes.NAMES[EngineFault(word)]))
    if word is not None:
        return tests.word(word)
    if value is None:
        return say(CANNOT)
    return figure(value) + (f"\u00a0{tests.unit(unit)}" if unit not in ("1", "0-1", "") else "")


def line(kind: str, places: Sequence[tuple[int | None, str, str]], by: str, at: str) -> str:
    """What a test showed, place by place, with who made it and when: ``places`` are (bore, bank, what was shown)."""
    said = ", ".join(at_place(*one) for one in places)
    of_place = any(bore is not None or bank for bore, bank, _ in places)
    return say(SHOWN_AT if of_place else SHOWN, test=tests.finding_name(kind), shown=said, by=by, at=at)


def at_place(bore: int | None, bank: str, said: str) -> str:
    """What was shown, with its bore or bank."""
    if bore is not None:
        return say(BORE_SHOWN, bore=bore, shown=said)
    return say(BANK_SHOWN, bank=bank, shown=said) if bank else said
