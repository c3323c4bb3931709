"""The five phases: what each asks for, in which order, and what cannot be waived.

What belongs here: the table of phases as codes, and nothing that looks at a record or words anything. Whether a phase
is done is worked out in ``progress`` from what was recorded; no column says so.

The cautions are the trade's usual ones, at most four of them at one place. They give way to the maker's instructions,
local codes and licensed practice.
"""

from app.shop.procedure.codes import CautionCode, StepCode
from app.shop.procedure.items import Caution, Item, Phase, Place, Step

AT_THE_ENGINE: tuple[Place, ...] = ("test cell", "vehicle")
"""Where a gauge can be laid on a shaft; it is not asked for over the telephone."""

IN_THE_VEHICLE: tuple[Place, ...] = ("vehicle", "telephone")

TEST_CELL: tuple[Place, ...] = ("test cell",)
VEHICLE: tuple[Place, ...] = ("vehicle",)
TELEPHONE: tuple[Place, ...] = ("telephone",)

COLD_SETTING_ITEMS = ("cold-and-off", "hand-gauged", "couplers-new", "cold-setting-declined")
"""What is recorded beside the setting of all plates cold: that nothing can start or move a plate, what the hand and
the couplers are like, and that it is not wanted now."""

FAN_STATES = ("off", "on", "cycling")
"""What cooling fans may do while bores are read: a figure of the item is the place in this list."""

USUAL_REV_LIMITS = (2500.0, 3000.0)
"""What a rev limit off idle is often set to [rpm] (our judgement)."""

OPENING_SPEEDS = ("first-opening-speed", "next-opening-speed")
"""Items that held the engine speed off idle before it was recorded with its round."""

COLD_PRESET = Phase(
    slug="cold-preset",
    steps=(
        Step(StepCode.MOTORS_POWER_OFF, when="motors"),
        Step(StepCode.MOTORS_BY_MAKER, when="motors"),
        Step(StepCode.LOOK_INTO_BORES, when="linkage"),
        Step(StepCode.BASE_FEELER, when="linkage"),
        Step(StepCode.PRESET_TURNS, when="linkage"),
        Step(StepCode.ROCK_PLATES, when="couplers", unless="motors"),
        Step(StepCode.SHARED_SHAFTS, when="shafts"),
        Step(StepCode.SEAT_BYPASS_SCREWS, when="bypass"),
        Step(StepCode.LEAVE_COUPLER_SCREWS, when="screws"),
    ),
    items=(
        Item("battery-off", required=True, apart=True, when="linkage"),
        Item("throttle-power-off", required=True, apart=True, when="motors"),
        Item("maker-instructions", required=True, when="motors"),
        Item("wide-open", required=True, when="linkage"),
        Item("closed-contact", required=True, when="linkage"),
        Item("base-blade", "number", "thou", 0.5, 40, quantity="blade", when="linkage"),
        Item("preset-turns", "number", "turns", 0, 6, when="linkage"),
        Item(
            "bypass-turns",
            "number",
            "turns",
            0,
            6,
            when="bypass",
        ),
        Item("shaft-plates", when="shafts"),
        Item("stop-spring", when="linkage"),
        Item("coupler-slack", when="couplers"),
        Item("sensor-closed", "number", "V", 0, 6, when="sensor"),
        *(Item(slug, needed=(), when="couplers", where=AT_THE_ENGINE, aside=True) for slug in COLD_SETTING_ITEMS),
    ),
    cautions=(
        Caution(CautionCode.UNEXPECTED_START, where=TEST_CELL),
        Caution(CautionCode.UNEXPECTED_START_IN_VEHICLE, where=VEHICLE),
        Caution(CautionCode.UNEXPECTED_START_AWAY, where=TELEPHONE),
        Caution(CautionCode.PLATE_SNAPS_SHUT, when="linkage"),
        Caution(CautionCode.MOTOR_SHUTS_PLATE, when="motors"),
        Caution(CautionCode.DROPPED_PART),
        Caution(CautionCode.PLATE_SCREW, when="shafts"),
    ),
    rounds="none",
    moves=(),
)

FIRST_FIRE = Phase(
    slug="first-fire",
    steps=(
        Step(StepCode.CHECK_FIRST),
        Step(StepCode.START),
        Step(StepCode.RUN_IN, when="fresh"),
        Step(StepCode.ADJUST_NOTHING_COLD),
        Step(StepCode.QUICK_ROUND, when="linkage"),
        Step(StepCode.MOTORS_QUICK_ROUND, when="motors"),
    ),
    items=(
        Item("kill-switch", required=True, apart=True),
        Item("exhaust-drawn", required=True, apart=True),
        Item("fuel-dry", required=True, apart=True),
        Item("throttle-returns", required=True, apart=True, when="linkage"),
        Item("plates-follow", required=True, apart=True, when="motors"),
        Item("bores-clear", required=True),
        Item("fire-ready", required=True),
        Item("not-alone", required=True, where=AT_THE_ENGINE),
        Item("guarded", required=True, where=TEST_CELL),
        Item("protected", required=True, where=IN_THE_VEHICLE),
        Item("coolant-full", when="liquid"),
        Item("air-path-clear", when="air"),
        Item("wheels-chocked", required=True, where=IN_THE_VEHICLE, apart=True),
        Item("fan-clear", required=True, where=IN_THE_VEHICLE),
        Item("oil-primed", required=True, when="fresh"),
        Item("base-timing", required=True, when="fresh"),
        Item("battery-back", required=True, puts_back="battery-off"),
        Item(
            "oil-pressure",
            "number",
            "kPa",
            0,
            1500,
            before_running=False,
            stops="oil pressure at the start",
            needed=("test cell",),
            quantity="oil_pressure",
            ahead=True,
            at_start=True,
        ),
        Item(
            "oil-lamp",
            required=True,
            before_running=False,
            where=IN_THE_VEHICLE,
            first_at=TELEPHONE,
            ahead=True,
            at_start=True,
            apart=True,
        ),
        Item(
            "run-in",
            required=True,
            before_running=False,
            when="fresh",
            ahead=True,
            at_start=True,
            after=("oil-pressure", "oil-lamp"),
        ),
    ),
    cautions=(
        Caution(CautionCode.EXHAUST_GAS, where=AT_THE_ENGINE),
        Caution(CautionCode.EXHAUST_GAS_AWAY, where=TELEPHONE),
        Caution(CautionCode.BACKFIRE),
        Caution(CautionCode.FUEL_LEAK),
        Caution(CautionCode.ROTATING_PARTS, where=TEST_CELL),
        Caution(CautionCode.FAN_AND_BELTS, where=VEHICLE),
        Caution(CautionCode.ALONE_AT_FAN, where=TELEPHONE),
    ),
    rounds="coarse",
    moves=("stop",),
)

HEAT_SOAKED = Phase(
    slug="heat-soaked-recheck",
    steps=(
        Step(StepCode.WARM_UP),
        Step(StepCode.HOLD_LOADS),
        Step(StepCode.MOTORS_HELD, when="motors"),
        Step(StepCode.CHECK_LEAKS),
        Step(StepCode.STOP_WHEN_HOT, when="liquid"),
        Step(StepCode.STOP_WHEN_HEAD_HOT, when="air"),
        Step(StepCode.MOTORS_NO_FEELER, when="motors"),
        Step(StepCode.COUPLERS_ENGINE_OFF, when="couplers", unless="motors"),
        Step(StepCode.SHAFTS_MOVE_TOGETHER, when="shafts"),
        Step(StepCode.FLOW_METER_AT_PLENUM, when="plenum"),
    ),
    items=(
        Item("coolant", "number", "°C", 0, 170, stops="coolant", over_time=True, quantity="temperature", when="liquid"),
        Item("head", "number", "°C", 0, 350, stops="head", over_time=True, quantity="temperature", when="air"),
        Item(
            "oil",
            "number",
            "°C",
            0,
            200,
            stops="oil",
            over_time=True,
            needed=("test cell",),
            quantity="temperature",
        ),
        Item("mixture-safe", required=True, when="fresh", apart=True),
        Item("pulls", "number", "pulls", 0, 50, after=("mixture-safe",)),
        Item(
            "oil-pressure-hot",
            "number",
            "kPa",
            0,
            1500,
            stops="oil pressure when hot",
            needed=("test cell",),
            quantity="oil_pressure",
        ),
        Item("idle-speed", "number", "rev/min", 300, 3000),
        Item(
            "air-pressure",
            "number",
            "kPa abs.",
            50,
            115,
            needed=(),
            quantity="air_pressure",
        ),
        Item("air-temperature", "number", "°C", -40, 90, needed=(), quantity="temperature"),
        Item("idle-control"),
        Item("loads-steady"),
        Item("leak-checked", ahead=True, apart=True),
        Item("intake-off", needed=()),
        Item("hoses-off", needed=()),
        Item("fans", "number", "", 0, len(FAN_STATES) - 1, needed=(), when="liquid", choices=FAN_STATES),
    ),
    cautions=(
        Caution(CautionCode.BACKFIRE, unless="bypass", where=AT_THE_ENGINE),
        Caution(CautionCode.BACKFIRE_AT_BYPASS_SCREW, when="bypass", where=AT_THE_ENGINE),
        Caution(CautionCode.BACKFIRE, where=TELEPHONE),
        Caution(CautionCode.HOT_ENGINE, when="liquid"),
        Caution(CautionCode.HOT_FINS, when="air"),
        Caution(CautionCode.ROTATING_PARTS, where=TEST_CELL),
        Caution(CautionCode.FAN_AND_BELTS, where=VEHICLE),
        Caution(CautionCode.ALONE_AT_FAN, where=TELEPHONE),
        Caution(CautionCode.VEHICLE_ROLLS, where=IN_THE_VEHICLE),
    ),
    rounds="fine",
    moves=("stop", "blade", "screw", "bypass"),
)

BANK_BALANCE = Phase(
    slug="part-throttle-bank-balance",
    steps=(
        Step(StepCode.FEEL_FREE_PLAY),
        Step(StepCode.OPENING_FEELER),
        Step(StepCode.NEXT_OPENING),
        Step(StepCode.TURN_LINK_ROD),
        Step(StepCode.REMOVE_OPENING_FEELER),
    ),
    items=(
        Item("free-play", when="two banks", engine_off=True),
        Item("joints-tight", when="two banks", engine_off=True),
        Item("full-open", when="two banks", engine_off=True),
        Item(
            "both-hands",
            needed=(),
            when="two banks",
            where=AT_THE_ENGINE,
        ),
        *(
            Item(
                f"gauged-{which}",
                "number",
                "degrees",
                40,
                100,
                needed=(),
                when="two banks",
                where=AT_THE_ENGINE,
                engine_off=True,
            )
            for which in ("first", "second")
        ),
        Item("rev-limit", "number", "rev/min", 1000, 9000, required=True, when="two banks", offers=USUAL_REV_LIMITS),
        Item("lever-held", required=True, when="two banks", apart=True),
        *(
            Item(slug, "number", "rev/min", 300, 6000, needed=(), when="two banks", no_longer=True)
            for slug in OPENING_SPEEDS
        ),
        Item(
            "wheels-chocked",
            required=True,
            apart=True,
            when="two banks",
            where=IN_THE_VEHICLE,
        ),
    ),
    cautions=(
        Caution(CautionCode.BACKFIRE),
        Caution(CautionCode.REACHING_FOR_LEVER, where=AT_THE_ENGINE),
        Caution(CautionCode.ALONE_AT_LEVER, where=TELEPHONE),
        Caution(CautionCode.VEHICLE_ROLLS, where=IN_THE_VEHICLE),
        Caution(CautionCode.THROTTLE_SNAPS),
    ),
    rounds="openings",
    moves=("link", "stop"),
)

LOCK_DOWN = Phase(
    slug="lock-down",
    steps=(
        Step(StepCode.TIGHTEN, when="linkage"),
        Step(StepCode.MARK_STOP_SCREWS, when="linkage"),
        Step(StepCode.MOTORS_TIGHTEN, when="motors"),
        Step(StepCode.MOTORS_ADAPT, when="motors"),
        Step(StepCode.COUNT_TOOLS),
        Step(StepCode.LAST_ROUND),
        Step(StepCode.PUT_BACK),
        Step(StepCode.SIGN_OFF),
    ),
    items=(
        Item("couplers-tight", required=True, fresh=True, when="couplers", engine_off=True),
        Item(
            "bypass-held",
            required=True,
            fresh=True,
            when="bypass",
            engine_off=True,
        ),
        Item("links-tight", required=True, fresh=True, when="two banks", engine_off=True),
        Item("stops-marked", required=True, fresh=True, when="linkage", engine_off=True),
        Item("tools-counted", required=True, fresh=True, engine_off=True),
        Item("throttle-returns", required=True, fresh=True, apart=True, when="linkage", engine_off=True),
        Item("linkage-rest", required=True, fresh=True, when="linkage", engine_off=True),
        Item("linkage-full", required=True, fresh=True, when="linkage", engine_off=True),
        Item("plates-follow", required=True, fresh=True, apart=True, when="motors", engine_off=True),
        Item("throttle-adapted", required=True, fresh=True, when="motors"),
        Item("sensor-learned", fresh=True, when="sensor"),
        Item("sensor-closed", "number", "V", 0, 6, when="sensor"),
        Item("sensor-open", "number", "V", 0, 6, when="sensor"),
        Item("idle-control-back", required=True, fresh=True, before_running=False, puts_back="idle-control"),
        Item("loads-back", required=True, fresh=True, before_running=False, puts_back="loads-steady"),
        Item("hoses-back", required=True, fresh=True, before_running=False, puts_back="hoses-off"),
        Item("intake-back", fresh=True, before_running=False, puts_back="intake-off"),
        Item("idle", "number", "rev/min", 300, 3000, before_running=False),
        Item("odometer", "number", "km", 0, 5_000_000, needed=(), where=IN_THE_VEHICLE, quantity="distance"),
        Item("hours", "number", "h", 0, 200_000, needed=()),
    ),
    cautions=(
        Caution(CautionCode.STICKING_THROTTLE, when="linkage"),
        Caution(CautionCode.MOTOR_SHUTS_PLATE, when="motors"),
        Caution(CautionCode.BACKFIRE),
        Caution(CautionCode.VEHICLE_AND_FAN, where=VEHICLE),
        Caution(CautionCode.ALONE_AT_VEHICLE, where=TELEPHONE),
        Caution(CautionCode.ADHESIVE, when="linkage"),
    ),
    rounds="last",
    moves=(),
)

PHASES: tuple[Phase, ...] = (COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, BANK_BALANCE, LOCK_DOWN)


def phase_named(slug: str) -> Phase:
    """The phase of that name. Raises KeyError when there is none."""
    for one in PHASES:
        if one.slug == slug:
            return one
    raise KeyError(slug)
