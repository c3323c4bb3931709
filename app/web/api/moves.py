"""Moves: what was actually turned or reset, as advised or otherwise."""

from typing import Annotated, Literal

from fastapi import APIRouter
from pydantic import Field

from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.procedure.items import MoveKind
from app.shop.record import loader
from app.shop.record.entries import MoveEntry
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import THOU
from app.web.api.problems import REFUSALS, named
from app.web.api.shapes import (
    BankName,
    By,
    Coupler,
    Flats,
    Id,
    Key,
    Leaves,
    Sent,
    Slug,
    Told,
    Turns,
    TurnsIn,
    TurnsOut,
    example,
    trade,
)
from app.web.context import Now, Shop
from app.web.presenters.steps import move_words

router = APIRouter(prefix="/visits/{visit_id}/phases/{phase}/moves", tags=["moves"])


class Moved(Sent):
    """What every move says."""

    key: Key
    by: By
    advised: bool = Field(default=False, description="Whether it was made as the advice said.")


class StopTurned(Moved):
    """A stop screw turned: it moves all bores of its bank."""

    kind: Literal["stop"]
    bank: BankName
    turns: Turns
    model_config = example(
        key="8a7d1c52-5f4e-4b0a-8a55-1d1c5b0e6d04", kind="stop", bank="A", turns=0.125, by="KM", advised=True
    )


class BladeReset(Moved):
    """A coupler loosened, the far plate closed on a blade, the coupler tightened."""

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


class ScrewTurned(Moved):
    """A coupler's own screw turned: it moves the far bore and every bore beyond it."""

    kind: Literal["screw"]
    coupler: Coupler
    turns: TurnsIn


class LinkTurned(Moved):
    """A bank's link turned: it shifts the bank off idle."""

    kind: Literal["link"]
    bank: BankName
    flats: Flats
    model_config = example(
        key="6b0e2d93-0f43-4c8e-9d3f-4c8e1f2a9b06", kind="link", bank="A", flats=-2, by="KM", advised=True
    )


class BypassTurned(Moved):
    """A bore's bypass screw turned; positive is out, which lets more air past its plate."""

    kind: Literal["bypass"]
    bore: int = Field(examples=[3])
    turns: TurnsOut


MoveSent = Annotated[StopTurned | BladeReset | ScrewTurned | LinkTurned | BypassTurned, Field(discriminator="kind")]


class MoveTold(Told):
    """One move as made; the fields that its kind does not have are null."""

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
    stands: bool

    @staticmethod
    def of(row: MoveEntry, record: VisitRecord) -> "MoveTold":
        """From its row."""
        leaves = [trade(float(leaf), THOU) for leaf in row.leaves.split()]
        return MoveTold.model_validate(
            {
                "id": row.ident,
                "phase": row.phase,
                "kind": row.kind,
                "bank": row.bank,
                "coupler": Coupler(near=row.near, far=row.far) if row.near and row.far else None,
                "bore": row.near if row.kind == "bypass" else None,
                "turns": row.amount if row.kind in ("stop", "screw", "bypass") else None,
                "flats": row.amount if row.kind == "link" else None,
                "leaves_thou": leaves if row.kind == "blade" else None,
                "advised": bool(row.advised),
                "sentence": move_words(row),
                "after_reading": row.after_reading,
                "by": row.by,
                "at": row.at,
                "stands": any(m.ident == row.ident for m in record.moves),
            }
        )


@router.post("", status_code=201, summary="Make a move", responses=REFUSALS)
def make_move(shop: Shop, visit_id: Id, phase: Slug, body: MoveSent, now: Now) -> MoveTold:
    """Keep a move that was made. The fields are named as in the advice."""
    with named(near="bore" if body.kind == "bypass" else "coupler", leaves="leaves_thou", amount=_amount(body.kind)):
        row_id = moves.make(shop, visit_id, body.key, _new(body, phase), now)
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        return MoveTold.of(next(one for one in record.all_moves if one.ident == row_id), record)


def _amount(kind: str) -> str:
    return "flats" if kind == "link" else "turns"


def _new(body: MoveSent, slug: str) -> NewMove:
    bank, near, far, amount = "", None, None, 0.0
    leaves: tuple[float, ...] = ()
    match body:
        case StopTurned():
            bank, amount = body.bank, body.turns
        case LinkTurned():
            bank, amount = body.bank, body.flats
        case ScrewTurned():
            near, far, amount = body.coupler.near, body.coupler.far, body.turns
        case BladeReset():
            near, far = body.coupler.near, body.coupler.far
            leaves = tuple(leaf * THOU for leaf in body.leaves_thou)
        case BypassTurned():
            near, amount = body.bore, body.turns
    return NewMove(slug, body.kind, bank, near, far, amount, leaves, body.advised, body.by)
