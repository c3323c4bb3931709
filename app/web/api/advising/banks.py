"""What the two banks do off idle, why, and what to turn."""

import math

from fastapi import APIRouter
from pydantic import Field

from app.shop.assessment.assessment import PhaseAssessment
from app.shop.procedure.phases import BANK_BALANCE
from app.shop.queries.assessed import assessed
from app.sync.banks.banks import BankAssessment
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.units import DEGREE, THOU
from app.web.api.problems import NOT_THERE
from app.web.api.shapes import Id, MeterUnit, Told, meter_unit, shown, trade
from app.web.context import Shop
from app.wording.message import say
from app.wording.work.bank_balance import CAUSES, extra_sentence

router = APIRouter(prefix="/visits/{visit_id}", tags=["advice"])


class DifferenceTold(Told):
    """Second bank less first bank at one opening, mean of a bore, in `unit`. A bank with more air has less vacuum."""

    lever_thou: float = Field(description="The feeler under the central lever; 0 at idle.")
    from_above: bool
    first: float
    second: float
    difference: float
    sd: float = Field(description="Standard deviation of the difference.")
    percent: float = Field(
        description="The difference in per cent of the mean of both banks; for columns, of the air that they tell of."
    )


class BanksTold(Told):
    """What the two banks do off idle, why, and what to turn."""

    balanced: bool
    cause: Cause
    sentence: str
    banks: list[str] = Field(description="First and second bank.")
    unit: MeterUnit
    differences: list[DifferenceTold]
    odds: dict[Cause, float] = Field(description="Chance of each cause; they sum to 1.")
    offset_deg: float = Field(description="How much earlier the second bank leaves, at its plates.")
    offset_sd_deg: float | None = Field(description="Null when nothing is known of it.")
    ratio_percent: float = Field(description="How much faster the second bank opens.")
    ratio_sd_percent: float | None = Field(description="Null when nothing is known of it.")
    bank: str | None = Field(description="Whose link rod to turn.")
    flats: float = Field(description="By how many sixths of a turn; negative makes it open later. 0 for none.")
    flats_sd: float | None = Field(description="Standard deviation of `flats`. Null when none are offered.")
    sharper_lever_thou: float = Field(
        description="The feeler under the central lever at which one more round tells most about `flats`, where they "
        "may be off by more than half a flat; 0 where that is not so or it was read. Begin it with `lever_thou`."
    )
    or_bank: str | None = Field(description="The bank at which the same flats with the other sign do as well.")
    extra: str = Field(description="A short code for what would tell most next.")
    extra_sentence: str
    extra_lever_thou: float = Field(description="The feeler under the central lever for that; 0 for none.")
    extra_levers_thou: list[float] = Field(
        description="Every feeler under the central lever to read for that, one round each, the smallest first. Begin "
        "each with `lever_thou`. Where `extra` is `again`, these are all openings that were read."
    )


@router.get("/banks", summary="The banks off idle", responses=NOT_THERE)
def banks(shop: Shop, visit_id: Id) -> BanksTold | None:
    """What the readings at both openings say. Null with one bank, or before an idle round and an opening were read."""
    with shop.reading() as session:
        judged = assessed(session, visit_id).of(BANK_BALANCE)
    return _banks(judged, judged.banks) if judged.banks is not None else None


def _banks(judged: PhaseAssessment, found: BankAssessment) -> BanksTold:
    meter = judged.record.meter
    return BanksTold(
        balanced=judged.together,
        cause=found.cause,
        sentence=say(CAUSES[found.cause]),
        banks=list(found.banks),
        unit=meter_unit(meter),
        differences=[
            DifferenceTold(
                lever_thou=trade(one.lever_travel, THOU),
                from_above=one.from_above,
                first=shown(one.first, meter),
                second=shown(one.second, meter),
                difference=shown(one.difference, meter),
                sd=shown(one.sd, meter),
                percent=trade(one.percent, 1),
            )
            for one in found.differences
        ],
        odds={cause: trade(chance, 1) for cause, chance in found.odds.items()},
        offset_deg=trade(found.offset, DEGREE),
        offset_sd_deg=_finite(found.offset_sd, DEGREE),
        ratio_percent=trade(found.ratio, 0.01),
        ratio_sd_percent=_finite(found.ratio_sd, 0.01),
        bank=found.bank,
        flats=trade(found.flats, 1),
        flats_sd=_finite(found.flats_sd, 1),
        sharper_lever_thou=trade(found.sharper_travel, THOU),
        or_bank=found.or_bank,
        extra=found.extra,
        extra_sentence=extra_sentence(found.extra),
        extra_lever_thou=trade(found.extra_travel, THOU),
        extra_levers_thou=[trade(lever, THOU) for lever in found.to_read],
    )


def _finite(value: float, size: float) -> float | None:
    return trade(value, size) if math.isfinite(value) else None
