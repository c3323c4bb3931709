"""What a phase may still need, as codes: each says one thing that is missing, or why a phase waits or is not needed."""

from enum import StrEnum


class Requirement(StrEnum):
    """Codes of what is missing. Their values are named behind each."""

    PHASE = "phase"  # phase, all of it
    ITEM = "item"  # phase, item
    HEAT_SOAK = "heat-soak"  # lacks, reasons of the next ten kinds
    HEAT_TIME = "heat-time"  # count [min]
    HEAT_UNREAD = "heat-unread"  # what
    HEAT_LOW = "heat-low"  # what, by
    HEAT_AGAIN = "heat-again"  # what, count [min]
    HEAT_MOVING = "heat-moving"  # what, by, count [min]
    HEAT_OLD = "heat-old"  # what, count [min]
    HEAT_SINCE_START = "heat-since-start"  # what
    HEAT_CYCLE = "heat-cycle"  # what
    HEAT_RISING = "heat-rising"  # what, by
    PULLS = "pulls"  # count
    QUICK_ROUND = "quick-round"
    ROUND_AFTER_ADJUSTMENT = "round-after-adjustment"
    EVEN_ROUND = "even-round"
    IDLE_ROUND = "idle-round"
    OPENING_ROUNDS = "opening-rounds"
    LEVER_SHUT = "lever-shut"
    OPENING_SPEED = "opening-speed"
    BANKS_TOGETHER = "banks-together"
    BANK_ON_STOP = "bank-on-stop"  # bank
    IDLE_AGAIN = "idle-again"
    IDLE_OFF = "idle-off"  # speed, wanted, most: all rpm
    SNAP_READ = "snap-read"  # bore, done, wanted
    SNAP_LOOSE_BANK = "snap-loose-bank"  # bore, scatter, expected, bank
    SNAP_LOOSE_COUPLER = "snap-loose-coupler"  # bore, scatter, expected, near, far
    OIL_PRESSURE_LOW = "oil-pressure-low"  # pressure, minimum
    COOLANT_HOT = "coolant-hot"  # temperature, maximum
    OIL_HOT = "oil-hot"  # temperature, maximum
    OVER_REV_LIMIT = "over-rev-limit"  # speed, limit: both rpm
    HEAD_HOT = "head-hot"  # temperature, maximum


class Waiting(StrEnum):
    """Why nothing may be recorded or read in a phase now."""

    SIGNED_OFF = "visit-signed-off"
    MISTAKEN = "visit-opened-by-mistake"
    ELSEWHERE = "visit-elsewhere"  # store
    NO_SUCH_PHASE = "no-such-phase"
    EARLIER_PHASE = "earlier-phase"  # phase, missing
    PRESET_DESTROYS = "preset-destroys-as-found"
    STOPPED = "stopped"  # stop
    ENGINE_STANDS = "engine-stands"  # why, a RanOut
    HEAT_RAN_OUT = "heat-ran-out"  # lack
    NOT_HEAT_SOAKED = "not-heat-soaked"  # lack
    CHECK_FIRST = "check-first"  # item, a Requirement.ITEM
    REQUIRED = "required-cannot-be-waived"  # missing, reasons


class RanOut(StrEnum):
    """Why an engine counts as stopped."""

    STOPPED = "engine-stopped"
    PAUSED = "paused"  # time, a timedelta
    CLOCK_BACK = "clock-back"


class NotNeeded(StrEnum):
    """Why a phase asks nothing of this visit."""

    PRESET_EARLIER = "preset-earlier"
    ENGINE_RUNS = "engine-runs"
    ONE_BANK = "one-bank"
    ELECTRONIC = "electronic"


class ChangedPart(StrEnum):
    """What changes the sync when it is changed (common practice, no published source)."""

    STOP_SCREW = "stop screw"
    EXHAUST = "exhaust"
    LINKAGE = "linkage"
    THROTTLE_SENSOR = "throttle sensor"
    INTAKE = "intake or air filter"


class Runs(StrEnum):
    """Whether an engine runs as it comes in, asked when a visit is opened and nothing else tells."""

    RUNS = "runs"
    NEW_THROTTLES = "new-throttles"
    FRESH = "fresh"


class Changed(StrEnum):
    """Why an engine that was even has to be read hot again."""

    TOUCHED = "touched"  # what, a ChangedPart
    HARDWARE = "hardware"
    IN_TEST_CELL = "in-test-cell"
    IN_VEHICLE = "in-vehicle"
    FITTED_AWAY = "fitted-away"
    RECHECK = "recheck"  # reasons
