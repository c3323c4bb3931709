"""Readings: add one, correct one, skip a bore, say which of two counts; all bores at once."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Literal

from fastapi import APIRouter
from pydantic import Field

from app.shop.commands import engines, readings
from app.shop.commands.readings import NewLook, NewReading
from app.shop.errors import RejectedError
from app.shop.procedure import opening_speed
from app.shop.procedure.codes import SkipReason
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.entries import MeterReading
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.layout import LayoutFault
from app.sync.engine.units import REV_PER_MIN
from app.web.api.problems import REFUSALS, WAITS, named, pointing
from app.web.api.shapes import By, Id, Key, MeterUnit, Sent, Slug, Told, example, trade
from app.web.context import Now, Shop
from app.wording.stored import as_stored, code_of

router = APIRouter(prefix="/visits/{visit_id}", tags=["readings"])

IN_THE_ADDRESS = {**WAITS, Rejection.ANOTHER_ROUND: "", Rejection.ADJUSTED_SINCE: "", Rejection.ROUND_RAN_OUT: ""}
"""The same of a round that the address names."""

POINTERS: Mapping[StrEnum, str] = {
    **WAITS,
    Rejection.NO_SUCH_BORE: "bore",
    Rejection.NOT_ONE_OF: "kind",
    Rejection.REASON_MISSING: "why",
    **dict.fromkeys((Rejection.ANOTHER_ROUND, Rejection.ADJUSTED_SINCE, Rejection.ROUND_RAN_OUT), "round"),
    Rejection.ROUND_COMPLETE: "round",
    Rejection.APPROACH_DIFFERS: "from_above",
    **dict.fromkeys((Rejection.CHANGED_BY_ANOTHER_TABLET, Rejection.CORRECTED_VALUE_UNKNOWN), "supersedes"),
}
"""The field of a reading that each rejection is about."""

BoreNumber = Annotated[int, Field(ge=1, le=999, description="The bore, by its cylinder number.", examples=[3])]
RoundNumber = Annotated[
    int, Field(ge=1, le=999_999, description="The round, as the advice names it; its first reading begins it.")
]
Supersedes = Annotated[
    int | None,
    Field(
        description="The reading that was mistyped, when this one corrects it: in any round of the phase, whatever was "
        "moved since."
    ),
]

FromAbove = Annotated[
    bool | None,
    Field(
        description="Whether the lever was opened further first and brought back onto the feeler. The first reading "
        "of a round begins it that way, and the others have to agree; null goes with the round."
    ),
]

SpeedBeside = Annotated[
    float | None,
    Field(
        ge=opening_speed.SLOWEST,
        le=opening_speed.FASTEST,
        allow_inf_nan=False,
        description="Engine speed at that moment, by a tachometer that the program reads: what bores show at an idle "
        "that strays is compared at one speed. Null where none was read.",
        examples=[862],
    ),
]


class ValueSent(Sent):
    """One value as the meter showed it, in the unit of the visit's meter."""

    key: Key
    kind: Literal["turn", "closing", "again"] = Field(
        description="`turn`: the bore's turn in the round. `closing`: the drift check, which ends the round: "
        "the first bore again, or one that the round leaves out. "
        "`again`: a further reading of a bore that was read. A correction repeats the kind of what it corrects."
    )
    round: RoundNumber
    bore: BoreNumber
    value: float = Field(description="In the unit of the visit's meter.", allow_inf_nan=False, examples=[6.25])
    by: By
    sure: bool = Field(
        default=False,
        description="Whether a value far from what the bore read last, or from the other "
        "bores', was looked at again: it is then stored, where it would be rejected as `far-off`.",
    )
    supersedes: Supersedes = None
    from_above: FromAbove = None
    sd: float | None = Field(
        default=None,
        ge=readings.LEAST_SD,
        le=readings.MOST_SD,
        allow_inf_nan=False,
        description="Standard error of the value as a fraction of it. Null for the meter's own.",
    )
    fixed: bool = Field(
        default=False,
        description="Whether a sensor that stays at its bore read it. Such values prove nothing beside one probe's.",
    )
    speed_rpm: SpeedBeside = None
    model_config = example(
        key="0d6f7a8e-98c1-4c39-9c9e-6f4d5b0c2a02", kind="turn", round=2, bore=1, value=6.25, by="KM"
    )


class SkipSent(Sent):
    """Word that a bore is not read, and why: as a code, or in words."""

    key: Key
    kind: Literal["skip"]
    round: RoundNumber
    bore: BoreNumber
    why: str = Field(
        default="",
        max_length=engines.LONGEST,
        description="In words, stored as typed, where no code fits.",
        examples=["Cannot be reached"],
    )
    why_code: SkipReason | None = Field(
        default=None, strict=False, description="As a code. Where it is sent, `why` is not stored."
    )
    by: By
    supersedes: Supersedes = None
    from_above: FromAbove = None
    model_config = example(
        key="5c1b9b1e-2c0f-4a7e-9a55-7b6a3d9e4c03", kind="skip", round=2, bore=1, why_code="out-of-reach", by="KM"
    )


ReadingSent = Annotated[ValueSent | SkipSent, Field(discriminator="kind")]


class AtBore(Sent):
    """What a sensor that stays at its bore showed."""

    bore: BoreNumber
    value: float = Field(description="In the unit of the visit's meter.", allow_inf_nan=False, examples=[6.25])
    sd: float = Field(
        ge=readings.LEAST_SD,
        le=readings.MOST_SD,
        allow_inf_nan=False,
        description="Standard error of the value as a fraction of it.",
        examples=[0.01],
    )


class AllBoresSent(Sent):
    """What sensors at all bores showed at one moment."""

    key: Key
    round: RoundNumber
    values: list[AtBore] = Field(min_length=1, max_length=12, description="One entry for each bore of the engine.")
    by: By
    speed_rpm: SpeedBeside = None
    model_config = example(
        key="e4d5c6b7-0a1b-4c2d-8e3f-9a8b7c6d5e12",
        round=2,
        values=[{"bore": 1, "value": 6.25, "sd": 0.01}, {"bore": 2, "value": 6.4, "sd": 0.01}],
        by="KM",
    )


class SettledSent(Sent):
    """Which of two readings of one bore's turn counts, each entered without sight of the other."""

    key: Key
    older: int = Field(description="The one entered first.")
    newer: int = Field(description="The one entered after it.")
    counts: Literal["older", "newer", "both"]
    by: By


class ReadingTold(Told):
    """One reading as entered."""

    id: int
    bore: int
    kind: Literal["turn", "closing", "again", "skip"]
    value: float | None = Field(description="In `unit`, as the meter showed it; null for a bore skipped.")
    unit: MeterUnit
    why: str = Field(description="Why the bore was skipped, or why its value was set aside.")
    why_code: str | None = Field(description="The same as a code; null for words as typed, and where there is none.")
    by: str
    at: str = Field(description="ISO 8601, UTC.")
    supersedes: int | None = Field(description="The reading it corrects.")
    speed_rpm: float | None = Field(description="Engine speed beside it; null where none was told.", examples=[862])
    stands: bool = Field(description="False once it was corrected.")

    @staticmethod
    def of(row: MeterReading, stands: bool) -> "ReadingTold":
        """From its row."""
        fields = ("bore", "kind", "value", "unit", "by", "at")
        return ReadingTold.model_validate(
            {
                "id": row.ident,
                "supersedes": row.supersedes_id,
                "stands": stands,
                "why": as_stored(row.why, "reading.why"),
                "why_code": code_of(row.why),
                "speed_rpm": trade(row.speed, REV_PER_MIN) if row.speed is not None else None,
                **{name: getattr(row, name) for name in fields},
            }
        )


@router.post("/phases/{phase}/readings", status_code=201, summary="Add a reading", responses=REFUSALS)
def add_reading(shop: Shop, visit_id: Id, phase: Slug, body: ReadingSent, now: Now) -> ReadingTold:
    """Keep one reading, correct one, or skip a bore. A value 1.6 times what the bore read last with nothing moved
    since, or without that 1.6 times the middle of the other bores, or under that fraction of it, is refused as
    `far-off`, unless it says that it is `sure`: it is usually a slip."""
    new = NewReading(
        phase=phase,
        round_number=body.round,
        bore=body.bore,
        kind=body.kind,
        value=body.value if isinstance(body, ValueSent) else None,
        by=body.by,
        why=body.why if isinstance(body, SkipSent) else "",
        why_code=body.why_code if isinstance(body, SkipSent) else None,
        supersedes=body.supersedes,
        from_above=body.from_above,
        sd=body.sd if isinstance(body, ValueSent) else None,
        fixed=isinstance(body, ValueSent) and body.fixed,
    )
    sure = not isinstance(body, ValueSent) or body.sure
    with pointing(POINTERS):
        row_id = readings.add(shop, visit_id, body.key, new, now, sure=sure, speed=_speed_of(body))
    return _stored(shop, visit_id, row_id)


@router.post(
    "/phases/{phase}/readings/all-bores", status_code=201, summary="Add readings of all bores", responses=REFUSALS
)
def add_all_bores(shop: Shop, visit_id: Id, phase: Slug, body: AllBoresSent, now: Now) -> list[ReadingTold]:
    """Record what sensors at all bores showed at one moment as what is left of the round that is due, its drift check
    with it: all of it or nothing."""
    values = {one.bore: (one.value, one.sd) for one in body.values}
    places = {one.bore: n for n, one in enumerate(body.values)}
    if len(places) < len(body.values):
        raise RejectedError({"values": because(LayoutFault.BORE_TWICE)})
    look = NewLook(phase, body.round, values, body.by)
    with pointing({**POINTERS, Rejection.NO_SUCH_BORE: "values"}), named(value="values"):
        ids = readings.add_look(shop, visit_id, body.key, look, now, speed=_speed_of(body))
    return [_stored(shop, visit_id, one) for one in ids]


@router.post(
    "/phases/{phase}/readings/settled", status_code=201, summary="Say which reading counts", responses=REFUSALS
)
def settle_readings(shop: Shop, visit_id: Id, phase: Slug, body: SettledSent, now: Now) -> ReadingTold:
    """Answers with the row that says so. The reading that does not count stays in the history."""
    pair = (body.older, body.newer)
    with pointing(WAITS):
        row_id = readings.settle(shop, visit_id, body.key, phase, pair, body.counts, body.by, now)
    return _stored(shop, visit_id, row_id)


def _speed_of(body: ReadingSent | AllBoresSent) -> float | None:
    """The engine speed that was told beside values [rev/s]."""
    return None if isinstance(body, SkipSent) or body.speed_rpm is None else body.speed_rpm * REV_PER_MIN


def _stored(shop: Database, visit_id: int, row_id: int) -> ReadingTold:
    with shop.reading() as session:
        record = loader.load(session, visit_id)
    entered = [reading for one in record.rounds for reading in one.entered]
    row = next(reading for reading in entered if reading.ident == row_id)
    return ReadingTold.of(row, all(row_id != later.supersedes_id for later in entered))
