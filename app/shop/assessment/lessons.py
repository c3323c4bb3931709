"""What is known of an engine before a visit is judged: the usual prior, and what earlier visits taught."""

from functools import lru_cache
from typing import NamedTuple

from app.shop.procedure.recheck import same_air
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.engine_air import Ambient
from app.sync.engine.events import Event, Meter, Reading
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout
from app.sync.estimation.column_sharing import sharing_learned
from app.sync.estimation.depth_start import depth_learned, read_by_columns
from app.sync.estimation.filter import run_filter
from app.sync.estimation.posterior import Posterior, start_prior
from app.sync.estimation.prior_transfer import prior_from_history

LESSONS_BACK = 3
"""Earlier visits that are learned from; what was before them counts for little by now (our
judgement)."""


def visit_prior(record: VisitRecord, back: int = LESSONS_BACK) -> Posterior | None:
    """What the visits signed off before this one taught of the engine and its meter; None where there was none.

    The very same object comes back while nothing of it has changed.
    """
    before = record.before
    if before is None or back == 0:
        return None
    return _taught(
        _VisitInputs(before.layout, before.hardware, before.meter_as_read(), before.ambient),
        tuple(before.events()),
        visit_prior(before, back - 1),
        _VisitInputs(record.layout, record.hardware, record.meter_as_read(), record.ambient),
        record.engine.displacement,
        record.engine.idle_speed,
        record.meter.ident == before.meter.ident,
        same_air(record),
    )


def start_of(record: VisitRecord) -> Posterior:
    """The prior of an engine before its first reading of a visit."""
    engine = record.engine
    return visit_prior(record) or start_prior(
        record.layout, record.hardware, engine.displacement, engine.idle_speed, record.ambient
    )


class _VisitInputs(NamedTuple):
    """What a visit is worked on and with, and in what air."""

    layout: Layout
    hardware: Hardware
    meter: Meter
    ambient: Ambient


@lru_cache(maxsize=512)
def _taught(
    then: _VisitInputs,
    events: tuple[Event, ...],
    start: Posterior | None,
    now: _VisitInputs,
    displacement: float,
    speed: float,
    same_meter: bool,
    air: bool,
) -> Posterior | None:
    """What a visit of these ``events`` taught, and those before it, as ``start``."""
    if start is None and not any(isinstance(event, Reading) for event in events):
        return None
    start = start or start_prior(then.layout, then.hardware, displacement, speed, then.ambient)
    fresh = start_prior(now.layout, now.hardware, displacement, speed, now.ambient)
    alike = same_meter and then.meter.quantity == now.meter.quantity
    begun = sharing_learned(read_by_columns(start, then.meter, events), then.meter, events)
    begun = depth_learned(begun, then.meter, events)
    taught = run_filter(begun, then.meter, events)
    return prior_from_history(taught, fresh, same_meter=alike, same_air=air)


def sharing_of(record: VisitRecord) -> float | None:
    """Part of a runner's pressure that all runners share, as the columns of a visit tell; None by a flow meter."""
    return sharing_told(record)[0]


@lru_cache(maxsize=64)
def sharing_told(record: VisitRecord) -> tuple[float | None, float]:
    """The same, and how well it is known as a standard deviation, 0 by a flow meter."""
    if record.meter.quantity == "flow":
        return None, 0.0
    meter, events = record.meter_as_read(), record.events()
    engine = sharing_learned(read_by_columns(start_of(record), meter, events), meter, events).engine
    return engine.sharing, engine.sharing_sd
