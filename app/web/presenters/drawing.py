"""The engine from above, in its large form and its small ones, drawn from a story and a judgement."""

import math
from collections.abc import Mapping
from typing import Literal

from app.shop.assessment.progress import progress
from app.shop.assessment.verdicts import evenness_of
from app.shop.record.entries import MeterEntry, MeterReading
from app.shop.record.visit_record import UNITS, Round, VisitRecord
from app.sync.engine.layout import JointKind
from app.sync.readings.rounds import BoreResult, RoundResult
from app.web.presenters.views import PhaseState, PhaseView, Shape, SmallRow, SmallTile
from app.wording.words import Unit

MOST_BLADES = 3


def unit_of(meter: MeterEntry) -> Unit:
    """The unit a meter reads in, with as many places as its step has."""
    return unit_named(meter.unit, meter.step)


def unit_named(name: str, step: float) -> Unit:
    """A unit by its name, with as many places as ``step`` has."""
    return Unit(name, UNITS[name], len(f"{step:g}".partition(".")[2]), step)


def shape_of(standing: BoreResult | None) -> Shape:
    """The form a bore is drawn in."""
    if standing is None:
        return "none"
    if standing.verdict == "too close":
        return "lean-wide" if standing.opening > 0 else "lean-tight"
    return standing.verdict


def blades_of(standing: BoreResult | None, half_width: float) -> int:
    """How many blades a bore stands from even: one for each window beyond the first, three at most."""
    if standing is None or standing.verdict not in ("wide", "tight"):
        return 0
    return min(MOST_BLADES, max(1, math.ceil(abs(standing.deviation) / half_width) - 1))


def word_of(standing: BoreResult | None, unit: Unit) -> str:
    """What stands under a reading."""
    if standing is None:
        return ""
    if standing.verdict in ("wide", "tight"):
        return f"{standing.verdict} {unit.show(abs(standing.deviation))}"
    return standing.verdict


def joint_kind(kind: JointKind) -> Literal["blade", "screw", "shaft"]:
    """How two plates are joined, as it is drawn: which way a screw opens is not seen from above."""
    return kind if kind in ("blade", "shaft") else "screw"


def by_bore(judged: RoundResult | None) -> Mapping[int, BoreResult]:
    """The standing of each bore that was read."""
    return {s.bore: s for s in judged.standings} if judged else {}


def phases(record: VisitRecord) -> tuple[PhaseView, ...]:
    """The five blades. A later phase can be looked at, and says on its page what comes before it; one with nothing to
    do on this engine counts as done once the others before it are."""
    standings = progress(record)
    current = next((at for at, s in enumerate(standings) if not s.done), len(standings))
    views = []
    for at, standing in enumerate(standings):
        state: PhaseState = "done" if at < current else "current" if at == current else "to-come"
        views.append(PhaseView(standing.phase.title, state, f"/visits/{record.visit.ident}/{standing.phase.slug}"))
    return tuple(views)


def small_rows(record: VisitRecord) -> tuple[SmallRow, ...]:
    """The newest idle round in the small form."""
    idle = [r for r in record.rounds if r.row.opening == 0 and r.readings]
    judged = _judged(record, idle[-1]) if idle else None
    standings = by_bore(judged)
    return tuple(
        SmallRow(tuple(SmallTile(shape_of(standings.get(bore))) for bore in bank.bores)) for bank in record.layout.banks
    )


def _judged(record: VisitRecord, one: Round) -> RoundResult:
    return evenness_of(record, one, record.settings.window(one.row.phase))


def value_of(reading: MeterReading, meter: MeterEntry) -> str:
    """A reading as it was shown."""
    return "" if reading.value is None else f"{reading.value:.{unit_of(meter).decimals}f}"
