"""The one next step in a phase, whichever phase it is: what to read, what to move, or why neither helps.

Pages and programs ask here, so that both are told the same.
"""

from dataclasses import dataclass
from typing import Literal

from app.shop.assessment.progress import gate_of, status_of
from app.shop.assessment.verdicts import balance_of, balanced, needs_preset, next_of
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import COLD_PRESET
from app.shop.procedure.read_order import NextReading, next_reading
from app.shop.reasons import Reason
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice
from app.sync.planning.preset import Preset, starting_turns


@dataclass(frozen=True, slots=True)
class ToRead:
    """A reading that is asked for: which bore, as what, in the round of which number."""

    round_number: int
    bore: int
    kind: Literal["turn", "closing", "again"]


def next_step(record: VisitRecord, phase: Phase) -> Advice:
    """The next step of a phase.

    Beside the codes of the brain ``why`` is ``signed-off``, and ``stopped`` while a figure is outside the shop's
    limits, whatever else there would be to do; ``preset`` (turn every stop screw by that from the base blade: no bank
    is named) and ``nothing-read`` where the meter is not used; ``in-question`` while a bore has two values of which
    nobody has said which counts; ``tightening`` where something moved that may not be moved here; ``single``,
    ``balanced``, ``link``, or the extra that would tell more of the banks, off idle.
    """
    if record.sign_off is not None:
        return Advice("done", "signed-off")
    if stops_of(record, phase):
        return Advice("cannot", "stopped")
    now = next_reading(record, phase)
    if phase.rounds == "none":
        return _preset(record, phase)
    if now.current is not None and now.current.in_question:
        return Advice("cannot", "in-question", about=tuple(older.bore for older, _ in now.current.in_question))
    if phase.rounds == "openings":
        return _off_idle(record, phase, now)
    advice = next_of(record, phase)
    if now.bore is not None and (advice is None or advice.kind in ("measure", "done")):
        return _read_on(now, advice)
    if advice is None:
        return Advice("done", "coarse")
    if advice.kind not in ("measure", "done", "cannot", *phase.moves):
        return Advice("cannot", "tightening", about=advice.bores)
    return advice


def stops_of(record: VisitRecord, phase: Phase) -> tuple[Reason, ...]:
    """Which figures of the phase are outside the shop's limits."""
    return status_of(record, phase).stops


def waits_for(record: VisitRecord, phase: Phase) -> Reason | None:
    """What has to be done before the engine is read in a phase; None for nothing."""
    gate = gate_of(record, phase.slug)
    return gate.closed or gate.waits


def to_read(record: VisitRecord, phase: Phase, advice: Advice) -> tuple[ToRead, ...]:
    """The readings that a step asks for, in their order; none when a round has to be begun first."""
    now = next_reading(record, phase)
    if advice.kind != "measure" or (now.bore is None and phase.rounds == "openings"):
        return ()
    if now.kind == "closing" and now.bore is not None:
        return (ToRead(now.round_number, now.bore, "closing"),)
    read = now.current.latest if now.current is not None else {}
    once_more = now.bore is None
    return tuple(
        ToRead(now.round_number, bore, "again" if once_more or bore in read else "turn") for bore in advice.bores
    )


def lever(record: VisitRecord, phase: Phase, advice: Advice) -> tuple[float, bool]:
    """What holds the central lever for a step [m], 0 at idle, and whether it is reached from above.

    A step whose ``why`` is ``both_ways`` or ``wider_opening`` asks for a round to be begun like that.
    """
    now, found = (
        next_reading(record, phase),
        balance_of(record) if advice.why in ("both_ways", "wider_opening") else None,
    )
    if found is not None and now.bore is None:
        return found.extra_travel, advice.why == "both_ways"
    return now.opening, now.from_above and now.bore is not None


def _read_on(now: NextReading, advice: Advice | None) -> Advice:
    """What the round asks for: the bores that the brain doubts ahead of their turn, the rest in theirs."""
    assert now.bore is not None
    if now.kind == "closing":
        return Advice("measure", "close-round", bores=(now.bore,))
    read = now.current.latest if now.current is not None else {}
    asked = tuple(bore for bore in advice.bores if bore not in read) if advice is not None else ()
    if advice is not None and advice.kind == "measure" and asked:
        return Advice("measure", advice.why, bores=asked, about=advice.about)
    return Advice("measure", "unread" if now.current is not None else "first-round", bores=(now.bore, *now.follow))


def _preset(record: VisitRecord, phase: Phase) -> Advice:
    if not needs_preset(record) or (phase.slug, "preset-turns") in record.checks:
        return Advice("done", "nothing-read")
    return Advice("stop", "preset", turns=starting(record).turns, bores=record.layout.bores)


def starting(record: VisitRecord) -> Preset:
    """The turns to start a cold engine from, counted from the blade recorded under the stop screws, else the shop's."""
    engine, layout = record.engine, record.layout
    laid = record.checks.get((COLD_PRESET.slug, "base-blade"))
    return starting_turns(
        engine.displacement,
        len(layout.bores),
        engine.idle_speed,
        record.hardware,
        laid.number * THOU if laid is not None and laid.number else record.settings.base_blade,
        len(layout.bypass),
    )


def _off_idle(record: VisitRecord, phase: Phase, now: NextReading) -> Advice:
    if len(record.layout.banks) < 2:
        return Advice("done", "single")
    found = balance_of(record)
    if now.bore is not None and (found is None or now.current is not None or not found.flats):
        return _read_on(now, None)
    if found is None:
        return Advice("cannot", "idle")
    if balanced(record, found):
        return Advice("done", "balanced")
    if found.flats and found.bank is not None:
        bores = record.layout.bank(found.bank).bores
        return Advice("link", "link", bank=found.bank, flats=found.flats, bores=bores)
    read = found.extra in ("again", "both_ways", "wider_opening")
    return Advice("measure" if read else "cannot", found.extra)
