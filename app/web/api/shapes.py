"""What the shapes of the JSON interface share.

Every figure carries its unit in its name (``idle_speed_rpm``, ``leaves_thou``) or beside it (``unit``). They are the
trade's units; ``thou`` is a thousandth of an inch.
"""

import re
from typing import Annotated, Any, ClassVar, Literal, cast

from fastapi import Path
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from app.shop.commands.engines import LONGEST
from app.shop.entries import LARGEST, hidden_sign, storable
from app.shop.record.entries import MeterEntry
from app.shop.record.rounds import UNITS
from app.sync.engine.adjusters.registry import kinds

LARGEST_ID = LARGEST


class Sent(BaseModel):
    """A body as a program sends it: no field that is not known, no text where a number belongs, and no ``1e999``."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    LINES: ClassVar[frozenset[str]] = frozenset()
    """The fields that take several lines."""

    @field_validator("*")
    @classmethod
    def _as_on_a_page(cls, value: object, field: ValidationInfo) -> object:
        """Holds every field to what a page takes."""
        lines = field.field_name in cls.LINES
        text = value.replace("\t", " ") if lines and isinstance(value, str) else value
        if isinstance(text, str) and (sign := hidden_sign(text, lines=lines)) is not None:
            raise PydanticCustomError("hidden_sign", "a character that does not show", {"sign": sign})
        if isinstance(value, int) and not storable(value):
            raise PydanticCustomError("less_than_equal", "more than a table holds")
        return value


class Told(BaseModel):
    """A body as it is answered."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _uuid(text: str) -> str:
    if re.fullmatch("[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", text, re.IGNORECASE) is None:
        raise PydanticCustomError("uuid", "not a UUID")
    return text.lower()


Key = Annotated[
    str,
    AfterValidator(_uuid),
    Field(
        description="A UUID that the sender makes, a new one for every write. The same write sent again under its key "
        "is stored once and gets the same answer; other contents under a key that was used are rejected with 409.",
        json_schema_extra={"format": "uuid"},
        examples=["7c9e6679-7425-40de-944b-e07fc1f90ae7"],
    ),
]
Line = Annotated[str, Field(max_length=LONGEST)]
By = Annotated[str, Field(max_length=LONGEST, description="Initials of the person who did it.", examples=["KM"])]
Id = Annotated[int, Path(ge=1, le=LARGEST_ID)]
Slug = Literal["cold-preset", "first-fire", "heat-soaked-recheck", "part-throttle-bank-balance", "lock-down"]
MeterUnit = Literal["kg/h", "g/s", "cfm", "scfm", "L/min", "kPa", "mbar", "mmHg", "cmHg", "inHg"]


def _move_kinds(schema: dict[str, Any]) -> None:
    schema["enum"] = [kind.slug for kind in kinds()]


def _step_kinds(schema: dict[str, Any]) -> None:
    schema["enum"] = ["measure", *(kind.slug for kind in kinds()), "done", "cannot"]


MoveKind = Annotated[str, Field(json_schema_extra=_move_kinds)]
"""The slug of a kind of adjuster: those in the registry when the description is made."""

StepKind = Annotated[str, Field(json_schema_extra=_step_kinds)]
"""A kind of step: a move of a kind of adjuster, or none."""

BankName = Annotated[str, Field(description="`A` or `B`, as under the engine's layout.", examples=["A"])]
Turns = Annotated[
    float,
    Field(description="Turns of the screw; positive is in, which opens. Not 0.", allow_inf_nan=False, examples=[0.125]),
]
TurnsIn = Annotated[
    float,
    Field(
        description="Turns of the screw; positive is in, whichever way that opens. Not 0.",
        allow_inf_nan=False,
        examples=[-0.0625],
    ),
]
TurnsOut = Annotated[
    float,
    Field(
        description="Turns of the screw; positive is out, which lets more air past. Not 0.",
        allow_inf_nan=False,
        examples=[0.25],
    ),
]
TurnsOther = Annotated[
    float,
    Field(
        description="Turns of the screw; which way is positive depends on its kind. Not 0.",
        allow_inf_nan=False,
        examples=[0.25],
    ),
]
Flats = Annotated[
    float,
    Field(
        description="Sixths of a turn of the link rod; positive makes its bank open earlier. Not 0.",
        allow_inf_nan=False,
        examples=[-2],
    ),
]
Leaves = Annotated[
    list[float],
    Field(description="The one leaf, or the two stacked, in thousandths of an inch.", examples=[[4.5]]),
]


class Coupler(Sent):
    """The coupler between two neighboring bores; resetting it moves ``far`` and every bore beyond it."""

    near: int = Field(description="The bore nearer to the bank's stop screw.", examples=[2])
    far: int = Field(description="The bore whose plate is closed on the feeler.", examples=[3])


def example(**body: Any) -> ConfigDict:
    """The configuration of a body that shows one in the description."""
    return ConfigDict(json_schema_extra={"examples": [body]})


def trade(value: float, size: float) -> float:
    """A figure in base units in a trade's unit of that size, without the last digits that the division made up."""
    return float(f"{value / size:.9g}")


def meter_unit(meter: MeterEntry) -> MeterUnit:
    """The unit that a meter reads in: the store knows no others."""
    return cast(MeterUnit, meter.unit)


def shown(value: float, meter: MeterEntry) -> float:
    """A reading in base units [kg/s or Pa] in the unit of the meter."""
    return trade(value, UNITS[meter.unit])
