"""What this shop works with, in base units. A visit is judged by the settings it was opened under.

The settings with their defaults and where each default comes from; ``commands.settings_versions`` stores them.
"""

import json
from dataclasses import asdict, dataclass, field, fields, replace
from enum import StrEnum
from typing import Any

from app.shop.record.measures import Units
from app.sync.engine.units import KPA, MINUTE, THOU, ZERO_CELSIUS
from app.sync.estimation.conformity import PASS_PROBABILITY
from app.sync.readings.heat import HeatRule


class Source(StrEnum):
    """Where a default comes from."""

    COMMON_PRACTICE = "common-practice"
    OWN_CHOICE = "own-choice"
    SI_UNIT = "si-unit"
    INCH_SET = "inch-set"
    INCH_MARKS = "inch-marks"
    ANY_INITIALS = "any-initials"
    NO_LETTERHEAD = "no-letterhead"
    MAKER_FIRST = "maker-first"
    SERVICE_SHEETS = "service-sheets"
    SEA_LEVEL = "sea-level"
    PUBLISHED_DEFAULT = "published-default"
    ENGINE_COOLS = "engine-cools"
    LONGER_THAN_A_WAIT = "longer-than-a-wait"
    HEAT_WANDERS = "heat-wanders"


OPENINGS = (2 * THOU, 120 * THOU)
"""What may be laid under the central lever for the bank balance, from and to [m] (our judgement)."""

ALTITUDES = (-500.0, 4500.0)
"""Where a shop may stand, from and to [m] above sea level (our judgement)."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Beyond these the phase stops and the engine with it. Pressures [Pa] above ambient, temperatures [K]."""

    oil_pressure_start: float = 100 * KPA
    oil_pressure_hot: float = 70 * KPA
    coolant: float = 110 + ZERO_CELSIUS
    oil: float = 135 + ZERO_CELSIUS
    head: float = 230 + ZERO_CELSIUS


@dataclass(frozen=True, slots=True)
class Settings:
    """What a shop may set: windows as fractions of the mean, lengths [m], temperatures [K], times [s].

    An engine is even from ``pass_probability`` on that all bores are inside. ``bank_window`` holds for the banks off
    idle, ``idle_bank_window`` for the ratio of their means at idle before and after a link rod was turned. ``people``
    are initials and full names; ``shop_name`` and the lines of ``shop_address`` head what is printed. An engine comes
    back after ``recheck_km``, or ``recheck_hours`` where its running hours are counted: the same distance at 50 km/h.

    ``altitude`` [m] of the shop above sea level stands in for the day's air pressure where that was not recorded. In a
    group, ``hide_customers`` keeps from each site the customers of the others.

    After ``pause`` [s] without a reading or a check the engine counts as stopped: a round is read in a few minutes, and
    plates follow a cooling engine (our judgement).

    A silence of more than ``gap`` [s] between two entries is no time of the job: the longest wait that the program asks
    for, a heat soak, has readings of its gauges within that time, and a meal is longer (our judgement).

    ``openings`` are the feelers under the central lever for the bank balance, two or three; 0.010 in and 0.030 in open
    the plates by about 0.6 and 1.7 degrees on a one-inch lever, and a factor of three tells the length of a link rod
    from the ratio of its lever arms. Public service sheets ask for oil of at least 60 degrees before idle checks; no
    published rate of heat soak, limit between bores or set of feelers was found, so the rest is common practice or this
    program's own choice, as ``SOURCES`` says.
    """

    coarse_window: float = 0.25
    fine_window: float = 0.08
    bank_window: float = 0.04
    idle_bank_window: float = 0.04
    pass_probability: float = PASS_PROBABILITY
    openings: tuple[float, ...] = (10 * THOU, 30 * THOU)
    base_blade: float = 3 * THOU
    blades: tuple[float, ...] = tuple(
        t * THOU for t in (1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 25)
    )
    altitude: float = 0.0
    recheck_km: float = 5000
    recheck_hours: float = 100
    recheck_months: float = 12
    pulls: float = 3
    pause: float = 20 * MINUTE
    gap: float = 30 * MINUTE
    people: tuple[tuple[str, str], ...] = ()
    shop_name: str = ""
    shop_address: str = ""
    hide_customers: bool = False
    units: Units = field(default_factory=Units)
    limits: Limits = field(default_factory=Limits)
    heat: HeatRule = field(
        default_factory=lambda: HeatRule(
            least_time=15 * MINUTE,
            coolant=70 + ZERO_CELSIUS,
            oil=65 + ZERO_CELSIUS,
            steady_for=5 * MINUTE,
            steady_within=2.0,
        )
    )

    def window(self, phase: str) -> float:
        """Half width of the window that the rounds of a phase are judged by."""
        return {"first-fire": self.coarse_window, "part-throttle-bank-balance": self.bank_window}.get(
            phase, self.fine_window
        )


DEFAULTS = Settings()
"""What holds in a shop that set nothing."""

SOURCES: dict[str, Source] = {
    "coarse_window": Source.OWN_CHOICE,
    "fine_window": Source.OWN_CHOICE,
    "bank_window": Source.OWN_CHOICE,
    "idle_bank_window": Source.OWN_CHOICE,
    "pass_probability": Source.PUBLISHED_DEFAULT,
    "openings": Source.OWN_CHOICE,
    "base_blade": Source.COMMON_PRACTICE,
    "blades": Source.INCH_SET,
    "altitude": Source.SEA_LEVEL,
    "recheck_km": Source.OWN_CHOICE,
    "recheck_hours": Source.OWN_CHOICE,
    "recheck_months": Source.OWN_CHOICE,
    "pulls": Source.COMMON_PRACTICE,
    "pause": Source.ENGINE_COOLS,
    "gap": Source.LONGER_THAN_A_WAIT,
    "lasts": Source.HEAT_WANDERS,
    "people": Source.ANY_INITIALS,
    "shop_name": Source.NO_LETTERHEAD,
    "shop_address": Source.NO_LETTERHEAD,
    "oil_pressure_start": Source.MAKER_FIRST,
    "oil_pressure_hot": Source.MAKER_FIRST,
    "coolant_most": Source.MAKER_FIRST,
    "oil_most": Source.MAKER_FIRST,
    "head_most": Source.MAKER_FIRST,
    "least_time": Source.OWN_CHOICE,
    "coolant_least": Source.OWN_CHOICE,
    "oil_least": Source.SERVICE_SHEETS,
    "head_least": Source.OWN_CHOICE,
    "steady_for": Source.OWN_CHOICE,
    "steady_within": Source.OWN_CHOICE,
    "temperature": Source.SI_UNIT,
    "oil_pressure": Source.SI_UNIT,
    "air_pressure": Source.SI_UNIT,
    "distance": Source.SI_UNIT,
    "blade": Source.INCH_MARKS,
}
"""Where each default comes from."""


def to_json(settings: Settings) -> str:
    """Text of the settings, stable under sorting of keys."""
    return json.dumps(asdict(settings), sort_keys=True)


def from_json(text: str) -> Settings:
    """The settings that ``to_json`` wrote; what an older version did not know yet is at its default."""
    read: dict[str, Any] = json.loads(text)
    known = {f.name for f in fields(Settings)}
    values: dict[str, Any] = {n: tuple(v) if isinstance(v, list) else v for n, v in read.items() if n in known}
    values["people"] = tuple((initials, name) for initials, name in values.get("people", ()))
    for name in ("limits", "heat", "units"):
        values[name] = replace(getattr(DEFAULTS, name), **values.get(name, {}))
    return replace(DEFAULTS, **values)
