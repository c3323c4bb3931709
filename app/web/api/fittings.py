"""What is fitted to an engine: its layout and its hardware figures, and recording that they changed."""

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter
from pydantic import Field

from app.shop.commands import engines
from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.shop.record.entries import FittingEntry
from app.shop.record.fittings import (
    HARDWARE_FIELDS,
    extra_by_kind,
    extra_of,
    hardware_from_json,
    hardware_known,
    layout_from_json,
)
from app.shop.rejections import Rejection
from app.shop.store.tables import Fitting
from app.sync.engine.hardware import Figure, Hardware
from app.sync.engine.layout import Actuation, Bank, Cooling, JointKind, Layout, LayoutError
from app.web.api.problems import REFUSALS, named, pointing
from app.web.api.shapes import Id, Key, Line, Sent, Told, example, trade
from app.web.context import Now, Shop
from app.wording.stored import as_stored, code_of

router = APIRouter(prefix="/engines/{engine_id}/fittings", tags=["engines"])

Bore = Annotated[int, Field(ge=1, le=999)]

JSON_NAMES = {name: f"{name}_{'deg' if unit == 'degrees' else unit}" for name, (unit, *_) in HARDWARE_FIELDS.items()}
"""The names of the hardware figures, with their units."""


JOINTS = (
    "How each bore is joined to the next one, front first, one fewer than bores: `blade` a coupler reset on a feeler, "
    "`screw` a coupler that a screw of its own sets, `screw-in` or `screw-out` where it is known which way, turned, it "
    "opens what lies beyond it seen from the stop bore, `shaft` no coupler: the plates sit on one shaft."
)

SHAFTS = (
    "Bores whose plates sit on one shaft, front first, a list for each shaft with two plates or more: the same as "
    "`shaft` in `joints` between each of them and the next one."
)
COOLING = "What cools the engine. With `air`, cylinder head temperature is asked for in the place of coolant."
ACTUATION = (
    "What opens the plates: a cable or `linkage`, or electronic throttles, `motor-per-bank` or `motor-per-bore`. With "
    "the last no plate is joined to another: leave out `joints` and `shafts`."
)

EXTRA = "Bores with a screw of a further kind, by the kind."


class BankSent(Sent):
    """One line of bores that share a stop screw. The first bank is called A, the second B."""

    bores: list[Bore] = Field(max_length=12, description="Cylinder numbers, front of the engine first.")
    stop: Bore | None = Field(
        default=None, description="The bore at which the stop screw acts; the first when left out."
    )
    drive: Bore | None = Field(
        default=None, description="The bore at which the link rod acts; the stop bore when left out."
    )
    joints: list[JointKind] = Field(default=[], max_length=11, description=JOINTS + " All `blade` when left out.")


class LayoutSent(Sent):
    """Where the bores sit, and which adjusters hang them together: 1 to 12 bores in one bank or two."""

    banks: list[BankSent] = Field(min_length=1, max_length=2)
    sensor: Bore | None = Field(default=None, description="The bore whose shaft carries the throttle sensor.")
    springless: list[Bore] = Field(default=[], max_length=12, description="Bores without a return spring of their own.")
    bypass: list[Bore] = Field(default=[], max_length=12, description="Bores with a bypass screw.")
    plenum: bool = Field(default=False, description="Whether a common balance plenum joins the runners.")
    extra: dict[str, list[Bore]] = Field(default={}, description=EXTRA)
    shafts: list[Annotated[list[Bore], Field(min_length=2, max_length=12)]] = Field(
        default=[], max_length=6, description=SHAFTS
    )
    cooling: Cooling = Field(default="liquid", description=COOLING)
    actuation: Actuation = Field(default="linkage", description=ACTUATION)


class HardwareSent(Sent):
    """Figures measured on this engine. What is left out is estimated from the engine's size."""

    bore_diameter_mm: float | None = None
    shaft_diameter_mm: float | None = None
    closed_angle_deg: float | None = Field(default=None, description="Angle of a closed plate to the bore's section.")
    stop_pitch_mm: float | None = Field(default=None, description="Travel of a stop screw in one turn.")
    stop_lever_mm: float | None = Field(default=None, description="Arm on which the stop screw acts.")
    link_pitch_mm: float | None = Field(default=None, description="Change of a link rod's length in one turn.")
    link_lever_mm: float | None = Field(default=None, description="Arm on which the link rod acts.")


class FittedSent(Sent):
    """What is fitted."""

    layout: LayoutSent
    hardware: HardwareSent = HardwareSent()

    def fitted(self, displacement: float) -> tuple[Layout, Hardware]:
        """Layout and hardware of an engine of that size [m3]. Raises RejectedError by field of the body."""
        layout = _layout(self.layout)
        given = self.hardware.model_dump(exclude_none=True)
        measured = {name: given[called] for name, called in JSON_NAMES.items() if called in given}
        with named(**{name: f"hardware/{called}" for name, called in JSON_NAMES.items()}):
            return layout, hardware_known(measured, displacement, len(layout.bores))


class FittingSent(FittedSent):
    """Other hardware, or hardware that is known better, from now on."""

    key: Key
    why: Line = Field(description="What changed or was measured.")
    model_config = example(
        key="7c9e6679-7425-40de-944b-e07fc1f90ae7",
        why="Bores measured",
        layout={"banks": [{"bores": [1, 2, 3, 4]}, {"bores": [5, 6, 7, 8]}], "sensor": 8},
        hardware={"bore_diameter_mm": 46.5, "shaft_diameter_mm": 8.0},
    )


class BankTold(Told):
    """One line of bores that share a stop screw."""

    name: str
    bores: list[int] = Field(description="Cylinder numbers, front of the engine first.")
    stop: int = Field(description="The bore at which the stop screw acts.")
    drive: int = Field(description="The bore at which the link rod acts.")
    joints: list[JointKind] = Field(description=JOINTS + " Empty with a motor a bore: no plate is joined to another.")


class LayoutTold(Told):
    """Where the bores sit."""

    banks: list[BankTold]
    sensor: int | None
    springless: list[int]
    bypass: list[int]
    plenum: bool
    extra: dict[str, list[int]] = Field(description=EXTRA)
    shafts: list[list[int]] = Field(description=SHAFTS)
    cooling: Cooling = Field(description=COOLING)
    actuation: Actuation = Field(description=ACTUATION)

    @staticmethod
    def of(layout: Layout) -> "LayoutTold":
        """From what was worked out."""
        return LayoutTold(
            banks=[
                BankTold(name=b.name, bores=list(b.bores), stop=b.stop, drive=b.drive, joints=_joints(b))
                for b in layout.banks
            ],
            sensor=layout.sensor,
            springless=sorted(layout.springless),
            bypass=sorted(layout.bypass),
            plenum=layout.plenum,
            extra=extra_by_kind(layout),
            shafts=[list(row) for row in layout.shared_shafts],
            cooling=layout.cooling,
            actuation=layout.actuation,
        )


class FigureTold(Told):
    """A hardware figure in the unit that its name ends with."""

    value: float
    measured: bool = Field(description="False for our estimate from the engine's size.")


class HardwareTold(Told):
    """The hardware figures."""

    bore_diameter_mm: FigureTold
    shaft_diameter_mm: FigureTold
    closed_angle_deg: FigureTold
    stop_pitch_mm: FigureTold
    stop_lever_mm: FigureTold
    link_pitch_mm: FigureTold
    link_lever_mm: FigureTold


class FittingTold(Told):
    """What is fitted from ``at`` on; each change is one more, numbered."""

    id: int
    number: int = Field(description="Counts what was fitted from 1.")
    why: str
    why_code: str | None = Field(description="The same as a code; null for words as typed.")
    at: str = Field(description="ISO 8601, UTC.")
    layout: LayoutTold
    hardware: HardwareTold

    @staticmethod
    def of(row: Fitting | FittingEntry) -> "FittingTold":
        """From its row."""
        layout, hardware = layout_from_json(row.layout), hardware_from_json(row.hardware)
        return FittingTold(
            id=row.ident,
            number=row.number,
            why=as_stored(row.why, "fitting.why"),
            why_code=code_of(row.why),
            at=row.at,
            layout=LayoutTold.of(layout),
            hardware=_hardware_told(hardware),
        )


@router.post("", status_code=201, summary="Record what is fitted", responses=REFUSALS)
def fit_engine(shop: Shop, engine_id: Id, body: FittingSent, now: Now) -> FittingTold:
    """Record other hardware, or hardware that is known better. Refused while a visit is open."""
    with shop.reading() as session:
        displacement = engines.get(session, engine_id).displacement
    layout, hardware = body.fitted(displacement)
    with pointing({Rejection.VISIT_OPEN: ""}):
        fitting_id = engines.fit(shop, engine_id, body.key, layout, hardware, body.why, now)
    with shop.reading() as session:
        return FittingTold.of(session.get_one(Fitting, fitting_id))


def _layout(sent: LayoutSent) -> Layout:
    for number, bank in enumerate(sent.banks):
        if not bank.bores:
            raise RejectedError({f"layout/banks/{number}/bores": because(Rejection.BORES_MISSING)})
    banks = [
        Bank(name, tuple(b.bores), b.stop or b.bores[0], b.drive or b.stop or b.bores[0], tuple(b.joints))
        for name, b in zip("AB", sent.banks, strict=False)
    ]
    for row in sent.shafts:
        banks = _on_one_shaft(banks, row)
    try:
        extra = extra_of(sent.extra)
        bypass, springless = frozenset(sent.bypass), frozenset(sent.springless)
        return Layout(tuple(banks), sent.sensor, springless, bypass, sent.plenum, extra, sent.cooling, sent.actuation)
    except LayoutError as error:
        field = error.field if error.field in ("sensor", "springless", "bypass", "extra", "actuation") else "banks"
        raise RejectedError({f"layout/{field}": because(error.code, **error.values)}) from None


def _hardware_told(hardware: Hardware) -> HardwareTold:
    told = {}
    for name, (_, size, _, _) in HARDWARE_FIELDS.items():
        figure: Figure = getattr(hardware, name)
        told[JSON_NAMES[name]] = FigureTold(value=trade(figure.value, size), measured=figure.measured)
    return HardwareTold(**told)


def _on_one_shaft(banks: list[Bank], row: list[int]) -> list[Bank]:
    """The banks with the bores of ``row`` on one shaft. Raises RejectedError where they are no neighbors in a row."""
    for at, bank in enumerate(banks):
        first = bank.bores.index(row[0]) if row[0] in bank.bores else len(bank.bores)
        if bank.bores[first : first + len(row)] == tuple(row) and len(bank.kinds) == len(bank.bores) - 1:
            kinds = list(bank.kinds)
            kinds[first : first + len(row) - 1] = ["shaft"] * (len(row) - 1)
            return [*banks[:at], replace(bank, joints=tuple(kinds)), *banks[at + 1 :]]
    raise RejectedError({"layout/shafts": because(Rejection.NOT_NEIGHBORS, first=row[0], second=row[1])})


def _joints(bank: Bank) -> list[JointKind]:
    return [kind for kind in bank.kinds if kind != "motors"]
