"""The shop's settings: what holds, and another version of them."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Annotated, ClassVar

from fastapi import APIRouter
from pydantic import Field

from app.shop.commands import settings_versions
from app.shop.errors import Problems, RejectedError
from app.shop.reasons import because
from app.shop.record import stored_settings
from app.shop.record.measures import CHOICES, Units
from app.shop.record.settings import DEFAULTS, Settings
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from app.web.api.problems import REFUSALS, escaped, named
from app.web.api.shapes import LARGEST_ID, By, Key, Line, Sent, Told, example, trade
from app.web.context import Now, Shop
from app.web.setting_figures import LINES, in_base_units, with_figures

router = APIRouter(prefix="/settings", tags=["shop"])

NAMES = {line.name.replace("_", "-"): line for line in LINES}
"""Each setting that is one number, by the name that programs give it."""

SettingName = Annotated[str, Field(max_length=40, json_schema_extra={"enum": list(NAMES)})]
Thickness = Annotated[float, Field(allow_inf_nan=False)]


class PersonNamed(Sent):
    """A person of the shop by initials."""

    initials: str = Field(max_length=60, examples=["KM"])
    name: Line = Field(description="The full name.", examples=["Kim Moor"])


class SettingTold(Told):
    """A setting that is one number."""

    value: float = Field(description="In `unit`.", examples=[8])
    unit: str = Field(description="Empty for a count.", examples=["%"])
    default: float = Field(description="What holds in a shop that set nothing, in `unit`.", examples=[8])
    label: str = Field(description="What people call it.", examples=["Heat-soaked recheck"])


class SettingsTold(Told):
    """What holds now. A visit is judged by the settings it was opened under."""

    version: int = Field(description="Sent along with the next change; 0 in a shop that set nothing.", examples=[3])
    figures: dict[str, SettingTold] = Field(description="By the name under which a change sends them.")
    blades_thou: list[float] = Field(description="The feelers, in thousandths of an inch.", examples=[[1.5, 2, 3]])
    openings_thou: list[float] = Field(
        description="The feelers under the central lever for the bank balance, the thinnest first, in thousandths of "
        "an inch.",
        examples=[[10, 30]],
    )
    people: list[PersonNamed] = Field(description="Whose initials are known.")
    shop_name: str = Field(description="Heads what is printed.")
    shop_address: str = Field(description="The lines below it.")
    units: dict[str, str] = Field(
        description="In what the shop's pages show each quantity; this interface never goes by it.",
        examples=[{"temperature": "°C"}],
    )

    @staticmethod
    def of(version: int, held: Settings) -> "SettingsTold":
        """From what is stored."""
        values, usual = in_base_units(held), in_base_units(DEFAULTS)
        return SettingsTold(
            version=version,
            figures={
                name: SettingTold(
                    value=trade(values[line.name] - line.zero, line.size),
                    unit=line.unit,
                    default=trade(usual[line.name] - line.zero, line.size),
                    label=line.label,
                )
                for name, line in NAMES.items()
            },
            blades_thou=[trade(leaf, THOU) for leaf in held.blades],
            openings_thou=[trade(opening, THOU) for opening in held.openings],
            people=[PersonNamed(initials=initials, name=name) for initials, name in held.people],
            shop_name=held.shop_name,
            shop_address=held.shop_address,
            units={quantity: getattr(held.units, quantity) for quantity in CHOICES},
        )


class SettingsSent(Sent):
    """Another version of the settings. What is left out, or null, stays as it is."""

    LINES: ClassVar = frozenset({"shop_address"})
    key: Key
    version: int = Field(ge=0, le=LARGEST_ID, description="The `version` that was changed, so that no change is lost.")
    figures: dict[SettingName, float] = Field(
        default={}, max_length=50, description="Each in its own unit, as `GET /api/settings` tells it."
    )
    blades_thou: list[Thickness] | None = Field(default=None, max_length=100, description="All the shop's feelers.")
    openings_thou: list[Thickness] | None = Field(default=None, max_length=10, description="Two or three feelers.")
    people: list[PersonNamed] | None = Field(
        default=None, max_length=100, description="Everybody, not who is new only."
    )
    shop_name: Line | None = Field(default=None, description="Heads what is printed.")
    shop_address: str | None = Field(default=None, max_length=settings_versions.LONGEST, description="The lines below.")
    units: dict[Annotated[str, Field(max_length=40)], Annotated[str, Field(max_length=20)]] | None = Field(
        default=None, max_length=20, description="In what pages show the quantities named; others stay as they are."
    )
    why: Line = Field(default="", description="Why it is changed.", examples=["A thinner set of feelers"])
    by: By
    model_config = example(
        key="c1d2e3f4-5a6b-4c7d-8e9f-0a1b2c3d4e11", version=0, figures={"fine-window": 6}, why="Tighter", by="KM"
    )


@router.get("", summary="The shop's settings")
def show_settings(shop: Shop) -> SettingsTold:
    """What a visit that is opened now is judged by, and what heads its sheet."""
    return _told(shop)


@router.post("", status_code=201, summary="Change the shop's settings", responses=REFUSALS)
def change_settings(shop: Shop, body: SettingsSent, now: Now) -> SettingsTold:
    """Store another version. Visits that are open stay under theirs."""
    with shop.reading() as session:
        held = stored_settings.by_id(session, {body.version}).get(body.version, DEFAULTS)
    wanted = _changed(held, body)
    places = {line.name: f"figures/{name}" for name, line in NAMES.items()}
    with named(**places, blades="blades_thou", openings="openings_thou"):
        settings_versions.change(shop, body.key, body.version, wanted, body.why, body.by, now)
    return _told(shop)


def _changed(held: Settings, body: SettingsSent) -> Settings:
    """The settings with what a body says of them. Raises RejectedError."""
    if unknown := [name for name in body.figures if name not in NAMES]:
        choices = because(Rejection.NOT_ONE_OF, choices=tuple(NAMES))
        raise RejectedError({f"figures/{escaped(name)}": choices for name in unknown})
    figures = in_base_units(held)
    for name, value in body.figures.items():
        line = NAMES[name]
        figures[line.name] = value * line.size + line.zero
    new = with_figures(held, figures)
    if body.blades_thou is not None:
        new = replace(new, blades=tuple(leaf * THOU for leaf in body.blades_thou))
    if body.openings_thou is not None:
        new = replace(new, openings=tuple(opening * THOU for opening in body.openings_thou))
    if body.people is not None:
        new = replace(new, people=tuple((one.initials.strip(), one.name.strip()) for one in body.people))
    if body.shop_name is not None:
        new = replace(new, shop_name=" ".join(body.shop_name.split()))
    if body.shop_address is not None:
        lines = (" ".join(line.split()) for line in body.shop_address.splitlines())
        new = replace(new, shop_address="\n".join(line for line in lines if line))
    return replace(new, units=_units(held, body.units or {}))


def _units(held: Settings, chosen: Mapping[str, str]) -> Units:
    """The units with those chosen. Raises RejectedError for a quantity or a unit that is none."""
    wrong: Problems = {}
    for quantity, unit in chosen.items():
        known = next((units for name, units in CHOICES.items() if name == quantity), None)
        if known is None or unit not in known:
            choices = tuple(CHOICES) if known is None else known
            wrong[f"units/{escaped(quantity)}"] = because(Rejection.NOT_ONE_OF, choices=choices)
    if wrong:
        raise RejectedError(wrong)
    return replace(held.units, **chosen)


def _told(shop: Database) -> SettingsTold:
    with shop.reading() as session:
        return SettingsTold.of(*stored_settings.now(session))
