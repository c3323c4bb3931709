"""The settings that are one number each: by what name and in what unit a person or a program gives them."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from app.shop.record.measures import Measure, Quantity, Units
from app.shop.record.settings import Settings
from app.sync.engine.units import KPA, MINUTE, THOU, ZERO_CELSIUS
from app.web.forms import Typed
from app.wording.message import Message, say
from app.wording.office import settings


@dataclass(frozen=True, slots=True)
class SettingField:
    """One setting of the form: a figure in base units is ``size`` times the typed one, plus ``zero``.

    A ``quantity`` is typed in the unit the page was shown in; ``span`` is a difference of two such figures. A
    ``height`` goes by the unit of distances.
    """

    name: str
    unit: str
    size: float = 1.0
    zero: float = 0.0
    quantity: Quantity | None = None
    span: bool = False
    height: bool = False

    @property
    def label(self) -> str:
        """What it is called."""
        return say(settings.FIELDS[self.name])

    def unit_in(self, units: Units) -> str:
        """The unit beside the box."""
        return settings.unit_name(self.measure(units).name)

    def measure(self, units: Units) -> Measure:
        """What turns a figure in the line's own unit into a typed one, and back."""
        if self.height:
            return units.height
        if self.quantity is None:
            return Measure(self.unit, places=4)
        return units.of(self.quantity).span if self.span else units.of(self.quantity)

    def typed(self, value: float, units: Units) -> str:
        """A figure in base units as the form shows it."""
        return self.measure(units).shown((value - self.zero) / self.size)

    def read(self, form: Typed, held: float, units: Units) -> float:
        """What was typed, in base units; ``held`` to the last place when the box came back as it was shown.

        ``held`` too when it is no number, so that no other box is blamed for it.
        """
        if form.text(self.name) == self.typed(held, units):
            return held
        typed = form.number(self.name)
        return held if self.name in form.problems else self.measure(units).kept(typed) * self.size + self.zero


DEGREES: Quantity = "temperature"
PRESSURE: Quantity = "oil_pressure"
GROUPS: tuple[tuple[Message, tuple[SettingField, ...]], ...] = (
    (
        settings.TOLERANCES,
        (
            SettingField("coarse_window", "%", 0.01),
            SettingField("fine_window", "%", 0.01),
            SettingField("bank_window", "%", 0.01),
            SettingField("idle_bank_window", "%", 0.01),
        ),
    ),
    (settings.VERDICT, (SettingField("pass_probability", "%", 0.01),)),
    (
        settings.HEAT_SOAKED,
        (
            SettingField("least_time", "min", MINUTE),
            SettingField("pulls", ""),
            SettingField("coolant_least", "°C", 1.0, ZERO_CELSIUS, DEGREES),
            SettingField("oil_least", "°C", 1.0, ZERO_CELSIUS, DEGREES),
            SettingField("head_least", "°C", 1.0, ZERO_CELSIUS, DEGREES),
            SettingField("steady_within", "°C", quantity=DEGREES, span=True),
            SettingField("steady_for", "min", MINUTE),
            SettingField("lasts", "min", MINUTE),
            SettingField("pause", "min", MINUTE),
        ),
    ),
    (
        settings.STOP,
        (
            SettingField("oil_pressure_start", "kPa", KPA, quantity=PRESSURE),
            SettingField("oil_pressure_hot", "kPa", KPA, quantity=PRESSURE),
            SettingField("coolant_most", "°C", 1.0, ZERO_CELSIUS, DEGREES),
            SettingField("oil_most", "°C", 1.0, ZERO_CELSIUS, DEGREES),
            SettingField("head_most", "°C", 1.0, ZERO_CELSIUS, DEGREES),
        ),
    ),
    (settings.TIME_OF_A_JOB, (SettingField("gap", "min", MINUTE),)),
    (settings.PLACE, (SettingField("altitude", "m", height=True),)),
    (
        settings.NEXT_CHECK,
        (
            SettingField("recheck_km", "km", quantity="distance"),
            SettingField("recheck_hours", "h"),
            SettingField("recheck_months", "months"),
        ),
    ),
)
FEELERS = (SettingField("base_blade", "thou", THOU, quantity="blade"),)
LINES = (*(line for _, lines in GROUPS for line in lines), *FEELERS)


def in_base_units(held: Settings) -> dict[str, float]:
    """The figure of each setting that is one number, by its name."""
    return {
        "coarse_window": held.coarse_window,
        "fine_window": held.fine_window,
        "bank_window": held.bank_window,
        "idle_bank_window": held.idle_bank_window,
        "pass_probability": held.pass_probability,
        "base_blade": held.base_blade,
        "pulls": held.pulls,
        "altitude": held.altitude,
        "recheck_km": held.recheck_km,
        "recheck_hours": held.recheck_hours,
        "recheck_months": held.recheck_months,
        "oil_pressure_start": held.limits.oil_pressure_start,
        "oil_pressure_hot": held.limits.oil_pressure_hot,
        "coolant_most": held.limits.coolant,
        "oil_most": held.limits.oil,
        "head_most": held.limits.head,
        "least_time": held.heat.least_time,
        "coolant_least": held.heat.coolant,
        "oil_least": held.heat.oil,
        "head_least": held.heat.head,
        "steady_for": held.heat.steady_for,
        "steady_within": held.heat.steady_within,
        "lasts": held.heat.lasts,
        "pause": held.pause,
        "gap": held.gap,
    }


def with_figures(held: Settings, figures: Mapping[str, float]) -> Settings:
    """``held`` with every figure that ``in_base_units`` names."""
    limits = replace(
        held.limits,
        oil_pressure_start=figures["oil_pressure_start"],
        oil_pressure_hot=figures["oil_pressure_hot"],
        coolant=figures["coolant_most"],
        oil=figures["oil_most"],
        head=figures["head_most"],
    )
    heat = replace(
        held.heat,
        least_time=figures["least_time"],
        coolant=figures["coolant_least"],
        oil=figures["oil_least"],
        head=figures["head_least"],
        steady_for=figures["steady_for"],
        steady_within=figures["steady_within"],
        lasts=figures["lasts"],
    )
    plain: dict[str, Any] = {name: figure for name, figure in figures.items() if name in PLAIN}
    return replace(held, limits=limits, heat=heat, **plain)


PLAIN = frozenset(field.name for field in fields(Settings))
"""The settings that stand in no group of their own."""
