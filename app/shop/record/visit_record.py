"""A visit as it was recorded: plain facts, in order, for the rules and the brain to look at. No SQL, no clock."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from itertools import takewhile
from typing import Any

from app.shop.procedure.phases import COLD_PRESET, PHASES
from app.shop.record.measures import RECORDED, Units
from app.shop.record.settings import DEFAULTS, Settings
from app.shop.store.idempotency import current
from app.shop.store.tables import (
    CheckRow,
    Correction,
    Engine,
    Fitting,
    MeterRow,
    MoveRow,
    Override,
    RoundRow,
    Row,
    SignOff,
    Visit,
)
from app.sync.engine.adjusters.bypass_screw import BYPASS_BASE
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.events import BypassTurn, Event, IdleSpeed, Meter, Move, Place, Reading
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout
from app.sync.engine.units import CFM, IN_HG, KG_PER_HOUR, KPA, MM_HG, REV_PER_MIN

TAKEN_BACK = "taken back"
"""The text of a check that takes back the one it supersedes."""

SPEEDS = ("idle-speed", "idle")
"""The items, of any phase, that tell how fast the engine idles: rev/min."""

UNITS = {"kg/h": KG_PER_HOUR, "cfm": CFM, "kPa": KPA, "inHg": IN_HG, "mmHg": MM_HG}
"""What a meter may read in, as multiples of the base unit."""


@dataclass(frozen=True, slots=True)
class MeterReading:
    """A row of the table ``reading``: one value as the meter showed it, or word that the bore was skipped.

    There are more of these than of all other rows together, and they are looked at most, so the story holds them as
    plain values. The fields are in the order of ``visits.READINGS``.
    """

    ident: int
    key: str
    payload: str
    round_id: int
    bore: int
    kind: str
    value: float | None
    unit: str
    why: str
    by: str
    at: str
    supersedes_id: int | None


@dataclass(frozen=True)
class Round:
    """One pass over the bores, with every reading ever entered in it, oldest first."""

    row: RoundRow
    entered: tuple[MeterReading, ...]

    def plus(self, entered: MeterReading) -> "Round":
        """This round with one more reading, and with what is asked of every round, worked out from what it was here."""
        later = Round(self.row, (*self.entered, entered))
        known: dict[str, object] = {"newest": entered.ident}
        if entered.supersedes_id is None and entered.value is not None:
            known["readings"] = [*self.readings, entered]
            known["latest"] = self.latest if entered.kind == "closing" else {**self.latest, entered.bore: entered}
            known["closing"] = self.closing or (entered if entered.kind == "closing" else None)
        vars(later).update(known)
        return later

    @cached_property
    def readings(self) -> list[MeterReading]:
        """The readings that stand: not superseded, skips left out."""
        return [r for r in current(self.entered) if r.value is not None]

    @property
    def skipped(self) -> dict[int, MeterReading]:
        """The bores skipped and not read after all."""
        read = {r.bore for r in self.readings}
        return {r.bore: r for r in current(self.entered) if r.value is None and r.bore not in read}

    @cached_property
    def latest(self) -> dict[int, MeterReading]:
        """The newest standing reading of each bore, the closing one apart."""
        return {r.bore: r for r in self.readings if r.kind != "closing"}

    @cached_property
    def closing(self) -> MeterReading | None:
        """The reading that ended the round."""
        return next((r for r in self.readings if r.kind == "closing"), None)

    @property
    def closed(self) -> bool:
        """Whether the first bore was read again to end the round."""
        return self.closing is not None

    @cached_property
    def newest(self) -> int:
        """The id of the newest reading entered, 0 when there is none."""
        return max((r.ident for r in self.entered), default=0)

    @cached_property
    def in_question(self) -> list[tuple[MeterReading, MeterReading]]:
        """Pairs of readings of one bore's turn, older first, each entered without sight of the other."""
        first: dict[tuple[str, int], MeterReading] = {}
        pairs = []
        for reading in self.readings:
            if reading.kind in ("turn", "closing"):
                older = first.setdefault((reading.kind, reading.bore), reading)
                if older is not reading:
                    pairs.append((older, reading))
        return pairs

    def first_bore(self) -> int | None:
        """The bore read first, which the closing reading goes back to; a correction of it changes nothing in that."""
        return next((r.bore for r in self.entered if r.bore in self.latest and r.value is not None), None)


@dataclass(frozen=True)
class VisitRecord:
    """Everything recorded of one visit.

    ``fitted_before`` is the fitting of the last visit signed off before it, None when there was none; ``before`` is
    that whole visit, with some before it, and ``corrected_before`` the newest correction of any visit before.
    ``repeatability`` is what the meter repeats by its studies up to the sign-off; ``studied`` the newest reading of any
    study when this was read; ``settings`` are the shop's as they were when the visit was opened, ``units`` those it
    shows figures in by now, as of its newest ``setup``.
    """

    engine: Engine
    fitting: Fitting
    layout: Layout
    hardware: Hardware
    visit: Visit
    meter: MeterRow
    rounds: tuple[Round, ...]
    all_moves: tuple[MoveRow, ...]
    all_checks: tuple[CheckRow, ...]
    overrides: tuple[Override, ...]
    sign_off: SignOff | None
    fitted_before: int | None
    before: "VisitRecord | None" = None
    corrections: tuple[Correction, ...] = ()
    repeatability: float | None = None
    place_before: str = ""
    settings: Settings = DEFAULTS
    studied: int = 0
    units: Units = RECORDED
    setup: int = 0
    corrected_before: int = 0

    @cached_property
    def moves(self) -> list[MoveRow]:
        """The moves that stand."""
        return current(self.all_moves)

    @cached_property
    def checks(self) -> dict[tuple[str, str], CheckRow]:
        """The checks that stand, by phase and item: neither superseded nor taken back."""
        return {(c.phase, c.item): c for c in current(self.all_checks) if c.text != TAKEN_BACK}

    @cached_property
    def taken_back(self) -> frozenset[int]:
        """The ids of the checks that were taken back."""
        return frozenset(c.supersedes_id for c in self.all_checks if c.text == TAKEN_BACK and c.supersedes_id)

    def newest_check(self, phase: str, item: str) -> CheckRow | None:
        """The newest row of an item, whether it stands or takes one back."""
        return next((c for c in reversed(self.all_checks) if (c.phase, c.item) == (phase, item)), None)

    def back(self) -> Iterator["VisitRecord"]:
        """This visit and the ones before it, newest first."""
        one: VisitRecord | None = self
        while one is not None:
            yield one
            one = one.before

    def rows(self) -> Iterator[Row]:
        """The rows that the story is made of, but for the readings and the visit before."""
        yield from (self.engine, self.fitting, self.visit, self.meter)
        yield from (one.row for one in self.rounds)
        yield from (*self.all_moves, *self.all_checks, *self.overrides, *self.corrections)
        if self.sign_off is not None:
            yield self.sign_off

    def with_round(self, one: Round) -> "VisitRecord":
        """This story with ``one`` in the place of the round of its number, or after the others."""
        rounds = {r.row.number: r for r in self.rounds} | {one.row.number: one}
        later = replace(self, rounds=tuple(rounds.values()))
        vars(later).update({name: vars(self)[name] for name in APART_FROM_ROUNDS if name in vars(self)})
        before = takewhile(lambda phase: phase.slug != one.row.phase, PHASES)
        later.standings.update({p.slug: self.standings[p.slug] for p in before if p.slug in self.standings})
        return later

    @cached_property
    def standings(self) -> dict[str, Any]:
        """Room for how far each phase is, by its name: see ``progress``."""
        return {}

    @cached_property
    def waits(self) -> dict[str, str]:
        """Room for what has to be seen to before the engine is read in a phase, by its name: see ``progress``."""
        return {}

    @cached_property
    def figures(self) -> dict[tuple[str, str], list[tuple[float, float]]]:
        """By phase and item, every figure ever recorded with when it was read [s], in that order; none taken back."""
        found: dict[tuple[str, str], list[tuple[float, float]]] = {}
        for check in self.all_checks:
            if check.number is not None and check.ident not in self.taken_back:
                found.setdefault((check.phase, check.item), []).append((seconds(check.text or check.at), check.number))
        return {item: sorted(read) for item, read in found.items()}

    def series(self, phase: str, item: str) -> list[tuple[float, float]]:
        """The ``figures`` of one item."""
        return self.figures.get((phase, item), [])

    @property
    def last_move(self) -> int:
        """The id of the newest move, 0 when none was made."""
        return max((m.ident for m in self.all_moves), default=0)

    @property
    def last_reading(self) -> int:
        """The id of the newest reading, 0 when none was entered."""
        return max((r.newest for r in self.rounds), default=0)

    def moved_since(self, one: Round, at_idle: bool = False) -> bool:
        """Whether a move was made after the round's newest reading; ``at_idle`` for those only that change the idle."""
        moves = (m for m in self.moves if not at_idle or kind_of(m.kind).at_idle)
        return any(m.after_reading >= one.newest for m in moves) and bool(one.entered)

    def meter_as_read(self) -> Meter:
        """The meter in base units, for the brain."""
        size = UNITS[self.meter.unit]
        repeats = self.meter.repeatability if self.repeatability is None else self.repeatability
        return Meter("vacuum" if self.meter.quantity == "vacuum" else "flow", self.meter.step * size, repeats)

    def as_read(self, one: Round) -> list[Reading]:
        """The standing readings of a round in base units, in the order they were entered."""
        return [_reading(r) for r in one.readings]

    def as_found(self) -> Round | None:
        """The first closed idle round before any move; the coarse scan of a first fire only when there is no other."""
        first_move = min((m.after_reading for m in self.moves), default=None)
        before = [
            r for r in self.rounds if r.closed and r.row.opening == 0 and (first_move is None or r.newest <= first_move)
        ]
        hot = [r for r in before if r.row.phase != "first-fire"]
        return next(iter(hot or before), None)

    def as_left(self) -> Round | None:
        """The last closed idle round with no move after it."""
        still = [r for r in self.rounds if r.closed and r.row.opening == 0 and not self.moved_since(r)]
        return still[-1] if still else None

    @cached_property
    def all_events(self) -> tuple[Event, ...]:
        """Everything that the brain may learn from the visit: see ``events``."""
        return tuple(self.events())

    def events(self, until: Round | None = None) -> list[Event]:
        """Idle readings once hot, idle speeds and moves as the brain wants them, in the order they happened.

        Of the idle speeds typed between two moves only the last counts: one typed before it was mistyped, or the engine
        not as hot.

        ``until`` leaves out what came after that round, an idle speed of a later phase too.
        """
        newest = until.newest if until else self.last_reading
        hot = [r for r in self.rounds if r.row.opening == 0 and r.row.phase != "first-fire" and 0 < r.newest <= newest]
        stamped: list[tuple[tuple[int, int], Event]] = [
            ((r.ident, 0), _reading(r)) for one in hot for r in one.readings
        ]
        place_of_move = {m.ident: m.after_reading for m in self.all_moves}
        stamped += [
            ((m.after_reading, m.ident), move_of(m))
            for m in self.moves
            if m.phase != "first-fire" and (until is None or m.after_reading < newest)
        ]
        phases = [phase.slug for phase in PHASES]
        so_far = phases if until is None else phases[: phases.index(until.row.phase) + 1]
        typed = (c for c in self.all_checks if c.item in SPEEDS and c.phase in so_far and c.number is not None)
        for after, check in {c.after_move: c for c in typed}.items():
            if check.number is not None and check.ident not in self.taken_back:
                at = (place_of_move.get(after, 0), after)
                stamped.append((at, IdleSpeed(check.number * REV_PER_MIN, seconds(check.at))))
        return [*self.bypass_preset(), *(event for _, event in sorted(stamped, key=lambda pair: pair[0]))]

    def bypass_preset(self) -> Iterator[BypassTurn]:
        """Bypass screws that were preset otherwise than the brain takes them to be, as turns from there."""
        out = self.checks.get((COLD_PRESET.slug, "bypass-turns"))
        if out is not None and out.number is not None and out.number != BYPASS_BASE:
            for bore in sorted(self.layout.bypass):
                yield BypassTurn(bore, out.number - BYPASS_BASE, seconds(out.at))


APART_FROM_ROUNDS = ("moves", "checks", "taken_back", "figures", "waits")
"""What is worked out once for a story and stays true of it when a reading comes in."""


def seconds(at: str) -> float:
    """Seconds of a stored time from a fixed start."""
    return datetime.fromisoformat(at).timestamp()


def _reading(row: MeterReading) -> Reading:
    if row.value is None:
        raise ValueError("a skipped bore has no reading")
    return Reading(row.bore, row.value * UNITS[row.unit], seconds(row.at), row.kind == "closing")


def move_of(row: MoveRow) -> Move:
    """A move as the brain wants it."""
    at = seconds(row.at)
    leaves = tuple(float(leaf) for leaf in row.leaves.split())
    return kind_of(row.kind).move(Place(row.bank, row.near, row.far), row.amount, leaves, at)
