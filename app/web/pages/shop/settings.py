"""The shop's settings: each with its unit, its default and where that comes from; every change is a version."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.commands import settings_versions
from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.shop.record import stored_settings
from app.shop.record.measures import CHOICES, Quantity, Units
from app.shop.record.settings import DEFAULTS, SOURCES, Settings, Source
from app.shop.rejections import Rejection
from app.shop.store.idempotency import new_key
from app.sync.engine.units import THOU
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.web.setting_figures import FEELERS, GROUPS, LINES, in_base_units, with_figures
from app.wording.message import say
from app.wording.office import settings
from app.wording.reasons import problems_in_words

router = APIRouter()


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
    units, values = form.units, in_base_units(held)
    figures = {line.name: line.read(form, values[line.name], units) for line in LINES}
    return replace(
        with_figures(held, figures),
        people=_people(form.text("people", lines=True)),
        **_letterhead(form),
        openings=_blades(form, "openings", held.openings, units),
        blades=_blades(form, "blades", held.blades, units),
        units=_units(form, held.units),
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


def _as_typed(held: Settings, units: Units) -> dict[str, str]:
    values, blade = in_base_units(held), units.of("blade")
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
