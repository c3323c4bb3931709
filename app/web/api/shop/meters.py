"""What a visit works with: the shop's meters with their studies, and its feelers."""

from typing import Annotated, Literal

from fastapi import APIRouter, Response
from pydantic import Field

from app.shop.commands import meters
from app.shop.commands.meters import NewMeter
from app.shop.record import meter_studies, stored_settings
from app.shop.record.entries import ABSOLUTE, MeterEntry, Repeats
from app.shop.record.meter_studies import StudyRecord
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from app.web.api.problems import NOT_THERE, REFUSALS, named
from app.web.api.shapes import LARGEST_ID, By, Id, Key, Line, MeterUnit, Sent, Told, example, trade
from app.web.context import Now, Shop

router = APIRouter(tags=["shop"])


class MeterTold(Told):
    """An instrument of the shop. Every reading taken with it is in ``unit``."""

    id: int
    name: str
    quantity: Literal["flow", "vacuum"] = Field(
        description="Of vacuum more is less open, unless `reference` is `absolute`."
    )
    reference: Literal["gauge", "absolute"] | None = Field(
        description="What a pressure meter counts from: `gauge` from the day's air, `absolute` from nothing, so that "
        "more is more open. Null for a flow meter."
    )
    unit: MeterUnit
    step: float = Field(description="The smallest step it shows, in `unit`.")
    low: float = Field(description="The least it shows, in `unit`.")
    high: float = Field(description="The most it shows, in `unit`.")
    repeatability_percent: float = Field(
        description="Standard deviation of reading the same bore again, in per cent of the reading."
    )
    repeatability_limit_percent: float = Field(
        description="What that is below in 95 cases of 100, by the meter's studies. Every verdict counts with it."
    )
    site_id: int | None = Field(
        description="The site it belongs to, of `GET /api/sites`; null for all of them.", examples=[2]
    )

    @staticmethod
    def of(row: MeterEntry, repeats: Repeats) -> "MeterTold":
        """From its row."""
        return MeterTold.model_validate(
            {
                "id": row.ident,
                "name": row.name,
                "quantity": row.quantity,
                "reference": None if row.quantity == "flow" else ABSOLUTE if row.absolute else "gauge",
                "unit": row.unit,
                "step": row.step,
                "low": row.low,
                "high": row.high,
                "repeatability_percent": trade(repeats.seen, 0.01),
                "repeatability_limit_percent": trade(repeats.judged, 0.01),
                "site_id": row.site_id,
            }
        )


class MeterSent(Sent):
    """A new instrument of the shop."""

    key: Key
    name: Line = Field(description="What tells it from the others.", examples=["Flow meter 2"])
    unit: MeterUnit
    reference: Literal["gauge", "absolute"] = Field(
        default="gauge", description="What a pressure meter counts from; says nothing of a flow meter."
    )
    step: float = Field(description="The smallest step it shows, in `unit`.", examples=[0.1])
    low: float = Field(description="The least it shows, in `unit`.", examples=[1])
    high: float = Field(description="The most it shows, in `unit`.", examples=[30])
    model_config = example(
        key="2f0b7c1e-90d4-4d3a-8c11-7b5a0e9d2c08", name="Flow meter 2", unit="kg/h", step=0.1, low=1, high=30
    )


class DueSent(Sent):
    """The day on which a meter is to be checked next."""

    key: Key
    due: str = Field(max_length=10, description="A day, ISO 8601.", examples=["2027-05-01"])
    why: Line = Field(default="", description="What the day goes by.", examples=["Certificate of 2026"])
    by: By


class DueTold(Told):
    """The day on which a meter is to be checked next."""

    due: str = Field(description="A day, ISO 8601.", examples=["2027-05-01"])
    why: str = Field(description="What the day goes by.")
    by: str = Field(description="Initials of the person who said so.", examples=["KM"])
    at: str = Field(description="When it was said: ISO 8601, UTC.")


class StudySent(Sent):
    """Word that a study of a meter begins: of what it repeats, or with another meter beside it."""

    key: Key
    other_id: Annotated[int, Field(ge=1, le=LARGEST_ID)] | None = Field(
        default=None, description="The meter to compare it with, in the same unit. Null for a study of what it repeats."
    )
    where: Line = Field(default="", description="The engine and the bore that is read.", examples=["31-0217, bore 2"])
    second_where: Line = Field(default="", description="Where its second half is read, if elsewhere.")
    second_by: Line = Field(default="", description="Who reads its second half, if another person.", examples=["RS"])
    by: By
    model_config = example(key="6d1a3b52-08e4-4f77-9d60-3c2e1f4a5b09", where="31-0217, bore 2", second_by="RS", by="KM")


class StudyValueSent(Sent):
    """The next value of a study."""

    key: Key
    value: float = Field(description="As the meter shows it, in its unit.", allow_inf_nan=False, examples=[6.4])
    supersedes: Annotated[int, Field(ge=1, le=LARGEST_ID)] | None = Field(
        default=None, description="The reading of the study that was mistyped. Null for the next one."
    )
    by: By = ""
    model_config = example(key="a9c4e7d0-1b2f-4c36-8e5d-0f1a2b3c4d10", value=6.4, by="KM")


class StudyReadingTold(Told):
    """A value of a study that counts."""

    id: int = Field(description="Named when it is corrected.")
    meter_id: int = Field(description="The meter that showed it.")
    place: int = Field(description="Which reading, or which bore of a comparison; counted from 1.")
    value: float = Field(description="In the unit of that meter.")
    by: str = Field(description="Initials of the person who read it.", examples=["KM"])
    at: str = Field(description="ISO 8601, UTC.")


class StudyTold(Told):
    """A study as far as it was read."""

    id: int
    meter_id: int = Field(description="The meter that is studied.")
    other_id: int | None = Field(description="The meter it is compared with; null for a study of what it repeats.")
    where: str = Field(description="Where the next reading is taken.")
    by: str = Field(description="Who takes the next reading.", examples=["KM"])
    at: str = Field(description="When it was begun: ISO 8601, UTC.")
    readings: list[StudyReadingTold]
    wanted: int = Field(description="How many readings make it complete.")
    finished: bool
    next_meter_id: int | None = Field(description="The meter to read with next; null once it is complete.")
    next_place: int | None = Field(description="Which reading, or which bore, comes next; null once it is complete.")

    @staticmethod
    def of(study: StudyRecord) -> "StudyTold":
        """From its rows."""
        told = ("meter_id", "place", "value", "by", "at")
        return StudyTold(
            id=study.row.ident,
            meter_id=study.row.meter_id,
            other_id=study.row.other_id,
            where=study.next_where,
            by=study.next_by,
            at=study.row.at,
            readings=[
                StudyReadingTold(id=row.ident, **{name: getattr(row, name) for name in told}) for row in study.readings
            ],
            wanted=study.wanted,
            finished=study.finished,
            next_meter_id=None if study.finished else study.next_meter.ident,
            next_place=None if study.finished else study.next_place,
        )


class MeterShown(MeterTold):
    """An instrument with its studies, the oldest first, and the day of its next check."""

    studies: list[StudyTold]
    due: DueTold | None = Field(description="Null where no day was said.")


class BladesTold(Told):
    """The feelers of the shop."""

    leaves_thou: list[float] = Field(description="Single leaves, in thousandths of an inch; two may be stacked.")
    base_thou: float = Field(description="The one held under each stop screw before the starting turns are given.")
    openings_thou: list[float] = Field(description="Those laid under the central lever to balance the banks.")


@router.get("/meters", summary="The shop's meters")
def show_meters(shop: Shop) -> list[MeterTold]:
    """One of them is named when a visit is opened."""
    with shop.reading() as session:
        return [MeterTold.of(one.row, one.repeats) for one in meter_studies.all_of(session)]


@router.post("/meters", status_code=201, summary="Register a meter", responses=REFUSALS)
def register_meter(shop: Shop, body: MeterSent, answer: Response) -> MeterShown:
    """Store a new instrument. What it repeats is an estimate until a study of it is complete."""
    new = NewMeter(body.name, body.unit, body.step, body.low, body.high, body.reference)
    meter_id = meters.register(shop, body.key, new)
    answer.headers["Location"] = f"/api/meters/{meter_id}"
    return _meter(shop, meter_id)


@router.get("/meters/{meter_id}", summary="One meter", responses=NOT_THERE)
def show_meter(shop: Shop, meter_id: Id) -> MeterShown:
    """What it reads, its studies, and when it is to be checked next."""
    return _meter(shop, meter_id)


@router.post("/meters/{meter_id}/due", status_code=201, summary="Say when a meter is checked next", responses=REFUSALS)
def set_meter_due(shop: Shop, meter_id: Id, body: DueSent, now: Now) -> MeterShown:
    """The day that was said last counts."""
    with named(due_why="why", due_by="by"):
        meters.set_due(shop, meter_id, body.key, body.due, body.why, body.by, now)
    return _meter(shop, meter_id)


@router.post("/meters/{meter_id}/studies", status_code=201, summary="Begin a study of a meter", responses=REFUSALS)
def begin_study(shop: Shop, meter_id: Id, body: StudySent, now: Now, answer: Response) -> StudyTold:
    """A study of what it repeats reads one bore again and again; a comparison reads each bore with both meters."""
    with named(study_by="by", other="other_id"):
        second = (body.second_where, body.second_by)
        study_id = meters.begin_study(shop, meter_id, body.key, body.other_id, body.where, body.by, now, second)
    answer.headers["Location"] = f"/api/studies/{study_id}"
    return _study(shop, study_id)


@router.get("/studies/{study_id}", summary="A study of a meter", responses=NOT_THERE)
def show_study(shop: Shop, study_id: Id) -> StudyTold:
    """Its values that count, and what is read next."""
    return _study(shop, study_id)


@router.post("/studies/{study_id}/readings", status_code=201, summary="Add a value to a study", responses=REFUSALS)
def add_study_reading(shop: Shop, study_id: Id, body: StudyValueSent, now: Now) -> StudyTold:
    """The value that comes next, or one in the place of a mistyped one."""
    meters.read(shop, study_id, body.key, body.value, body.by, now, body.supersedes)
    return _study(shop, study_id)


def _meter(shop: Database, meter_id: int) -> MeterShown:
    with shop.reading() as session:
        meter = meter_studies.known(session, meter_id)
    due = meter.due
    return MeterShown(
        **MeterTold.of(meter.row, meter.repeats).model_dump(),
        studies=[StudyTold.of(one) for one in meter.studies],
        due=DueTold(due=due.due, why=due.why, by=due.by, at=due.at) if due else None,
    )


def _study(shop: Database, study_id: int) -> StudyTold:
    with shop.reading() as session:
        return StudyTold.of(meter_studies.study_of(session, study_id))


@router.get("/blades", summary="The shop's feelers")
def blades(shop: Shop) -> BladesTold:
    """The leaves that advice is given in."""
    with shop.reading() as session:
        _, settings = stored_settings.now(session)
    return BladesTold(
        leaves_thou=[trade(leaf, THOU) for leaf in settings.blades],
        base_thou=trade(settings.base_blade, THOU),
        openings_thou=[trade(opening, THOU) for opening in settings.openings],
    )
