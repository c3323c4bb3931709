"""Codes of rejections: why a request was not stored. The JSON interface publishes them, so a value never changes.

``app.wording.program.rejections`` has the message of each. What a code's values are is written behind it: figures are
in the unit that is shown, and named ``unit``.
"""

from enum import StrEnum


class Rejection(StrEnum):
    """Why a request was rejected, or what it names was not found."""

    # any field
    TOO_LONG = "too-long"  # most, characters
    HIDDEN_SIGN = "hidden-sign"  # sign, such as U+202E
    OUT_OF_RANGE = "out-of-range"  # low, high, unit
    NUMBER_MISSING = "number-missing"
    NOT_A_NUMBER = "not-a-number"  # typed
    NOT_A_WHOLE_NUMBER = "not-a-whole-number"
    NOT_ONE_OF = "not-one-of"  # choices
    NOT_LISTED = "not-listed"
    NOT_A_DAY = "not-a-day"
    INITIALS_MISSING = "initials-missing"
    FULL_NAME_MISSING = "full-name-missing"
    NAME_MISSING = "name-missing"
    NAME_TAKEN = "name-taken"
    REASON_MISSING = "reason-missing"

    # forms, keys, and several tablets at one time
    STALE_FORM = "stale-form"
    KEY_REUSED = "key-reused"
    LOOK_DIFFERS = "look-differs"
    CHANGED_BY_ANOTHER_TABLET = "changed-by-another-tablet"
    ADJUSTED_BY_ANOTHER_TABLET = "adjusted-by-another-tablet"

    # what is not on record
    NO_SUCH_ENGINE = "no-such-engine"
    NO_SUCH_TAG = "no-such-tag"  # tag
    NO_SUCH_VISIT = "no-such-visit"
    NO_SUCH_MOVE = "no-such-adjustment"
    NO_SUCH_METER = "no-such-meter"
    NO_SUCH_STUDY = "no-such-study"
    NO_SUCH_PERSON = "no-such-person"
    NO_SUCH_TABLET = "no-such-tablet"
    NO_SUCH_SITE = "no-such-site"
    NO_SUCH_ROOM = "no-such-room"
    NO_SUCH_FEED = "no-such-feed"
    NO_SUCH_PROGRAM = "no-such-program"
    NO_SUCH_TABLE = "no-such-table"
    NO_EARLIER_VISIT = "no-earlier-visit"
    NOT_SIGNED_OFF = "not-signed-off"

    # engines and hardware
    SERIAL_MISSING = "serial-missing"
    SERIAL_TAKEN = "serial-taken"  # serial
    DISPLACEMENT_MISSING = "displacement-missing"
    IDLE_SPEED_MISSING = "idle-speed-missing"
    SHAFT_TOO_THICK = "shaft-too-thick"
    BORES_MISSING = "bores-missing"
    NOT_A_BORE = "not-a-bore"  # typed
    PLACE_MISSING = "place-missing"
    RUNS_MISSING = "runs-missing"
    INTAKE_MISSING = "intake-missing"
    INTAKE_NOTE_MISSING = "intake-note-missing"
    NOT_A_PAIR = "not-a-pair"  # typed
    NOT_NEIGHBORS = "not-neighbors"  # first, second
    PAIR_TWICE = "pair-twice"  # first, second
    SENSOR_TWICE = "sensor-twice"

    # sites
    OTHER_SITE = "other-site"  # site
    NO_ROOM_YET = "no-room-yet"  # site
    OTHER_SITES_ENGINE = "other-sites-engine"  # site
    HEAD_OFFICE_ONLY = "head-office-only"
    SECOND_HEAD_OFFICE = "second-head-office"

    # visits
    VISIT_OPEN = "visit-open"
    VISIT_BEGUN = "visit-begun"
    PHASES_INCOMPLETE = "phases-incomplete"  # phases

    # checks and waivers
    NOTHING_ENTERED = "nothing-entered"
    NO_TEMPERATURE = "no-temperature"
    NOT_ASKED_FOR = "not-asked-for"
    NOTHING_TO_UNDO = "nothing-to-undo"
    NOTHING_MISSING = "nothing-missing"

    # starts and stops
    ENGINE_RUNS = "engine-runs"
    ENGINE_STANDS = "engine-stopped-already"
    CHECK_BEFORE_START = "check-before-start"
    NOT_STOPPED = "no-open-stop"
    CAUSE_MISSING = "cause-missing"
    REMEDY_MISSING = "remedy-missing"

    # readings
    NO_SUCH_BORE = "no-such-bore"  # bore
    METER_VALUE_MISSING = "meter-value-missing"
    FAR_OFF = "far-off"  # value
    CORRECTED_VALUE_UNKNOWN = "corrected-value-unknown"
    CHOICE_CLOSED = "choice-closed"
    NO_READINGS_HERE = "no-readings-in-phase"
    NO_IDLE_SPEED_HERE = "no-idle-speed-in-phase"
    ROUND_IN_PROGRESS = "round-in-progress"  # round, bore
    ANOTHER_ROUND = "another-round"  # round
    ROUND_COMPLETE = "round-complete"  # round
    ADJUSTED_SINCE = "adjusted-since-round"  # round
    ROUND_RAN_OUT = "round-ran-out"  # round
    APPROACH_DIFFERS = "approach-differs"  # round
    DRIFT_CHECK_BORE = "drift-check-bore"  # bore, the one that the round began with
    DRIFT_CHECK_LAST = "drift-check-last"  # bores, still to read
    EXTRA_BEFORE_FIRST = "extra-before-first"  # bore
    BANK_BALANCE_ONLY = "bank-balance-only"

    # adjustments
    MOVE_NOT_IN_PHASE = "move-not-in-phase"
    THROTTLES_HAVE_POWER = "throttles-have-power"
    AS_FOUND_FIRST = "as-found-first"
    ADJUSTED_BEFORE_READING = "adjusted-before-reading"
    MOVE_TAKEN_BACK = "adjustment-taken-back"
    NO_SUCH_BANK = "no-such-bank"
    NO_SUCH_COUPLER = "no-such-coupler"
    NO_SUCH_BYPASS_SCREW = "no-such-bypass-screw"
    NO_SUCH_SCREW = "no-such-screw"  # of a further kind
    COUPLER_HAS_SCREW = "coupler-has-screw"
    COUPLER_HAS_NO_SCREW = "coupler-has-no-screw"
    TURNS_MISSING = "turns-missing"
    TURNS_OUT_OF_RANGE = "turns-out-of-range"  # most
    FLATS_OUT_OF_RANGE = "flats-out-of-range"  # most
    FEELER_COUNT = "feeler-count"  # most
    FEELERS_OUT_OF_RANGE = "feelers-out-of-range"  # low, high, unit

    # plates set cold
    ENGINE_HAS_RUN = "engine-has-run"
    COLD_SETTING_UNSAFE = "cold-setting-unsafe"
    PRESET_FIRST = "preset-first"
    NOT_SET_COLD = "not-set-cold"
    SET_BEFORE = "set-before"  # bore

    # corrections
    NOTHING_CORRECTED = "nothing-corrected"

    # people and tablets
    PIN_MISSING = "pin-missing"
    PIN_WRONG = "pin-wrong"
    PIN_LENGTH = "pin-length"  # low, high
    PIN_TOO_EASY = "pin-too-easy"
    PINS_DIFFER = "pins-differ"
    TOO_MANY_TRIES = "too-many-tries"  # wait, a timedelta
    PAIRING_CODE_SHOWN = "pairing-code-shown"
    PAIRING_CODE_WRONG = "pairing-code-wrong"
    SCOPES_MISSING = "scopes-missing"
    TOKEN_DAYS = "token-days"  # most
    TOKEN_SHOWN = "token-shown"

    # meters
    METER_RANGE = "meter-range"  # most
    METER_STEP = "meter-step"
    METER_UNITS_DIFFER = "meter-units-differ"  # other, other_unit, unit
    STUDY_COMPLETE = "study-complete"

    # settings
    WIDER_THAN_FIRST_FIRE = "wider-than-first-fire"  # most, per cent
    OPENING_FEELERS = "opening-feelers"
    FEELER_SET = "feeler-set"  # most
    NOT_A_THICKNESS = "not-a-thickness"  # typed, examples
    PEOPLE_LINES = "people-lines"  # most
    INITIALS_TWICE = "initials-twice"  # initials
    TOO_MANY_PEOPLE = "too-many-people"  # most

    # training engines
    REAL_ENGINE = "real-engine"
    NO_TRAINING_ENGINE = "no-training-engine"
    TRAINING_FLOW_ONLY = "training-flow-only"
    TRAINING_LAYOUT_CHANGED = "training-layout-changed"
    TRAINING_NO_LINK_RODS = "training-no-link-rods"
    TRAINING_STAYS = "training-stays"

    # engine files
    FILE_MISSING = "file-missing"
    FILE_LOST = "file-lost"
    FILE_TOO_LARGE = "file-too-large"  # most, MB
    FILE_WITHOUT_TIME = "file-without-time"
    FILE_TAKES_TOO_LONG = "file-takes-too-long"
    FILE_NEEDS_MORE_MEMORY = "file-needs-more-memory"
    FILES_TOO_LARGE = "files-too-large"  # most, MB; files
    FILE_NOT_AN_ENGINE = "file-not-an-engine"
    FILE_VERSION = "file-version"  # version, newest
    FILE_NOT_BY_SCHEMA = "file-not-by-schema"  # fields
    FILE_CONTRADICTS_ITSELF = "file-contradicts-itself"  # faults, of app.shop.exchange.codes
    FILE_OPEN_VISITS = "file-open-visits"
    FILE_ENTRY_DIFFERS = "file-entry-differs"  # kind, key
    FILE_OF_ANOTHER_ENGINE = "file-of-another-engine"
    HAND_OVER_UNNAMED = "hand-over-unnamed"
    HAND_OVER_ASKED = "hand-over-asked"
    NOT_ELSEWHERE = "not-elsewhere"
    VISIT_TAKEN_OVER = "visit-taken-over"
    NO_SUCH_QUESTION = "no-such-question"
    FILE_SEALS = "file-seals"  # keys, the first eight signs of each
