"""Sensors at bores, compared with each other: what programs ask of it and are told."""

import json
from typing import Literal

from fastapi import APIRouter
from pydantic import Field

from app.shop.commands.live import channel_checks
from app.shop.store.live.tables import ChannelCheckRow
from app.sync.engine.units import KPA
from app.web.api.problems import REFUSALS
from app.web.api.shapes import By, Key, Sent, Told
from app.web.context import ServerNow, Shop
from app.web.live.doors import Live

router = APIRouter(tags=["live values"])


class SensorCheckSent(Sent):
    """Word that all sensors are at one pressure now, with the engine stopped."""

    key: Key
    held: Literal["ambient", "tee"] = Field(
        description="`ambient`: every hose is open to the air. `tee`: all are on one tee, at 15 kPa of vacuum or more."
    )
    by: By


class SensorTold(Told):
    """What one sensor showed."""

    bore: int
    mean_kpa: float | None = Field(description="As it reads; null for a hose taken off.")
    offset_kpa: float | None = Field(description="Its mean less that of all.")
    scatter_kpa: float | None = Field(description="One standard deviation of its values.")
    lag_s: float | None = Field(description="Seconds to 63 % of the way once its hose was off; null where not seen.")


class SensorCheckTold(Told):
    """A check of the sensors as stored."""

    id: int
    kind: Literal["ambient", "tee", "wiggle"] = Field(description="`wiggle`: one hose was taken off, at `bore`.")
    bore: int | None
    channels: str = Field(description="SHA-256 of how the channels were declared; it holds for those alone.")
    spread_kpa: float | None = Field(description="By what the sensors differ, one standard deviation of their means.")
    depth_kpa: float | None = Field(description="The vacuum that they stood at.")
    sensors: dict[str, SensorTold] = Field(description="What each showed, by channel.")
    by: str
    at: str = Field(description="ISO 8601, UTC.")

    @staticmethod
    def of(row: ChannelCheckRow) -> "SensorCheckTold":
        """From its row."""
        sensors = {
            name: SensorTold(
                bore=one["bore"],
                mean_kpa=_kpa(one.get("mean")),
                offset_kpa=_kpa(one.get("offset")),
                scatter_kpa=_kpa(one.get("scatter")),
                lag_s=None if "lag" not in one else round(one["lag"], 3),
            )
            for name, one in json.loads(row.figures).items()
        }
        said = {name: getattr(row, name) for name in ("kind", "bore", "channels", "by", "at")}
        return SensorCheckTold.model_validate(
            {"id": row.ident, **said, "spread_kpa": _kpa(row.spread), "depth_kpa": _kpa(row.depth), "sensors": sensors}
        )


@router.get("/live/checks")
def list_sensor_checks(shop: Shop) -> list[SensorCheckTold]:
    """The last checks of sensors that stay at their bores, newest first."""
    with shop.reading() as session:
        return [SensorCheckTold.of(row) for row in channel_checks.newest(session)]


@router.post("/live/checks", status_code=201, responses=REFUSALS)
def compare_sensors(shop: Shop, live: Live, sent: SensorCheckSent, now: ServerNow) -> SensorCheckTold:
    """Compare the sensors at bores that send a pressure now. A comparison on a tee holds for a day: their readings then
    prove a round where they differ by little, in a tolerance that is narrower by that."""
    row_id = channel_checks.compare(shop, sent.key, live.array(), sent.held, sent.by, now)
    with shop.reading() as session:
        return SensorCheckTold.of(session.get_one(ChannelCheckRow, row_id))


def _kpa(pressure: float | None) -> float | None:
    return None if pressure is None else round(pressure / KPA, 4)
