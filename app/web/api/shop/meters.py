"""What a visit works with: the shop's meters and feelers."""

from typing import Literal

from fastapi import APIRouter
from pydantic import Field

from app.shop.record import meter_studies, stored_settings
from app.shop.record.entries import ABSOLUTE, MeterEntry, Repeats
from app.sync.engine.units import THOU
from app.web.api.shapes import MeterUnit, Told, trade
from app.web.context import Shop

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
            }
        )


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
