"""The engine from above, in its large form and its small ones, drawn from a record and its verdict."""

import math
from collections.abc import Mapping
from typing import Literal

from app.shop.assessment.assessment import Assessment
from app.shop.record.entries import MeterEntry
from app.sync.engine.layout import AnyJoint, Bank, Layout
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import BoreResult, BoreVerdict, RoundResult
from app.web.presenters.views import PhaseState, PhaseView, Shape, SmallRow, SmallTile
from app.wording.quantities import unit_of
from app.wording.work.phases import phase_title

MARKS: Mapping[Conformity, Literal["even", "not-even", "close"]] = {
    Conformity.EVEN: "even",
    Conformity.NOT_EVEN: "not-even",
    Conformity.UNDECIDED: "close",
    Conformity.LIMIT: "even",
}
"""The mark beside a verdict, on the screen and on paper."""


def mark_of(found: RoundResult, coarse: bool) -> Literal["even", "not-even", "close", "inside", "none"]:
    """The mark beside how even a round was ``found``, on the screen; ``coarse``: by a tolerance too wide for even."""
    if found.alone:
        return "none"
    mark = MARKS.get(found.verdict)
    return "inside" if coarse and mark == "even" else mark or "none"


MOST_BLADES = 3
OUTSIDE = (BoreVerdict.OPEN, BoreVerdict.CLOSED)
SHAPES: dict[BoreVerdict, Shape] = {
    BoreVerdict.EVEN: "even",
    BoreVerdict.OPEN: "wide",
    BoreVerdict.CLOSED: "tight",
}


def shape_of(standing: BoreResult | None) -> Shape:
    """The form a bore is drawn in."""
    if standing is None:
        return "none"
    if standing.verdict is BoreVerdict.AT_LIMIT:
        return "lean-wide" if standing.opening > 0 else "lean-tight"
    return SHAPES[standing.verdict]


def blades_of(standing: BoreResult | None, tolerance: float) -> int:
    """How many bars show how far a bore is from even: one for each tolerance beyond the first, three at most."""
    if standing is None or standing.verdict not in OUTSIDE:
        return 0
    return min(MOST_BLADES, max(1, math.ceil(abs(standing.deviation) / tolerance) - 1))


def joint_kind(kind: AnyJoint) -> Literal["blade", "screw", "shaft", "motors"]:
    """How two plates are joined, as it is drawn: which way a screw opens is not seen from above."""
    return kind if kind in ("blade", "shaft", "motors") else "screw"


def drawn_stop(layout: Layout, bank: Bank) -> int:
    """The bore at which the stop screw of a bank is drawn; 0 where motors move the plates and none is set by hand."""
    return 0 if layout.electronic else bank.stop


def by_bore(judged: RoundResult | None) -> Mapping[int, BoreResult]:
    """The result of each bore that was read."""
    return {s.bore: s for s in judged.standings} if judged else {}


def phases(assessment: Assessment) -> tuple[PhaseView, ...]:
    """The five phases at the head of a visit.

    A later one can be looked at, and says on its page what comes before it; one with nothing to do in this visit
    counts as done once the others before it are, and is marked as not needed.
    """
    standings, record = assessment.statuses, assessment.record
    current = next((at for at, s in enumerate(standings) if not s.done), len(standings))
    views = []
    for at, standing in enumerate(standings):
        state: PhaseState = "done" if at < current else "current" if at == current else "to-come"
        phase = standing.phase
        href, needed = f"/visits/{record.visit.ident}/{phase.slug}", not standing.not_needed_because
        views.append(PhaseView(phase_title(phase), state, href, phase.slug, needed))
    return tuple(views)


def small_rows(assessment: Assessment) -> tuple[SmallRow, ...]:
    """The newest idle round in the small form, by the fine tolerance: no figure of a wider one stands beside it."""
    record = assessment.record
    idle = [r for r in record.rounds if r.row.opening == 0 and r.readings]
    standings = by_bore(assessment.fine_evenness(idle[-1]) if idle else None)
    return tuple(
        SmallRow(tuple(SmallTile(shape_of(standings.get(bore))) for bore in bank.bores)) for bank in record.layout.banks
    )


def shown(value: float | None, meter: MeterEntry) -> str:
    """A value with as many places as its meter shows; empty for none."""
    return "" if value is None else f"{value:.{unit_of(meter).decimals}f}"
