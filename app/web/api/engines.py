"""Engines: register one, find it, correct its facts, record what is fitted."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field

from app.shop.at_site import customer
from app.shop.commands import engines
from app.shop.commands.engines import EngineFacts
from app.shop.exchange.exports import engine_file, written
from app.shop.queries import search
from app.shop.record import loader
from app.shop.store.tables import Engine
from app.sync.engine.units import REV_PER_MIN
from app.web.api.answers.pages import PAGED, page_of, shown
from app.web.api.fittings import FittedSent, FittingTold
from app.web.api.problems import NOT_THERE, REFUSALS, named
from app.web.api.shapes import LARGEST_ID, Id, Key, Line, Sent, Told, example, trade
from app.web.context import Now, Shop
from app.web.forms import DISPLACEMENT_UNITS

router = APIRouter(prefix="/engines", tags=["engines"])

MOST_FOUND = 1000
"""The most engines that are found by words."""


FILE: dict[str, Any] = {
    "description": "The file. `/static/exchange/engine-6.schema.json` describes every field, with its unit.",
    "content": {
        "application/json": {
            "schema": {
                "type": "object",
                "properties": {"format": {"const": "evenbore-engine"}, "version": {"const": 6}},
                "required": [
                    *("format", "version", "exported_at", "engine", "meters", "settings", "fittings", "visits", "seals")
                ],
            }
        }
    },
}
"""The engine file as the description of the interface tells of it."""


class FactsSent(Sent):
    """What an engine is and whose it is."""

    serial: Line = Field(description="What is stamped on it. Case and spaces do not tell two engines apart.")
    description: Line = ""
    customer: Line = ""
    vehicle: Line = ""
    displacement: float = Field(description="Of the whole engine, 0.05 to 30 L, in `displacement_unit`.", gt=0)
    displacement_unit: Literal["L", "cu in"] = "L"
    idle_speed_rpm: float = Field(description="The idle speed wanted, 300 to 3000 rpm.", gt=0)

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


class EngineSent(FactsSent, FittedSent):
    """A new engine."""

    key: Key
    model_config = example(
        key="7c9e6679-7425-40de-944b-e07fc1f90ae7",
        serial="31-0217",
        description="Eight with raised intakes",
        customer="C-104",
        vehicle="Blue coupe",
        displacement=3.9,
        displacement_unit="L",
        idle_speed_rpm=850,
        layout={"banks": [{"bores": [1, 2, 3, 4]}, {"bores": [5, 6, 7, 8]}], "sensor": 8},
        hardware={"bore_diameter_mm": 46.5, "shaft_diameter_mm": 8.0},
    )


class FactsChanged(FactsSent):
    """Corrected facts of an engine, all of them."""

    version: int = Field(description="The `version` of the engine that was corrected, so that no correction is lost.")
    model_config = example(
        serial="31-0217",
        description="Eight with raised intakes",
        customer="C-104",
        vehicle="Red coupe",
        displacement=3.9,
        displacement_unit="L",
        idle_speed_rpm=850,
        version=1,
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
            "customer": customer(row),
            "vehicle": row.vehicle,
            "displacement": trade(row.displacement, DISPLACEMENT_UNITS[row.displacement_unit]),
            "displacement_unit": row.displacement_unit,
            "idle_speed_rpm": trade(row.idle_speed, REV_PER_MIN),
            "registered_at": row.registered_at,
        }


class VisitLine(Told):
    """A visit of an engine, in a line."""

    id: int
    number: int = Field(description="Counts the engine's visits from 1.")
    place: str
    job: str
    why: str
    opened_at: str = Field(description="ISO 8601, UTC.")
    signed_off: bool
    mistaken: bool = Field(description="Whether it was opened by mistake, and ended for that.")


class EngineShown(EngineTold):
    """An engine with what is fitted now and its visits, newest first."""

    fitting: FittingTold
    visits: list[VisitLine]


@router.get("", summary="Find engines", responses=PAGED)
def find_engines(
    shop: Shop,
    request: Request,
    answer: Response,
    words: Annotated[
        str,
        Query(
            max_length=200, description="Any parts of serial, description, customer, vehicle or job; all must occur."
        ),
    ] = "",
    most: Annotated[int, Query(ge=1, le=50, description="At most so many.")] = 50,
    before: Annotated[
        int | None, Query(ge=1, le=LARGEST_ID, description="Only those older than the engine of this id.")
    ] = None,
    skip: Annotated[int, Query(ge=0, le=MOST_FOUND, description="Without the first so many.")] = 0,
) -> list[EngineTold]:
    """The engines in which every word occurs, one letter of a word forgiven, a thousand at most; without words all of
    them, newest first. Told page by page: the header `X-Total-Count` says how many there are in all."""
    with shop.reading() as session:
        if words.strip():
            hits = search.find(session, words, MOST_FOUND)
            ids = [one for one in (*hits.exact, *hits.near) if before is None or one < before]
            rows = engines.among(session, page_of(request, answer, ids, most, skip))
        else:
            found = engines.newest(session, most, before, skip)
            rows = list(shown(request, answer, found, engines.count(session, before), most, skip))
        return [EngineTold(**EngineTold.facts_of(row)) for row in rows]


@router.post("", status_code=201, summary="Register an engine", responses=REFUSALS)
def register_engine(shop: Shop, body: EngineSent, now: Now, answer: Response) -> EngineShown:
    """Store a new engine with what is fitted to it."""
    facts = body.facts()
    layout, hardware = body.fitted(facts.displacement)
    with named(idle_speed="idle_speed_rpm"):
        engine_id = engines.register(shop, body.key, facts, layout, hardware, now)
    answer.headers["Location"] = f"/api/engines/{engine_id}"
    return _shown(shop, engine_id)


@router.get("/{engine_id}", summary="One engine", responses=NOT_THERE)
def show_engine(shop: Shop, engine_id: Id) -> EngineShown:
    """What it is, what is fitted, and its visits."""
    return _shown(shop, engine_id)


@router.get(
    "/{engine_id}/file",
    summary="The engine file",
    response_class=Response,
    responses={200: FILE, **NOT_THERE, 422: REFUSALS[422]},
)
def show_engine_file(shop: Shop, engine_id: Id, now: Now) -> Response:
    """The engine with its whole history, as another shop imports it. A simulated engine has none: 422."""
    with shop.reading() as session:
        file = engine_file(session, engine_id, now)
    return Response(written(file), media_type="application/json")


@router.put("/{engine_id}", summary="Correct an engine's facts", responses=REFUSALS)
def change_engine(shop: Shop, engine_id: Id, body: FactsChanged) -> EngineShown:
    """Store corrected facts. ``version`` does here what a key does elsewhere: the same correction sent again changes
    nothing and gets the same answer, and one that crossed another is refused with 409."""
    with named(idle_speed="idle_speed_rpm"):
        engines.change(shop, engine_id, body.version, body.facts())
    return _shown(shop, engine_id)


def _shown(shop: Shop, engine_id: int) -> EngineShown:
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        fitting = engines.fitting_now(session, engine_id)
        records = loader.of_engine(session, engine_id)
    lines = [
        VisitLine(
            id=record.visit.ident,
            number=record.visit.number,
            place=record.visit.place,
            job=record.visit.job,
            why=record.visit.why,
            opened_at=record.visit.opened_at,
            signed_off=record.sign_off is not None,
            mistaken=record.mistaken is not None,
        )
        for record in records
    ]
    return EngineShown(**EngineTold.facts_of(engine), fitting=FittingTold.of(fitting), visits=lines)
