"""Codes of engine files: what contradicts itself in one, and what a person is asked before it is imported."""

from enum import StrEnum


class FileFault(StrEnum):
    """Why the contents of an engine file cannot come from a shop."""

    ENGINE_FIELD = "engine-field"  # field, fault: the code of a rejection
    KEY_TWICE = "key-twice"  # key
    NUMBER_ORDER = "number-order"
    LAYOUT = "layout"  # fitting, fault: the code of a layout's fault
    HARDWARE_FIGURES = "hardware-figures"  # fitting
    OPEN_BEFORE_LAST = "open-before-last"
    VISIT = "visit"  # visit, fault: a Reason with one of the codes below
    FITTING_OR_METER = "fitting-or-meter"
    NO_COUPLER_SCREW = "no-coupler-screw"  # near, far
    NO_OTHER_SCREW = "no-other-screw"  # bore
    ROUND_NUMBER_TWICE = "round-number-twice"
    IDLE_FROM_ABOVE = "idle-from-above"
    SUPERSEDES_NOTHING = "supersedes-nothing"
    REFERENCE = "reference"  # field
    READING_WITHOUT_ROUND = "reading-without-round"
    SPEED_WITHOUT_OPENING = "speed-without-opening"
    NO_SUCH_BORE = "no-such-bore"  # bore
    SKIP_WITH_VALUE = "skip-with-value"
    READING_UNIT = "reading-unit"
    FINDING = "finding"  # kind
    TAKES_BACK_NOTHING = "takes-back-nothing"
    CORRECTION_REFERENCE = "correction-reference"
    CORRECTED_TOO_EARLY = "corrected-too-early"
    SETTINGS = "settings"


class FileQuestion(StrEnum):
    """What a person decides before a file is imported. ``Conflict`` has the names that the answers are sent under."""

    SAME_ENGINE = "same-engine"  # serial
    FACTS = "facts"
    SAME_METER = "same-meter"  # meter
    NUMBERS = "numbers"


class FileChoice(StrEnum):
    """An answer to one of these questions; the values are what is sent."""

    JOIN = "join"
    APART = "apart"
    MINE = "mine"
    THEIRS = "theirs"
    SAME_METER = "same"
    APPEND = "append"


class FileSide(StrEnum):
    """What one side of a conflict has."""

    DETAILS = "details"  # details, a tuple of what was entered
    NO_DETAILS = "no-details"
    METER = "meter"  # meter, step, unit
    COUNTS = "counts"  # visits, fittings
