"""What speaks against the instruments as they are at an engine: told, never refused."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.shop.procedure.live.filling import AT_IDLE, Gauges
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import KG_PER_HOUR, KPA
from app.sync.signals.plausible import NEAR_AIR, OddFlow, odd_flow, off_air
from app.web.live.hub import Hub
from app.wording.message import say
from app.wording.program import live_values as words


@dataclass(frozen=True, slots=True)
class Doubts:
    """Channels that did not show the open air when the engine last stood, and an odd total of flow as it idles now."""

    off_air: tuple[str, ...] = ()
    flow: OddFlow | None = None

    def said(self) -> tuple[str, ...]:
        """The same in words."""
        said = []
        if self.off_air:
            most = f"{NEAR_AIR / KPA:g}"
            said.append(say(words.OFF_AIR, channels=", ".join(self.off_air), most=most))
        if self.flow is not None:
            figures = (self.flow.total, self.flow.least, self.flow.most)
            total, least, most = (f"{one / KG_PER_HOUR:.3g}" for one in figures)
            said.append(say(words.ODD_FLOW, total=total, least=least, most=most))
        return tuple(said)


def doubts_of(hub: Hub, before: Doubts, gauges: Gauges, record: VisitRecord | None) -> Doubts:
    """What is doubted now; what open sensors showed is kept from ``before`` while the engine runs.

    Parameters: ``record`` of the visit that the instruments are at, None for none.
    """
    open_to = hub.open_sensors()
    found = before.off_air if open_to is None else off_air(open_to, _air(gauges, record))
    return Doubts(found, None if record is None else _flow(hub, gauges.speed, record))


def _air(gauges: Gauges, record: VisitRecord | None) -> float | None:
    """The air pressure that a channel tells, else the one recorded [Pa]; None for neither."""
    shown = gauges.figures.get("air-pressure")
    check = None if record is None else record.checks.get((HEAT_SOAKED.slug, "air-pressure"))
    kpa = shown if shown is not None else None if check is None else check.number
    return None if kpa is None else kpa * KPA


def _flow(hub: Hub, speed: float | None, record: VisitRecord) -> OddFlow | None:
    """By all bores together, at about the idle speed wanted, which a channel has to tell."""
    wanted = record.engine.idle_speed
    if speed is None or abs(speed - wanted) > AT_IDLE * wanted:
        return None
    flows: Mapping[int, float] = hub.flows(frozenset(record.layout.bores))
    return odd_flow(sum(flows.values()), record.engine.displacement, speed) if flows else None
