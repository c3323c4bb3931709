"""The shop's settings: each with its unit, its default and where that comes from; every change is a version."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop import setups
from app.shop.keys import new_key
from app.shop.refusals import RefusedError
from app.shop.settings import DEFAULTS, SOURCES, Settings
from app.sync.units import KPA, MINUTE, THOU, ZERO_CELSIUS
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.forms import Typed
from app.web.refusal import status_of

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Line:
    """One setting of the form: a figure in base units is ``size`` times the typed one, plus ``zero``."""

    name: str
    label: str
    unit: str
    size: float = 1.0
    zero: float = 0.0

    def typed(self, value: float) -> str:
        """A figure in base units as the form shows it."""
        return f"{(value - self.zero) / self.size:.6g}"


GROUPS: tuple[tuple[str, tuple[Line, ...]], ...] = (
    (
        "Windows, half width, in per cent of the mean",
        (
            Line("coarse_window", "First fire", "%", 0.01),
            Line("fine_window", "Heat-soaked and lock-down", "%", 0.01),
            Line("bank_window", "Banks off idle", "%", 0.01),
        ),
    ),
    (
        "Hot right through",
        (
            Line("least_time", "Running at least", "min", MINUTE),
            Line("pulls", "Short pulls at least", ""),
            Line("coolant_least", "Coolant at least", "°C", 1.0, ZERO_CELSIUS),
            Line("oil_least", "Oil at least", "°C", 1.0, ZERO_CELSIUS),
            Line("steady_within", "Moving by no more than", "°C"),
            Line("steady_for", "over", "min", MINUTE),
        ),
    ),
    (
        "Stop the engine",
        (
            Line("oil_pressure_start", "Oil pressure at the start under", "kPa", KPA),
            Line("oil_pressure_hot", "Oil pressure when hot under", "kPa", KPA),
            Line("coolant_most", "Coolant over", "°C", 1.0, ZERO_CELSIUS),
            Line("oil_most", "Oil over", "°C", 1.0, ZERO_CELSIUS),
        ),
    ),
    (
        "Looked at again",
        (Line("recheck_km", "After", "km"), Line("recheck_months", "or after", "months")),
    ),
)
BLADES = (Line("base_blade", "Base blade under the stop screws", "thou", THOU),)
LISTS = {"openings": "Opening blades under the central lever", "blades": "Blades owned"}


@router.get("/settings")
def show(shop: Shop, page: Page) -> HTMLResponse:
    """What holds now."""
    return _page(shop, page, {}, {})


@router.post("/settings")
def change(shop: Shop, page: Page, form: Form, now: Now) -> Response:
    """Store another version."""
    try:
        new = _settings(form)
        form.raise_problems({k: v for k, v in setups.problems(new).items() if k not in form.problems})
        version = form.whole("version")
        setups.change(shop, form.text("key"), version, new, form.text("why"), form.text("by"), now)
    except RefusedError as refusal:
        return _page(shop, page, form.values, refusal.problems, status_of(refusal))
    return page.saved("/settings")


def _settings(form: Typed) -> Settings:
    """The settings typed; what cannot be read stays at its default, with the problem noted."""
    figures = {
        line.name: form.number(line.name) * line.size + line.zero
        for _, lines in (*GROUPS, ("", BLADES))
        for line in lines
    }
    return Settings(
        coarse_window=figures["coarse_window"],
        fine_window=figures["fine_window"],
        bank_window=figures["bank_window"],
        openings=_blades(form, "openings"),
        base_blade=figures["base_blade"],
        blades=_blades(form, "blades"),
        recheck_km=figures["recheck_km"],
        recheck_months=figures["recheck_months"],
        pulls=figures["pulls"],
        limits=replace(
            DEFAULTS.limits,
            oil_pressure_start=figures["oil_pressure_start"],
            oil_pressure_hot=figures["oil_pressure_hot"],
            coolant=figures["coolant_most"],
            oil=figures["oil_most"],
        ),
        heat=replace(
            DEFAULTS.heat,
            least_time=figures["least_time"],
            coolant=figures["coolant_least"],
            oil=figures["oil_least"],
            steady_for=figures["steady_for"],
            steady_within=figures["steady_within"],
        ),
    )


def _blades(form: Typed, name: str) -> tuple[float, ...]:
    found = []
    for word in form.text(name).replace(";", " ").replace(", ", " ").split():
        try:
            found.append(float(word.replace(",", ".")) * THOU)
        except ValueError:
            form.problems[name] = f"“{word[:20]}” is not a thickness. Like this: 2 2.5 3"
            return ()
    return tuple(found)


def _as_typed(held: Settings) -> dict[str, str]:
    values = {
        **{
            name: getattr(held, name) for name in ("coarse_window", "fine_window", "bank_window", "base_blade", "pulls")
        },
        **{name: getattr(held, name) for name in ("recheck_km", "recheck_months")},
        **{name: getattr(held.limits, name) for name in ("oil_pressure_start", "oil_pressure_hot")},
        **{name: getattr(held.heat, name) for name in ("least_time", "steady_for", "steady_within")},
        "coolant_most": held.limits.coolant,
        "oil_most": held.limits.oil,
        "coolant_least": held.heat.coolant,
        "oil_least": held.heat.oil,
    }
    typed = {line.name: line.typed(values[line.name]) for _, lines in (*GROUPS, ("", BLADES)) for line in lines}
    typed["openings"] = " ".join(f"{blade / THOU:g}" for blade in held.openings)
    typed["blades"] = " ".join(f"{blade / THOU:g}" for blade in held.blades)
    return typed


def _page(
    shop: Shop, page: Pages, values: Mapping[str, str], problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    with shop.reading() as session:
        version, held = setups.now(session)
        changes = setups.history(session)
    usual = _as_typed(DEFAULTS)
    return page.show(
        "shop/settings.html",
        status,
        groups=GROUPS,
        blades=BLADES,
        lists=LISTS,
        hints={name: f"{usual[name]}: {source}" for name, source in SOURCES.items()},
        changes=changes,
        values={**_as_typed(held), **values, "version": str(version), "key": values.get("key") or new_key()},
        problems=problems,
    )
