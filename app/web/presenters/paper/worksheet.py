"""The blank worksheet for a visit away from the shop: the engine's layout, how it was left, and the order of steps."""

from dataclasses import dataclass

from app.shop.assessment.visit_summary import VisitSummary
from app.shop.procedure.codes import CautionCode
from app.shop.procedure.parts import parts_of, temperatures_of
from app.shop.procedure.phases import PHASES
from app.shop.queries.history_cache import EngineMemory
from app.shop.record.fittings import layout_from_json
from app.shop.record.measures import RECORDED
from app.shop.record.settings import Settings
from app.shop.store.tables import Engine
from app.sync.engine.layout import Layout
from app.sync.engine.units import MM
from app.web.presenters.drawing import drawn_stop
from app.web.presenters.filters import day, displacement, idle, layout_in_words, other_hardware
from app.web.presenters.history.history import unit_remembered
from app.web.presenters.history.history_cards import first_to_check
from app.wording.language import to_the_customer
from app.wording.message import say
from app.wording.office import paper
from app.wording.quantities import feeler
from app.wording.work.phases import phase_steps, phase_title
from app.wording.work.safety import SafetyWords, safety_lines


@dataclass(frozen=True, slots=True)
class WorksheetRow:
    """One bank: its bores front first, each with what it read as left, and where its stop screw and link rod act. The
    name is empty where it is the only bank."""

    name: str
    bores: tuple[tuple[int, str], ...]
    stop: int
    drive: int


@dataclass(frozen=True, slots=True)
class WorksheetPhase:
    """One phase in its order: what to do, and what to beware of away from the shop."""

    title: str
    steps: tuple[str, ...]
    cautions: tuple[SafetyWords, ...]


@dataclass(frozen=True, slots=True)
class Worksheet:
    """Everything on the worksheet that is known beforehand."""

    name: str
    left: str
    unit: str
    rows: tuple[WorksheetRow, ...]
    tolerance: str
    first: str
    steps: tuple[WorksheetPhase, ...]
    joined: str
    openings: tuple[str, ...]
    asked: tuple[str, ...]
    warnings: tuple[SafetyWords, ...]
    away: tuple[SafetyWords, ...]


AWAY = (CautionCode.UNEXPECTED_START_AWAY, CautionCode.EXHAUST_GAS_AWAY, CautionCode.ALONE_AT_FAN)
"""What to beware of away from the shop before everything else; each phase has its own cautions beside it."""


@to_the_customer()
def worksheet_of(memory: EngineMemory, engine: Engine, held: Settings) -> Worksheet:
    """The worksheet of an engine as it was last left, in a shop with these settings."""
    layout = layout_from_json(memory.fittings[-1].layout)
    last = next((v for v in reversed(memory.visits) if v.left is not None and v.layout.banks == layout.banks), None)
    values = _left(last)
    two_banks = len(layout.banks) > 1
    return Worksheet(
        name=say(
            paper.WORKSHEET_NAME,
            layout=layout_in_words(layout),
            displacement=displacement(engine),
            idle=idle(engine),
        ),
        left=say(paper.LEFT_AT_VISIT, number=last.number, day=day(last.opened_at)) if last else say(paper.AS_LEFT),
        unit=last.unit_name if last else "",
        rows=tuple(
            WorksheetRow(
                bank.name if two_banks else "",
                tuple((b, values.get(b, "")) for b in bank.bores),
                drawn_stop(layout, bank),
                bank.drive if layout.linked else 0,
            )
            for bank in layout.banks
        ),
        tolerance=_tolerance(last),
        first=first_to_check(memory, held.units.metric),
        steps=_steps(layout),
        joined=other_hardware(layout),
        openings=tuple(_both(one) for one in held.openings) if two_banks else (),
        asked=tuple(say(one) for one in (paper.ASKED_HEAT[temperatures_of(layout)[0]], *paper.ASKED)),
        warnings=paper.warnings(),
        away=safety_lines(AWAY),
    )


def _both(thickness: float) -> str:
    """A feeler [m] in both units: the customer may own either set."""
    return say(paper.BOTH_FEELERS, inches=feeler(thickness, RECORDED), millimeters=f"{thickness / MM:.2f}\u00a0mm")


def _left(last: VisitSummary | None) -> dict[int, str]:
    if last is None or last.left is None:
        return {}
    unit = unit_remembered(last)
    return {bore: unit.nearest(pooled.mean) for bore, pooled in last.left.pooled.items()}


def _tolerance(last: VisitSummary | None) -> str:
    """What even means, in figures where the engine was left before."""
    if last is None or last.left is None:
        return say(paper.TOLERANCE)
    unit = unit_remembered(last)
    judged = last.left.judged
    return say(
        paper.MEAN_AND_TOLERANCE, mean=unit.show(judged.mean), unit=unit.name, tolerance=unit.show(judged.tolerance)
    )


def _steps(layout: Layout) -> tuple[WorksheetPhase, ...]:
    """The phases in order, each hazard once, ahead of its first step; only linked banks need to be balanced."""
    parts, told, phases = parts_of(layout), set[CautionCode](), []
    for one in PHASES:
        if one.rounds == "openings" and not layout.linked:
            continue
        cautions = [code for code in one.cautions_at("vehicle", parts) if code not in told]
        told.update(cautions)
        phases.append(WorksheetPhase(phase_title(one), phase_steps(one, parts), safety_lines(cautions)))
    return tuple(phases)
