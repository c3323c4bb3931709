"""Everything that is judged of a visit, made once for each revision of it: ``assess``.

Pages, the JSON interface, paper and the telephone read an ``Assessment`` and judge nothing themselves.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from app.shop.assessment.advising import ToRead, in_vain, lever, next_step, starting, to_read
from app.shop.assessment.cold_setting import ColdWork, cold_work
from app.shop.assessment.gates import Gate, gate_of
from app.shop.assessment.progress import PhaseStatus, leads_to_banks, next_status, progress, stale_items
from app.shop.assessment.round_results import evenness_of
from app.shop.assessment.verdicts import balance_of, balanced, rods_are_turnbuckles, said_of, visit_parts
from app.shop.procedure.codes import CautionCode
from app.shop.procedure.doubtful_values import known_roughly_of, last_values_of
from app.shop.procedure.items import Item, Phase
from app.shop.procedure.left_out import left_out_of
from app.shop.procedure.limits import open_stops, range_of
from app.shop.procedure.opening_speed import SpeedDue, speed_due
from app.shop.procedure.parts import Part
from app.shop.procedure.phases import COLD_PRESET, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.read_order import NextReading, next_reading
from app.shop.procedure.recheck import recheck
from app.shop.procedure.running import holds_until, state_of
from app.shop.reasons import Reason
from app.shop.record.entries import MeterReading
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.sync.banks.banks import BankAssessment
from app.sync.engine.adjusters.kind import AdjusterKind
from app.sync.engine.adjusters.registry import own_kinds
from app.sync.estimation.evenness import RoundResult
from app.sync.planning.advice import Advice
from app.sync.planning.preset import Preset


@dataclass(frozen=True, slots=True)
class PhaseAssessment:
    """What is judged in one phase.

    ``gate`` says why nothing may be recorded or read in it now, ``stale`` which of the ``items`` are to be recorded
    again, by slug, as an adjustment was made since. ``due`` is the reading to take next, ``round`` how even the bores
    are in the round in progress, None before two were read, and ``tolerance`` what they are judged by, a fraction of
    the mean. ``step`` is the one next step, with the readings ``to_read`` that it asks for; ``opening`` [m] holds the
    central lever for it, approached ``from_above`` or not. ``banks`` is what the banks do off idle, and ``together``
    whether they open together; ``turnbuckles``: the link rods have a thread at either end. ``waits`` is what has to be
    done before the engine is read, None for nothing and once the visit is signed off. ``preset`` are the turns to start
    a cold engine from, ``cold`` is the setting of all its plates on one feeler, None where there is none, ``parts``
    what the phase goes by. ``cautions`` are what to beware of, ``meter_range`` is what the meter can show,
    ``left_out`` what the bores read before that the round leaves out, ``last_values`` what each bore read last with
    nothing moved since, by bore, ``known_roughly`` what each may read whatever was moved, ``screws`` the kinds of the
    screws of a single bore, by that bore, ``speed`` the engine speed off idle that is to be recorded. ``coarse``: its
    rounds only tell if the engine may be warmed up, and nothing in them is called even.
    """

    record: VisitRecord
    phase: Phase
    status: PhaseStatus
    gate: Gate
    items: tuple[Item, ...]
    stale: frozenset[str]
    due: NextReading
    round: RoundResult | None
    tolerance: float
    step: Advice
    to_read: tuple[ToRead, ...]
    opening: float
    from_above: bool
    banks: BankAssessment | None
    together: bool
    turnbuckles: bool
    waits: Reason | None
    preset: Preset | None
    cold: ColdWork | None
    parts: frozenset[Part]
    cautions: tuple[CautionCode, ...]
    meter_range: Reason
    left_out: Mapping[int, MeterReading]
    last_values: Mapping[int, float]
    known_roughly: Mapping[int, float]
    screws: Mapping[int, tuple[AdjusterKind, ...]]
    speed: SpeedDue | None
    coarse: bool

    @property
    def in_vain(self) -> bool:
        """Whether what the step asks to be read again was read so often that a person has to decide."""
        return in_vain(self.record, self.due, self.banks, self.step)


@dataclass(frozen=True, eq=False)
class Assessment:
    """What is judged of one revision of a visit.

    It holds ``until`` a moment [s] at which something runs out of itself, and not before the time of its record.

    ``goes_on`` is the phase to go on with, None when all are done; ``current`` the first that is not done, else the
    last one. ``to_banks``: the complaint leads straight to the bank balance. ``recheck`` says why it is to be read hot
    again before anything is adjusted. ``stopped``: a figure beyond a limit stands without cause and remedy.
    ``runs``: the engine was started or read in this visit, and nothing says that it stands.
    """

    record: VisitRecord
    statuses: tuple[PhaseStatus, ...]
    goes_on: PhaseStatus | None
    current: Phase
    to_banks: bool
    recheck: Reason | None
    until: float
    stopped: bool
    runs: bool
    _phases: dict[str, PhaseAssessment] = field(default_factory=dict, repr=False)

    def holds(self, now: float | None) -> bool:
        """Whether it is what would be judged of the same rows at ``now`` [s]."""
        at = self.record.now
        return now == at or (now is not None and at is not None and at <= now <= self.until)

    def of(self, phase: Phase) -> PhaseAssessment:
        """What is judged in a phase, worked out when it is first asked for."""
        if phase.slug not in self._phases:
            self._phases[phase.slug] = _assess_phase(self, phase)
        return self._phases[phase.slug]

    def status(self, phase: Phase) -> PhaseStatus:
        """How far a phase is."""
        return next(status for status in self.statuses if status.phase is phase)

    def evenness(self, one: Round) -> RoundResult:
        """How even the bores of a round of this visit stand, by the tolerance of its phase.

        Raises ValueError when nothing was read in it.
        """
        return said_of(self.record, one, self.record.settings.window(one.row.phase))

    def fine_evenness(self, one: Round) -> RoundResult:
        """The same by the fine tolerance, whatever the phase of the round."""
        return said_of(self.record, one, self.record.settings.fine_window)

    @cached_property
    def as_found(self) -> RoundResult | None:
        """How even the engine was found, by the fine tolerance; None while that is not known."""
        found = self.record.as_found()
        return self.fine_evenness(found) if found is not None else None

    @cached_property
    def as_left(self) -> RoundResult | None:
        """How even the engine was left, or stands by now, by the fine tolerance; None while that is not known."""
        left = self.record.as_left()
        return self.fine_evenness(left) if left is not None else None

    @cached_property
    def left_before(self) -> RoundResult | None:
        """How even the visit before left the engine, by the fine tolerance it was judged by; None without one."""
        before = self.record.before
        left = before.as_left() if before is not None else None
        if before is None or left is None:
            return None
        return evenness_of(before, left, before.settings.fine_window)


def assess(record: VisitRecord) -> Assessment:
    """Judge a visit as it was recorded."""
    statuses = progress(record)
    status = next(one for one in statuses if one.phase is HEAT_SOAKED)
    return Assessment(
        record,
        statuses,
        goes_on=next_status(record, statuses),
        current=next((one.phase for one in statuses if not one.done), LOCK_DOWN),
        to_banks=not status.done and leads_to_banks(record),
        recheck=recheck(record),
        until=holds_until(record),
        stopped=bool(open_stops(record)),
        runs=bool(record.engine_events or record.rounds) and state_of(record).stands is None,
    )


def _assess_phase(assessment: Assessment, phase: Phase) -> PhaseAssessment:
    record = assessment.record
    status, due = assessment.status(phase), next_reading(record, phase)
    preset = starting(record) if phase is COLD_PRESET and not record.layout.electronic else None
    banks = balance_of(record) if phase.rounds == "openings" else None
    step = next_step(record, status, due, banks)
    opening, from_above = lever(record, due, banks, step)
    gate = gate_of(record, phase.slug, assessment.status)
    tolerance = record.settings.window(phase.slug) if phase.rounds != "none" else 0.0
    left_out = left_out_of(record, phase.slug, due.current).latest
    told = due.current.latest if due.current is not None and due.current.gone_by else {}
    read = bool(told) and len({**left_out, **told}) >= min(2, len(record.layout.bores))
    return PhaseAssessment(
        record=record,
        phase=phase,
        status=status,
        gate=gate,
        items=status.items,
        stale=stale_items(record, phase, status.items),
        due=due,
        round=said_of(record, due.current, tolerance) if due.current is not None and read else None,
        tolerance=tolerance,
        step=step,
        to_read=to_read(phase, due, step),
        opening=opening,
        from_above=from_above,
        banks=banks,
        together=banks is not None and balanced(record, banks),
        turnbuckles=rods_are_turnbuckles(record),
        waits=None if record.sign_off is not None else gate.closed or gate.waits,
        preset=preset,
        cold=cold_work(record, preset) if preset is not None else None,
        parts=visit_parts(record),
        cautions=phase.cautions_at(record.visit.place, visit_parts(record)),
        meter_range=range_of(record.meter),
        left_out=left_out,
        last_values=last_values_of(record, phase, due),
        known_roughly=known_roughly_of(record, due) if phase.rounds != "none" else {},
        screws=own_kinds(record.layout),
        speed=None if gate.closed else speed_due(record, phase, due),
        coarse=phase.rounds == "coarse",
    )
