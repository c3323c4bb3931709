"""The shop's settings in words: what each is, where its default comes from, and what may be chosen on a tablet."""

from collections.abc import Mapping
from enum import StrEnum

from app.shop.record.measures import INCHES, THOUSANDTHS, Quantity
from app.shop.record.settings import Source
from app.wording.message import Message, say
from app.wording.reasons import TABLES

SOURCES: Mapping[StrEnum, Message] = {
    Source.COMMON_PRACTICE: Message("common practice, no published source"),
    Source.OWN_CHOICE: Message("this program’s own choice"),
    Source.SI_UNIT: Message("SI unit, this program’s own choice"),
    Source.INCH_SET: Message("usual inch set, common practice, no published source"),
    Source.INCH_MARKS: Message("as the usual inch set is marked, common practice, no published source"),
    Source.ANY_INITIALS: Message("no list, any initials are accepted"),
    Source.NO_LETTERHEAD: Message("empty. It heads the handover sheet"),
    Source.MAKER_FIRST: Message("common practice, no published source. The engine maker’s figure comes first"),
    Source.SEA_LEVEL: Message("sea level. The air pressure recorded at a visit comes first"),
    Source.PUBLISHED_DEFAULT: Message("default of ISO 14253-1:2017, as secondary sources describe it"),
    Source.ENGINE_COOLS: Message(
        "a round takes a few minutes, and plates follow a cooling engine. This program’s own choice"
    ),
    Source.LONGER_THAN_A_WAIT: Message(
        "a heat soak has an entry more often than this, and a meal takes longer. This program’s own choice"
    ),
    Source.HEAT_WANDERS: Message(
        "coolant and oil wander with load and fans, and a look takes seconds. This program’s own choice"
    ),
    Source.SERVICE_SHEETS: Message("slightly above the 60\u00a0°C of public service sheets"),
}
"""Where a default comes from."""
TABLES[Source] = SOURCES

DEFAULT = Message("Default {value}: {source}")
DEFAULT_NONE = Message("Default: {source}")

UNIT_NAMES: Mapping[str, Message] = {"miles": Message("miles"), "months": Message("months")}
"""Units that have a name where others have a symbol."""

TOLERANCES = Message("Tolerances, ±\u00a0% of the average")
VERDICT = Message("Verdict")
HEAT_SOAKED = Message("Heat-soaked")
TIME_OF_A_JOB = Message("Time of a job")
STOP = Message("Stop the engine")
NEXT_CHECK = Message("Next check")
PLACE = Message("Place of the shop")

FIELDS: Mapping[str, Message] = {
    "coarse_window": Message("First fire"),
    "fine_window": Message("Heat-soaked recheck and lock-down"),
    "bank_window": Message("Banks at part throttle"),
    "idle_bank_window": Message("Banks at idle, before and after a link rod is turned"),
    "pass_probability": Message("Even from a probability that all bores are inside of"),
    "least_time": Message("Engine running for at least"),
    "pulls": Message("Short pulls, at least"),
    "coolant_least": Message("Coolant at least"),
    "oil_least": Message("Oil at least"),
    "head_least": Message("Cylinder head at least, air-cooled"),
    "steady_within": Message("Temperatures steady within"),
    "steady_for": Message("Steady for at least"),
    "lasts": Message("A look at the gauges counts for"),
    "pause": Message("Engine counts as stopped after no entry for"),
    "gap": Message("A time without an entry is not counted if longer than"),
    "oil_pressure_start": Message("Oil pressure at start below"),
    "oil_pressure_hot": Message("Oil pressure hot below"),
    "coolant_most": Message("Coolant above"),
    "oil_most": Message("Oil above"),
    "head_most": Message("Cylinder head above, air-cooled"),
    "altitude": Message("Altitude above sea level"),
    "recheck_km": Message("After a distance of"),
    "recheck_hours": Message("Or after running hours, where these are counted"),
    "recheck_months": Message("Or after a time of"),
    "base_blade": Message("Base feeler under the stop screws"),
    "openings": Message("Opening feelers under the central lever"),
    "blades": Message("Feelers in the set"),
}
"""The fields of the settings form."""

CHANGED: Mapping[str, Message] = {
    "coarse_window": Message("first fire tolerance"),
    "fine_window": Message("heat-soaked tolerance"),
    "bank_window": Message("part-throttle tolerance of the banks"),
    "idle_bank_window": Message("idle tolerance of the banks"),
    "pass_probability": Message("probability for even"),
    "openings": Message("opening feelers"),
    "base_blade": Message("base feeler"),
    "blades": Message("feeler set"),
    "altitude": Message("altitude"),
    "recheck_km": Message("distance to the next check"),
    "recheck_hours": Message("running hours to the next check"),
    "recheck_months": Message("time to the next check"),
    "pulls": Message("short pulls"),
    "pause": Message("longest pause"),
    "gap": Message("longest time without an entry that counts for the job"),
    "shop_name": Message("name of the shop"),
    "shop_address": Message("address of the shop"),
    "people": Message("initials and names"),
    "hide_customers": Message("customers of other sites"),
    "units": Message("units"),
    "limits": Message("stop limits"),
    "heat": Message("heat-soak rule"),
}
"""Parts of the settings, in the list of earlier changes."""

UNITS_OF: Mapping[Quantity, Message] = {
    "temperature": Message("Temperatures"),
    "oil_pressure": Message("Oil pressure"),
    "air_pressure": Message("Air pressure"),
    "blade": Message("Feelers"),
    "distance": Message("Distances"),
}
"""The quantities that a shop chooses a unit for."""

DISPLAY: Mapping[str, Mapping[str, Message]] = {
    "look": {"": Message("As set on the tablet"), "bright": Message("Bright"), "dark": Message("Dark")},
    "hand": {"": Message("Keypad on the right"), "left": Message("Keypad on the left")},
    "front": {"": Message("Front on the left"), "right": Message("Front on the right")},
}
"""What may be chosen for the display of one tablet."""


def unit_name(unit: str) -> str:
    """A unit as it is shown beside a figure or offered as a choice: feelers in inches, never in thousandths of one."""
    if unit == THOUSANDTHS:
        return INCHES
    return say(UNIT_NAMES[unit]) if unit in UNIT_NAMES else unit
