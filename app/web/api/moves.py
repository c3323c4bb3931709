"""Moves: what was actually turned or reset, as advised or otherwise."""

from collections.abc import Mapping
from contextlib import AbstractContextManager
from enum import StrEnum
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Discriminator, Field, Tag

from app.shop.commands import cold_settings, moves
from app.shop.commands.cold_settings import NewSetting
from app.shop.commands.moves import NewMove
from app.shop.record import loader
from app.shop.record.entries import MoveEntry
from app.shop.record.visit_record import VisitRecord, made_cold
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.adjusters.registry import kind_of, kinds
from app.sync.engine.units import THOU
from app.web.api.phases import TakeBackSent
from app.web.api.problems import FURTHER, NOT_THERE, REFUSALS, named, pointing
from app.web.api.shapes import (
    BankName,
    By,
    Coupler,
    Flats,
    Id,
    Key,
    Leaves,
    MoveKind,
    Sent,
    Slug,
    Told,
    Turns,
    TurnsIn,
    TurnsOther,
    TurnsOut,
    example,
    trade,
)
from app.web.context import Now, Shop
from app.web.presenters.steps import move_words

router = APIRouter(prefix="/visits/{visit_id}/phases/{phase}/moves", tags=["moves"])
cold = APIRouter(prefix="/visits/{visit_id}/cold-setting/plates", tags=["moves"])
"""Plates set before the first start."""
made = APIRouter(prefix="/visits/{visit_id}/moves", tags=["moves"])
"""All moves of a visit."""


class SentMove(Sent):
    """What every move says."""

    key: Key
    by: By
    advised: bool = Field(default=False, description="Whether it was made as the advice said.")
    power_off: bool = Field(
        default=False,
        description="At electronic throttles: that they had no power and the manufacturer's instructions allowed it. "
        "A move of anything that holds a plate is refused without.",
    )


class StopTurned(SentMove):
    """A stop screw turned: it moves all bores of its bank."""

    kind: Literal["stop"]
    bank: BankName
    turns: Turns
    model_config = example(
        key="8a7d1c52-5f4e-4b0a-8a55-1d1c5b0e6d04", kind="stop", bank="A", turns=0.125, by="KM", advised=True
    )


class BladeReset(SentMove):
    """A coupler loosened, the far plate closed on a feeler, the coupler tightened."""

    kind: Literal["blade"]
    coupler: Coupler
    leaves_thou: Leaves
    model_config = example(
        key="3e9a4b7c-7d21-4f7d-b7b0-2b9d0c1f8e05",
        kind="blade",
        coupler={"near": 1, "far": 2},
        leaves_thou=[3, 1.5],
        by="KM",
        advised=True,
    )


class ScrewTurned(SentMove):
    """A coupler's own screw turned: it moves the far bore and every bore beyond it."""

    kind: Literal["screw"]
    coupler: Coupler
    turns: TurnsIn


class LinkTurned(SentMove):
    """A bank's link rod turned: it shifts the bank off idle."""

    kind: Literal["link"]
    bank: BankName
    flats: Flats
    model_config = example(
        key="6b0e2d93-0f43-4c8e-9d3f-4c8e1f2a9b06", kind="link", bank="A", flats=-2, by="KM", advised=True
    )


class BypassTurned(SentMove):
    """A bore's bypass screw turned; positive is out, which lets more air past its plate."""

    kind: Literal["bypass"]
    bore: int = Field(examples=[3])
    turns: TurnsOut


class OtherTurned(SentMove):
    """A screw of a further kind turned, as the engine's layout names it under `extra`; its kind says which way is
    positive."""

    kind: MoveKind
    bore: int = Field(examples=[3])
    turns: TurnsOther


class PlateSent(Sent):
    """A plate of the cold engine closed on a feeler by what sets it, and checked.

    Before the first one the items `closed-contact`, `preset-turns` and `cold-and-off` of the cold preset are recorded:
    every plate closes fully; the stop screws are as preset; the engine is cold, its ignition disconnected, and no
    motor can move a plate.
    """

    key: Key
    bore: int = Field(examples=[2])
    leaves_thou: Leaves
    supersedes: int | None = Field(None, description="The move whose feeler was told wrongly. Null to set the plate.")
    by: By
    model_config = example(key="1d1c5b0e-6d04-4e33-9c0b-8a7d1c525f07", bore=2, leaves_thou=[3.5], by="KM")


READ_FIRST: Mapping[StrEnum, str] = {Rejection.AS_FOUND_FIRST: "", Rejection.ADJUSTED_BEFORE_READING: ""}
"""What stands before any adjustment is at fault in no field of one."""

USUAL: Mapping[str, str] = {
    "stop": "StopTurned",
    "blade": "BladeReset",
    "screw": "ScrewTurned",
    "link": "LinkTurned",
    "bypass": "BypassTurned",
}
"""The kinds that have a shape of their own in the description; every further one is sent as `OtherTurned`."""


def _shape_of(sent: Any) -> str | None:
    """The shape that a body claims to have, by its kind."""
    kind = sent.get("kind") if isinstance(sent, dict) else getattr(sent, "kind", None)
    if not isinstance(kind, str):
        return None
    return FURTHER if kind not in USUAL and kind in {one.slug for one in kinds()} else kind


MoveSent = Annotated[
    Annotated[StopTurned, Tag("stop")]
    | Annotated[BladeReset, Tag("blade")]
    | Annotated[ScrewTurned, Tag("screw")]
    | Annotated[LinkTurned, Tag("link")]
    | Annotated[BypassTurned, Tag("bypass")]
    | Annotated[OtherTurned, Tag(FURTHER)],
    Discriminator(_shape_of),
    Field(
        json_schema_extra={
            "discriminator": {
                "propertyName": "kind",
                "mapping": {kind: f"#/components/schemas/{shape}" for kind, shape in USUAL.items()},
            }
        }
    ),
]


class MoveTold(Told):
    """One move as made; the fields that its kind does not have are null.

    In cold preset it is a plate set on a feeler: `leaves_thou` say which, whatever it was set by; turns were not
    counted.
    """

    id: int
    phase: Slug
    kind: MoveKind
    bank: str
    coupler: Coupler | None
    bore: int | None
    turns: float | None
    flats: float | None
    leaves_thou: list[float] | None
    advised: bool
    sentence: str
    after_reading: int = Field(description="The newest reading of the visit when it was made; 0 for none.")
    by: str
    at: str = Field(description="ISO 8601, UTC.")
    stands: bool = Field(description="Whether it counts: it was neither taken back nor changed.")
    supersedes: int | None = Field(description="The move that this row corrects, in whose place it counts.")
    taken_back: bool = Field(description="Whether this row says that the move which it supersedes was not made.")
    power_off: bool = Field(description="Whether it was confirmed that throttles which motors move had no power then.")

    @staticmethod
    def of(row: MoveEntry, record: VisitRecord) -> "MoveTold":
        """From its row."""
        kind, leaves = kind_of(row.kind), [trade(float(leaf), THOU) for leaf in row.leaves.split()]
        unit = "leaves" if made_cold(row) else kind.unit
        return MoveTold.model_validate(
            {
                "id": row.ident,
                "phase": row.phase,
                "kind": row.kind,
                "bank": row.bank,
                "coupler": Coupler(near=row.near, far=row.far) if row.near and row.far else None,
                "bore": row.near if kind.sits == "bore" else None,
                "turns": row.amount if unit == "turns" else None,
                "flats": row.amount if unit == "flats" else None,
                "leaves_thou": leaves if unit == "leaves" else None,
                "advised": bool(row.advised),
                "sentence": move_words(row, record),
                "after_reading": row.after_reading,
                "by": row.by,
                "at": row.at,
                "stands": any(m.ident == row.ident for m in (*record.cold_settings, *record.moves)),
                "supersedes": row.supersedes_id,
                "taken_back": bool(row.taken_back),
                "power_off": bool(row.power_off),
            }
        )


@made.get("", summary="The moves of a visit", responses=NOT_THERE)
def visit_moves(shop: Shop, visit_id: Id) -> list[MoveTold]:
    """Every move in the order in which it was stored, those taken back or changed too."""
    with shop.reading() as session:
        record = loader.load(session, visit_id)
    return [MoveTold.of(row, record) for row in record.all_moves]


@router.post("", status_code=201, summary="Make a move", responses=REFUSALS)
def make_move(shop: Shop, visit_id: Id, phase: Slug, body: MoveSent, now: Now) -> MoveTold:
    """Keep a move that was made. The fields are named as in the advice."""
    with _named_as_sent(body.kind), pointing(READ_FIRST):
        row_id = moves.make(shop, visit_id, body.key, _new(body, phase), now)
    return _stored(shop, visit_id, row_id)


@router.post("/{move_id}/taken-back", status_code=201, summary="Take a move back", responses=REFUSALS)
def take_back_move(shop: Shop, visit_id: Id, phase: Slug, move_id: Id, body: TakeBackSent, now: Now) -> MoveTold:
    """Say that a move was not made, while the visit is open: everything is worked out again without it. Answers with
    the row that says so, which is the earlier one where the move was taken back before."""
    row_id = moves.take_back(shop, visit_id, body.key, phase, move_id, body.by, now)
    return _stored(shop, visit_id, row_id)


@router.post("/{move_id}/changed", status_code=201, summary="Change a move", responses=REFUSALS)
def change_move(shop: Shop, visit_id: Id, phase: Slug, move_id: Id, body: MoveSent, now: Now) -> MoveTold:
    """Say how a move was really made, while the visit is open. It keeps its place among the readings."""
    with _named_as_sent(body.kind):
        row_id = moves.change(shop, visit_id, body.key, move_id, _new(body, phase), now)
    return _stored(shop, visit_id, row_id)


def _named_as_sent(slug: str) -> AbstractContextManager[None]:
    """Gives the fields of a refusal the names that they have in the body of a move of that kind."""
    kind = kind_of(slug)
    near, amount = "bore" if kind.sits == "bore" else "coupler", "flats" if kind.unit == "flats" else "turns"
    return named(near=near, leaves="leaves_thou", amount=amount)


def _stored(shop: Database, visit_id: int, row_id: int) -> MoveTold:
    with shop.reading() as session:
        record = loader.load(session, visit_id)
    return MoveTold.of(next(one for one in record.all_moves if one.ident == row_id), record)


@cold.post("", status_code=201, summary="Set a plate cold", responses=REFUSALS)
def set_plate_cold(shop: Shop, visit_id: Id, body: PlateSent, now: Now) -> MoveTold:
    """Keep that a plate was set on a feeler. It is a move of the cold preset, and corrected as moves are."""
    new = NewSetting(body.bore, tuple(leaf * THOU for leaf in body.leaves_thou), body.by, body.supersedes)
    with named(leaves="leaves_thou"):
        row_id = cold_settings.set_plate(shop, visit_id, body.key, new, now)
    return _stored(shop, visit_id, row_id)


def _new(body: MoveSent, slug: str) -> NewMove:
    """The move that a body tells of: whatever its kind, the fields mean the same."""
    said = body.model_dump()
    coupler = said.get("coupler", {"near": said.get("bore"), "far": None})
    return NewMove(
        slug,
        body.kind,
        said.get("bank", ""),
        coupler["near"],
        coupler["far"],
        said.get("turns", said.get("flats", 0.0)),
        tuple(leaf * THOU for leaf in said.get("leaves_thou", ())),
        body.advised,
        body.by,
        body.power_off,
    )
