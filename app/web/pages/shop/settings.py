"""The shop's settings: each with its unit, its default and where that comes from; every change is a version."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.commands import settings_versions
from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.shop.record import stored_settings
from app.shop.record.measures import CHOICES, Measure, Quantity, Units
from app.shop.record.settings import DEFAULTS, SOURCES, Settings, Source
from app.shop.rejections import Rejection
from app.shop.store.idempotency import new_key
from app.sync.engine.units import KPA, MINUTE, THOU, ZERO_CELSIUS
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.wording.message import Message, say
from app.wording.office import settings
from app.wording.reasons import problems_in_words

router = APIRouter()


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
LISTS = ("openings", "blades")
"""The fields that hold several feelers."""


@router.get("/settings")
def show(shop: Shop, page: Page) -> HTMLResponse:
    """What holds now."""
    return _page(shop, page, {}, {})


@router.post("/settings")
def change(shop: Shop, page: Page, form: Form, now: Now) -> Response:
    """Store another version."""
    with shop.reading() as session:
        _, held = stored_settings.now(session)
    try:
        new = _settings(form, held)
        form.raise_problems(
            {k: v for k, v in settings_versions.problems(new, form.units).items() if k not in form.problems}
        )
        version = form.whole("version")
        settings_versions.change(shop, form.text("key"), version, new, form.text("why"), form.text("by"), now)
    except RejectedError as refusal:
        return _page(shop, page, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved("/settings")


@router.post("/settings/letterhead")
def letterhead(shop: Shop, page: Page, form: Form, now: Now) -> Response:
    """Store what heads a sheet, asked for at the first print, as another version; then show that sheet."""
    with shop.reading() as session:
        _, held = stored_settings.now(session)
    try:
        if not form.text("shop_name"):
            form.problems["shop_name"] = because(Rejection.NAME_MISSING)
        visit_id, version, by = form.whole("back"), form.whole("version"), form.text("by")
        form.raise_problems()
        new = replace(held, **_letterhead(form))
        settings_versions.change(shop, form.text("key"), version, new, "", by, now)
    except RejectedError as refusal:
        typed = {**form.values, "units": "", "why": ""}
        return _page(shop, page, typed, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/sheet")


def _letterhead(form: Typed) -> dict[str, Any]:
    """The name as one line, and the lines of the address without empty ones and outer blanks."""
    lines = (line.strip() for line in form.text("shop_address", lines=True).splitlines())
    return {
        "shop_name": " ".join(form.text("shop_name").split()),
        "shop_address": "\n".join(line for line in lines if line),
    }


def _settings(form: Typed, held: Settings) -> Settings:
    """The settings typed, in the units that stood beside the boxes; a box that shows ``held`` keeps it as it is."""
    units, values = form.units, _in_base_units(held)
    figures = {line.name: line.read(form, values[line.name], units) for line in LINES}
    return Settings(
        coarse_window=figures["coarse_window"],
        fine_window=figures["fine_window"],
        bank_window=figures["bank_window"],
        idle_bank_window=figures["idle_bank_window"],
        pass_probability=figures["pass_probability"],
        people=_people(form.text("people", lines=True)),
        **_letterhead(form),
        openings=_blades(form, "openings", held.openings, units),
        base_blade=figures["base_blade"],
        altitude=figures["altitude"],
        blades=_blades(form, "blades", held.blades, units),
        recheck_km=figures["recheck_km"],
        recheck_hours=figures["recheck_hours"],
        recheck_months=figures["recheck_months"],
        pulls=figures["pulls"],
        pause=figures["pause"],
        gap=figures["gap"],
        units=_units(form, held.units),
        limits=replace(
            DEFAULTS.limits,
            oil_pressure_start=figures["oil_pressure_start"],
            oil_pressure_hot=figures["oil_pressure_hot"],
            coolant=figures["coolant_most"],
            oil=figures["oil_most"],
            head=figures["head_most"],
        ),
        heat=replace(
            DEFAULTS.heat,
            least_time=figures["least_time"],
            coolant=figures["coolant_least"],
            oil=figures["oil_least"],
            head=figures["head_least"],
            steady_for=figures["steady_for"],
            steady_within=figures["steady_within"],
            lasts=figures["lasts"],
        ),
    )


def _units(form: Typed, held: Units) -> Units:
    """The units chosen; those the form says nothing of stay."""
    chosen = held
    for quantity, names in CHOICES.items():
        unit = form.text(quantity)
        if unit in names:
            chosen = replace(chosen, **{quantity: unit})
        elif unit:
            form.problems[quantity] = because(Rejection.NOT_ONE_OF, choices=names)
    return chosen


def _people(typed: str) -> tuple[tuple[str, str], ...]:
    """Initials and name, out of a line each."""
    words = [line.split(maxsplit=1) for line in typed.splitlines() if line.strip()]
    return tuple((one[0], one[1].strip() if len(one) > 1 else "") for one in words)


def _blades(form: Typed, name: str, held: tuple[float, ...], units: Units) -> tuple[float, ...]:
    measure = units.of("blade")
    known = {measure.shown(one / THOU): one for one in held}
    found = []
    for word in form.text(name).replace(";", " ").replace(", ", " ").split():
        try:
            found.append(known[word] if word in known else measure.kept(float(word.replace(",", "."))) * THOU)
        except ValueError:
            examples = tuple(measure.figure(one) for one in (2, 2.5, 3))
            form.problems[name] = because(Rejection.NOT_A_THICKNESS, typed=word[:20], examples=examples)
            return ()
    return tuple(found)


def _in_base_units(held: Settings) -> dict[str, float]:
    """The figure behind each line."""
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


def _as_typed(held: Settings, units: Units) -> dict[str, str]:
    values, blade = _in_base_units(held), units.of("blade")
    return {
        **{line.name: line.typed(values[line.name], units) for line in LINES},
        "openings": " ".join(blade.shown(one / THOU) for one in held.openings),
        "shop_name": held.shop_name,
        "shop_address": held.shop_address,
        "people": "\n".join(" ".join(one) for one in held.people),
        "blades": " ".join(blade.shown(one / THOU) for one in held.blades),
        **{quantity: getattr(held.units, quantity) for quantity in CHOICES},
    }


def _unit_choices() -> list[tuple[Quantity, str, list[tuple[str, str]]]]:
    """Each quantity with its label and the units to choose from."""
    return [
        (quantity, say(label), [(unit, settings.unit_name(unit)) for unit in CHOICES[quantity]])
        for quantity, label in settings.UNITS_OF.items()
    ]


def _default(name: str, usual: str) -> str:
    """A default as it is shown: a unit by its name."""
    return settings.unit_name(usual) if name in CHOICES else usual


def _hint(usual: str, source: Source) -> str:
    """A default and where it comes from."""
    said = say(settings.SOURCES[source])
    return say(settings.DEFAULT, value=usual, source=said) if usual else say(settings.DEFAULT_NONE, source=said)


def _page(
    shop: Shop, page: Pages, values: Mapping[str, str], problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    """The page, its figures in the units of the form that was sent, or in those of the shop."""
    with shop.reading() as session:
        version, held = stored_settings.now(session)
        changes = stored_settings.history(session)
    units = Typed(values).units if values.get("units") else held.units.on_screen
    usual = _as_typed(DEFAULTS, units)
    return page.show(
        "shop/settings.html",
        status,
        groups=[(say(title), lines) for title, lines in GROUPS],
        feelers=FEELERS,
        lists=[(name, say(settings.FIELDS[name])) for name in LISTS],
        units=units,
        unit_choices=_unit_choices(),
        hints={name: _hint(_default(name, usual[name]), source) for name, source in SOURCES.items()},
        changes=[(row, ", ".join(say(settings.CHANGED[name]) for name in names)) for row, names in changes],
        values={
            **_as_typed(held, units),
            **values,
            "version": str(version),
            "units": units.code,
            "key": values.get("key") or new_key(),
        },
        problems=problems,
    )
