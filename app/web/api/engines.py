"""Engines: register one, find it, correct its facts, record what is fitted."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import ConfigDict, Field

from app.shop import engines, visits
from app.shop.engines import EngineFacts
from app.shop.fittings import HARDWARE_FIELDS, hardware_from_json, hardware_known, layout_from_json
from app.shop.refusals import RefusedError
from app.shop.tables import Engine, Fitting
from app.sync.hardware import Figure, Hardware
from app.sync.layout import Bank, Layout, LayoutError
from app.sync.units import REV_PER_MIN
from app.web.api.problems import NOT_THERE, REFUSALS, named
from app.web.api.shapes import Id, Key, Sent, Told, trade
from app.web.context import Now, Shop
from app.web.forms import DISPLACEMENT_UNITS

router = APIRouter(prefix="/engines", tags=["engines"])

Line = Annotated[str, Field(max_length=engines.LONGEST)]
Bore = Annotated[int, Field(ge=1, le=999)]

JSON_NAMES = {name: f"{name}_{'deg' if unit == 'degrees' else unit}" for name, (_, unit, *_) in HARDWARE_FIELDS.items()}
"""The names of the hardware figures, with their units."""


class BankSent(Sent):
    """One line of bores that share a stop screw. The first bank is called A, the second B."""

    bores: list[Bore] = Field(max_length=12, description="Cylinder numbers, front of the engine first.")
    stop: Bore | None = Field(
        default=None, description="The bore at which the stop screw acts; the first when left out."
    )
    drive: Bore | None = Field(
        default=None, description="The bore at which the link acts; the stop bore when left out."
    )


class LayoutSent(Sent):
    """Where the bores sit, and which adjusters hang them together: 1 to 12 bores in one bank or two."""

    banks: list[BankSent] = Field(min_length=1, max_length=2)
    sensor: Bore | None = Field(default=None, description="The bore whose shaft carries the throttle sensor.")
    springless: list[Bore] = Field(default=[], max_length=12, description="Bores without a return spring of their own.")


class HardwareSent(Sent):
    """Figures measured on this engine. What is left out is estimated from the engine's size."""

    bore_diameter_mm: float | None = None
    shaft_diameter_mm: float | None = None
    closed_angle_deg: float | None = Field(default=None, description="Angle of a closed plate to the bore's section.")
    stop_pitch_mm: float | None = Field(default=None, description="Travel of a stop screw in one turn.")
    stop_lever_mm: float | None = Field(default=None, description="Arm on which the stop screw acts.")
    link_pitch_mm: float | None = Field(default=None, description="Change of a link's length in one turn.")
    link_lever_mm: float | None = Field(default=None, description="Arm on which the link acts.")


class FactsSent(Sent):
    """What an engine is and whose it is."""

    serial: Line = Field(description="What is stamped on it. Case and spaces do not tell two engines apart.")
    description: Line = ""
    customer: Line = ""
    vehicle: Line = ""
    displacement: float = Field(description="Of the whole engine, 0.05 to 30 L, in `displacement_unit`.", gt=0)
    displacement_unit: Literal["L", "cu in"] = "L"
    idle_speed_rpm: float = Field(description="The idle speed wanted, 300 to 3000 rev/min.", gt=0)

    def facts(self) -> EngineFacts:
        """As the store keeps them, in base units."""
        return EngineFacts(
            self.serial,
            self.description,
            self.displacement * DISPLACEMENT_UNITS[self.displacement_unit],
            self.displacement_unit,
            self.customer,
            self.vehicle,
            self.idle_speed_rpm * REV_PER_MIN,
        )


class FittedSent(Sent):
    """What is fitted."""

    layout: LayoutSent
    hardware: HardwareSent = HardwareSent()

    def fitted(self, displacement: float) -> tuple[Layout, Hardware]:
        """Layout and hardware of an engine of that size [m3]. Raises RefusedError by field of the body."""
        layout = _layout(self.layout)
        given = self.hardware.model_dump(exclude_none=True)
        measured = {name: given[called] for name, called in JSON_NAMES.items() if called in given}
        with named(**{name: f"hardware/{called}" for name, called in JSON_NAMES.items()}):
            return layout, hardware_known(measured, displacement, len(layout.bores))


class EngineSent(FactsSent, FittedSent):
    """A new engine."""

    key: Key
    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "key": "7c9e6679-7425-40de-944b-e07fc1f90ae7",
                    "serial": "31-0217",
                    "description": "Eight with raised intakes",
                    "customer": "C-104",
                    "vehicle": "Blue coupe",
                    "displacement": 3.9,
                    "displacement_unit": "L",
                    "idle_speed_rpm": 850,
                    "layout": {"banks": [{"bores": [1, 2, 3, 4]}, {"bores": [5, 6, 7, 8]}], "sensor": 8},
                    "hardware": {"bore_diameter_mm": 46.5, "shaft_diameter_mm": 8.0},
                }
            ]
        }
    )


class FactsChanged(FactsSent):
    """Corrected facts of an engine, all of them."""

    version: int = Field(description="The `version` of the engine that was corrected, so that no correction is lost.")


class FittingSent(FittedSent):
    """Other hardware, or hardware that is known better, from now on."""

    key: Key
    why: Annotated[str, Field(max_length=engines.LONGEST)] = Field(description="What changed or was measured.")


class BankTold(Told):
    """One line of bores that share a stop screw."""

    name: str
    bores: list[int] = Field(description="Cylinder numbers, front of the engine first.")
    stop: int = Field(description="The bore at which the stop screw acts.")
    drive: int = Field(description="The bore at which the link acts.")


class LayoutTold(Told):
    """Where the bores sit."""

    banks: list[BankTold]
    sensor: int | None
    springless: list[int]


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
    number: int
    why: str
    at: str = Field(description="ISO 8601, UTC.")
    layout: LayoutTold
    hardware: HardwareTold

    @staticmethod
    def of(row: Fitting) -> "FittingTold":
        """From its row."""
        layout, hardware = layout_from_json(row.layout), hardware_from_json(row.hardware)
        return FittingTold(
            id=row.ident,
            number=row.number,
            why=row.why,
            at=row.at,
            layout=LayoutTold(
                banks=[BankTold(name=b.name, bores=list(b.bores), stop=b.stop, drive=b.drive) for b in layout.banks],
                sensor=layout.sensor,
                springless=sorted(layout.springless),
            ),
            hardware=_hardware_told(hardware),
        )


class EngineTold(Told):
    """An engine, without what is fitted."""

    id: int
    version: int = Field(description="Counts the corrections; send it along with the next one.")
    serial: str
    description: str
    customer: str
    vehicle: str
    displacement: float = Field(description="In `displacement_unit`.")
    displacement_unit: Literal["L", "cu in"]
    idle_speed_rpm: float
    registered_at: str = Field(description="ISO 8601, UTC.")

    @staticmethod
    def facts_of(row: Engine) -> dict[str, Any]:
        """The fields, from the row."""
        return {
            "id": row.ident,
            "version": row.version,
            "serial": row.serial,
            "description": row.description,
            "customer": row.customer,
            "vehicle": row.vehicle,
            "displacement": trade(row.displacement, DISPLACEMENT_UNITS[row.displacement_unit]),
            "displacement_unit": row.displacement_unit,
            "idle_speed_rpm": trade(row.idle_speed, REV_PER_MIN),
            "registered_at": row.registered_at,
        }


class VisitLine(Told):
    """A visit of an engine, in a line."""

    id: int
    number: int
    place: str
    job: str
    why: str
    opened_at: str = Field(description="ISO 8601, UTC.")
    signed_off: bool


class EngineShown(EngineTold):
    """An engine with what is fitted now and its visits, newest first."""

    fitting: FittingTold
    visits: list[VisitLine]


@router.get("", summary="Find engines")
def find_engines(
    shop: Shop,
    words: Annotated[
        str,
        Query(
            max_length=200, description="Any parts of serial, description, customer, vehicle or job; all must occur."
        ),
    ] = "",
    most: Annotated[int, Query(ge=1, le=50, description="At most so many.")] = 50,
) -> list[EngineTold]:
    """The engines in which every word occurs, or all of them, newest first, when no word is given."""
    with shop.reading() as session:
        return [EngineTold(**EngineTold.facts_of(row)) for row in engines.find(session, words, most)]


@router.post("", status_code=201, summary="Register an engine", responses=REFUSALS)
def register_engine(shop: Shop, body: EngineSent, now: Now) -> EngineShown:
    """Store a new engine with what is fitted to it."""
    facts = body.facts()
    layout, hardware = body.fitted(facts.displacement)
    with named(idle_speed="idle_speed_rpm"):
        engine_id = engines.register(shop, body.key, facts, layout, hardware, now)
    return _shown(shop, engine_id)


@router.get("/{engine_id}", summary="One engine", responses=NOT_THERE)
def show_engine(shop: Shop, engine_id: Id) -> EngineShown:
    """What it is, what is fitted, and its visits."""
    return _shown(shop, engine_id)


@router.put("/{engine_id}", summary="Correct an engine's facts", responses=REFUSALS)
def change_engine(shop: Shop, engine_id: Id, body: FactsChanged) -> EngineShown:
    """Store corrected facts. ``version`` does here what a key does elsewhere: the same correction sent again changes
    nothing and is answered alike, and one that crossed another is refused with 409."""
    with named(idle_speed="idle_speed_rpm"):
        engines.change(shop, engine_id, body.version, body.facts())
    return _shown(shop, engine_id)


@router.post("/{engine_id}/fittings", status_code=201, summary="Record what is fitted", responses=REFUSALS)
def fit_engine(shop: Shop, engine_id: Id, body: FittingSent, now: Now) -> FittingTold:
    """Record other hardware, or hardware that is known better. Refused while a visit is open."""
    with shop.reading() as session:
        displacement = engines.get(session, engine_id).displacement
    layout, hardware = body.fitted(displacement)
    fitting_id = engines.fit(shop, engine_id, body.key, layout, hardware, body.why, now)
    with shop.reading() as session:
        return FittingTold.of(session.get_one(Fitting, fitting_id))


def _shown(shop: Shop, engine_id: int) -> EngineShown:
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        fitting = engines.fitting_now(session, engine_id)
        stories = visits.of_engine(session, engine_id)
    lines = [
        VisitLine(
            id=story.visit.ident,
            number=story.visit.number,
            place=story.visit.place,
            job=story.visit.job,
            why=story.visit.why,
            opened_at=story.visit.opened_at,
            signed_off=story.sign_off is not None,
        )
        for story in stories
    ]
    return EngineShown(**EngineTold.facts_of(engine), fitting=FittingTold.of(fitting), visits=lines)


def _layout(sent: LayoutSent) -> Layout:
    for number, bank in enumerate(sent.banks):
        if not bank.bores:
            raise RefusedError({f"layout/banks/{number}/bores": "A bank has at least one bore."})
    banks = [
        Bank(name, tuple(b.bores), b.stop or b.bores[0], b.drive or b.stop or b.bores[0])
        for name, b in zip("AB", sent.banks, strict=False)
    ]
    try:
        return Layout(tuple(banks), sent.sensor, frozenset(sent.springless))
    except LayoutError as error:
        field = error.field if error.field in ("sensor", "springless") else "banks"
        raise RefusedError({f"layout/{field}": str(error)}) from None


def _hardware_told(hardware: Hardware) -> HardwareTold:
    told = {}
    for name, (_, _, size, _, _) in HARDWARE_FIELDS.items():
        figure: Figure = getattr(hardware, name)
        told[JSON_NAMES[name]] = FigureTold(value=trade(figure.value, size), measured=figure.measured)
    return HardwareTold(**told)
