"""What is asked before an engine file is imported, and what contradicts itself in one."""

from app.shop.exchange.codes import FileChoice, FileFault, FileQuestion, FileSide
from app.wording.message import Message
from app.wording.reasons import TABLES

F = FileFault

FILE_FAULTS: dict[FileFault, Message] = {
    F.ENGINE_FIELD: Message("field engine.{field} is not allowed ({fault})", note="fault: a code"),
    F.KEY_TWICE: Message("key {key} occurs twice"),
    F.NUMBER_ORDER: Message("numbers are out of order"),
    F.LAYOUT: Message("the layout of fitting {fitting} is not possible ({fault})", note="fault: a code"),
    F.HARDWARE_FIGURES: Message("fitting {fitting} does not have the figures of an engine"),
    F.OPEN_BEFORE_LAST: Message("a visit begins before the earlier one is signed off"),
    F.VISIT: Message("visit {visit}: {fault}"),
    F.FITTING_OR_METER: Message("the file does not have its fitting or its meter"),
    F.NO_COUPLER_SCREW: Message("coupler {near}-{far} has no screw"),
    F.NO_OTHER_SCREW: Message("bore {bore} does not have this screw"),
    F.ROUND_NUMBER_TWICE: Message("two rounds have one number"),
    F.IDLE_FROM_ABOVE: Message("an idle round approaches from open"),
    F.SUPERSEDES_NOTHING: Message("an entry replaces one that does not come before it"),
    F.TAKES_BACK_NOTHING: Message("an adjustment is taken back, and the entry does not name it"),
    F.REFERENCE: Message("the file does not have the entry that {field} names"),
    F.READING_WITHOUT_ROUND: Message("a reading belongs to no round"),
    F.FINDING: Message("a finding of the cross-check is none ({kind})"),
    F.SPEED_WITHOUT_OPENING: Message("an engine speed belongs to no round off idle"),
    F.NO_SUCH_BORE: Message("the engine has no bore {bore}"),
    F.SKIP_WITH_VALUE: Message("a skipped bore has a value, or another reading has none"),
    F.READING_UNIT: Message("a reading is not in the unit of its meter"),
    F.CORRECTION_REFERENCE: Message("the file does not have the entry that a correction names"),
    F.CORRECTED_TOO_EARLY: Message("a correction comes before the sign-off"),
    F.SETTINGS: Message("the settings of a visit are missing, or no shop can have them"),
}

FILE_QUESTIONS: dict[FileQuestion, Message] = {
    FileQuestion.SAME_ENGINE: Message(
        "An engine with serial number {serial} is on record here. Is it the same engine?"
    ),
    FileQuestion.FACTS: Message("The engine's details differ. Which are right?"),
    FileQuestion.SAME_METER: Message("Both shops have a meter named {meter}. Is it the same instrument?"),
    FileQuestion.NUMBERS: Message("Both shops worked on this engine separately. Some visit numbers are used twice."),
}

FILE_CHOICES: dict[FileChoice, Message] = {
    FileChoice.JOIN: Message("Same engine: add the file's history to ours"),
    FileChoice.APART: Message("Another one: keep them apart"),
    FileChoice.MINE: Message("Ours"),
    FileChoice.THEIRS: Message("The file's"),
    FileChoice.SAME_METER: Message("Same instrument"),
    FileChoice.APPEND: Message("Number the file's visits after ours"),
}

FILE_SIDES: dict[FileSide, Message] = {
    FileSide.DETAILS: Message("{details}"),
    FileSide.NO_DETAILS: Message("no details"),
    FileSide.METER: Message("{meter}, steps of {step}\u00a0{unit}"),
    FileSide.COUNTS: Message("Visits: {visits}. Hardware records: {fittings}."),
}

TABLES.update(
    {FileFault: FILE_FAULTS, FileQuestion: FILE_QUESTIONS, FileChoice: FILE_CHOICES, FileSide: FILE_SIDES}  # type: ignore[dict-item]
)
