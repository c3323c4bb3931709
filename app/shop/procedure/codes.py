"""The codes of what a phase tells a person to do and to beware of, and of why a bore has no reading that counts.

``app.wording`` has the words of each.
"""

from enum import StrEnum


class StepCode(StrEnum):
    """One thing to do in a phase."""

    LOOK_INTO_BORES = "look-into-bores"
    BASE_FEELER = "base-feeler"
    PRESET_TURNS = "preset-turns"
    ROCK_PLATES = "rock-plates"
    SHARED_SHAFTS = "shared-shafts"
    SEAT_BYPASS_SCREWS = "seat-bypass-screws"
    LEAVE_COUPLER_SCREWS = "leave-coupler-screws"

    MOTORS_POWER_OFF = "motors-power-off"
    MOTORS_BY_MAKER = "motors-by-maker"
    MOTORS_NO_FEELER = "motors-no-feeler"
    MOTORS_QUICK_ROUND = "motors-quick-round"
    MOTORS_HELD = "motors-held"
    MOTORS_TIGHTEN = "motors-tighten"
    MOTORS_ADAPT = "motors-adapt"

    STOP_WHEN_HEAD_HOT = "stop-when-head-hot"

    CHECK_FIRST = "check-first"
    START = "start"
    ADJUST_NOTHING_COLD = "adjust-nothing-cold"
    QUICK_ROUND = "quick-round"

    WARM_UP = "warm-up"
    HOLD_LOADS = "hold-loads"
    STOP_WHEN_HOT = "stop-when-hot"
    COUPLERS_ENGINE_OFF = "couplers-engine-off"
    SHAFTS_MOVE_TOGETHER = "shafts-move-together"
    FLOW_METER_AT_PLENUM = "flow-meter-at-plenum"

    FEEL_FREE_PLAY = "feel-free-play"
    OPENING_FEELER = "opening-feeler"
    NEXT_OPENING = "next-opening"
    TURN_LINK_ROD = "turn-link-rod"
    REMOVE_OPENING_FEELER = "remove-opening-feeler"

    TIGHTEN = "tighten"
    MARK_STOP_SCREWS = "mark-stop-screws"
    COUNT_TOOLS = "count-tools"
    LAST_ROUND = "last-round"
    SIGN_OFF = "sign-off"


class CautionCode(StrEnum):
    """One hazard. Where a place or a part changes the hazard or how to avoid it, it has a code of its own."""

    UNEXPECTED_START = "unexpected-start"
    UNEXPECTED_START_IN_VEHICLE = "unexpected-start-in-vehicle"
    UNEXPECTED_START_AWAY = "unexpected-start-away"
    PLATE_SNAPS_SHUT = "plate-snaps-shut"
    DROPPED_PART = "dropped-part"
    PLATE_SCREW = "plate-screw"
    MOTOR_SHUTS_PLATE = "motor-shuts-plate"

    EXHAUST_GAS = "exhaust-gas"
    EXHAUST_GAS_AWAY = "exhaust-gas-away"
    BACKFIRE = "backfire"
    BACKFIRE_AT_BYPASS_SCREW = "backfire-at-bypass-screw"
    FUEL_LEAK = "fuel-leak"
    ROTATING_PARTS = "rotating-parts"
    FAN_AND_BELTS = "fan-and-belts"
    ALONE_AT_FAN = "alone-at-fan"

    HOT_ENGINE = "hot-engine"
    HOT_FINS = "hot-fins"
    VEHICLE_ROLLS = "vehicle-rolls"

    REACHING_FOR_LEVER = "reaching-for-lever"
    ALONE_AT_LEVER = "alone-at-lever"
    THROTTLE_SNAPS = "throttle-snaps"

    STICKING_THROTTLE = "sticking-throttle"
    ADHESIVE = "adhesive"
    VEHICLE_AND_FAN = "vehicle-and-fan"
    ALONE_AT_VEHICLE = "alone-at-vehicle"


class SkipReason(StrEnum):
    """Why a person skips a bore."""

    OUT_OF_REACH = "out-of-reach"
    NOT_SAFE = "not-safe"
    LATER = "later"
    PLATE_OUT_OF_ORDER = "plate-out-of-order"


class SetAside(StrEnum):
    """Why a saved reading does not count."""

    OTHER_VALUE_COUNTS = "other-value-counts"
