"""What is offered before the first start: every plate set on one feeler."""

from fastapi import APIRouter
from pydantic import Field

from app.shop.assessment.cold_setting import ColdStep, ColdWork
from app.shop.procedure.phases import COLD_PRESET
from app.shop.queries.assessed import assessed
from app.sync.engine.adjusters.registry import kind_at
from app.sync.engine.units import THOU
from app.web.api.problems import NOT_THERE
from app.web.api.shapes import Coupler, Id, MoveKind, Told, trade
from app.web.context import Shop
from app.wording.cold_setting import how, reasons
from app.wording.work.safety import deferral, safety_lines

router = APIRouter(prefix="/visits/{visit_id}", tags=["advice"])


class ForeseenTold(Told):
    """What it costs and should save, calculated for this engine; the first and the last round are not counted."""

    cold_minutes: float = Field(description="That it takes.")
    hot_minutes_without: float = Field(description="Minutes of work on the hot engine after a usual preset.")
    hot_minutes_with: float = Field(description="Minutes of it after all plates were set.")
    slow_start_without: float = Field(description="Chance of a first idle below three quarters of the wanted speed.")
    slow_start_with: float = Field(description="The same chance after all plates were set.")
    pays: bool = Field(description="Whether it saves as many minutes as it takes.")
    reason: str


class PlateTold(Told):
    """One plate to set, outward from the stop screw of its bank."""

    bore: int
    kind: MoveKind = Field(description="The kind of adjuster that sets it.")
    bank: str
    coupler: Coupler | None
    how: str = Field(description="What to do, in words.")
    stands: bool = Field(description="Whether it is set, and nothing nearer to the stop screw was set after it.")
    move: int | None = Field(description="The newest setting of it.")


class ColdSettingTold(Told):
    """Setting every plate on one feeler before the first start. It is optional: nothing waits for it."""

    plates: list[PlateTold]
    next: int | None = Field(description="The bore to set next; null once all are set.")
    leaves_thou: list[float] = Field(description="The feeler: that of the first plate set, else the one to take.")
    safe: bool = Field(description="Whether `cold-and-off` is recorded.")
    preset: bool = Field(description="Whether `closed-contact` and `preset-turns` are recorded.")
    gauged: bool = Field(description="Whether `hand-gauged` is recorded.")
    couplers_new: bool
    declined: bool = Field(description="Whether `cold-setting-declined` is recorded.")
    foreseen: ForeseenTold
    cautions: list[str]
    defer: str = Field(description="What comes before all of this.")


@router.get("/cold-setting", summary="The cold setting of the plates", responses=NOT_THERE)
def show_cold_setting(shop: Shop, visit_id: Id) -> ColdSettingTold | None:
    """What is offered, and how far it is. Null once the engine ran, by telephone, and where nothing is set cold."""
    with shop.reading() as session:
        judged = assessed(session, visit_id).of(COLD_PRESET)
    return _cold(judged.cold, [str(one) for one in safety_lines(judged.cautions)]) if judged.cold is not None else None


def _cold(work: ColdWork, cautions: list[str]) -> ColdSettingTold:
    found = work.foreseen
    return ColdSettingTold(
        plates=[_plate(work, step) for step in work.steps],
        next=work.next.bore if work.next is not None else None,
        leaves_thou=[trade(leaf, THOU) for leaf in work.leaves],
        safe=work.safe,
        preset=work.is_preset,
        gauged=work.gauged,
        couplers_new=work.assembled,
        declined=work.declined,
        foreseen=ForeseenTold(
            cold_minutes=round(found.cold_minutes, 1),
            hot_minutes_without=round(found.without, 1),
            hot_minutes_with=round(found.with_it, 1),
            slow_start_without=round(found.stalls_without, 3),
            slow_start_with=round(found.stalls_with_it, 3),
            pays=found.pays,
            reason=" ".join(reasons(found)),
        ),
        cautions=cautions,
        defer=deferral(),
    )


def _plate(work: ColdWork, step: ColdStep) -> PlateTold:
    record = work.record
    kind = kind_at(record.layout, step.adjuster)
    place = kind.place(step.adjuster)
    return PlateTold(
        bore=step.bore,
        kind=kind.slug,
        bank=record.layout.bank_of(step.bore).name,
        coupler=Coupler(near=place.near, far=place.far) if place.near and place.far else None,
        how=how(step, record.layout, sum(work.leaves), record.units),
        stands=step.stands,
        move=step.made.ident if step.made is not None else None,
    )
