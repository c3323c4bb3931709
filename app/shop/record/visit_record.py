"""A visit as it was recorded: frozen values, in order, for the rules and the estimator to look at. No SQL, no clock."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from operator import attrgetter, itemgetter

from app.shop.record.entries import (
    CheckEntry,
    CorrectionEntry,
    ElsewhereEntry,
    EngineEntry,
    EngineEventEntry,
    FittingEntry,
    MeterEntry,
    MoveEntry,
    Repeats,
    SignOffEntry,
    SpeedEntry,
    StopEndEntry,
    VisitEntry,
    WaiverEntry,
)
from app.shop.record.intake import Intake, intake_of
from app.shop.record.measures import Units
from app.shop.record.rounds import UNITS, Round, fill, like, seconds
from app.shop.record.settings import Settings
from app.shop.record.superseding import current, places
from app.sync.engine.adjusters.registry import kind_of, kinds_with_gain
from app.sync.engine.engine_air import Ambient, day_of
from app.sync.engine.events import ColdSetting, Event, IdleSpeed, Meter, Move, Place
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout
from app.sync.engine.units import KPA, REV_PER_MIN, ZERO_CELSIUS

TAKEN_BACK = "taken back"
"""The text of a check that takes back the one it supersedes."""

MISTAKEN = "opened-by-mistake"
"""The gate of a waiver that stands for the whole visit: it was opened by mistake, and ended with nothing in it."""

SPEEDS = ("idle-speed", "idle")
"""The items, of any phase, that tell how fast the engine idles: rpm."""

AIR = ("air-pressure", "air-temperature")
"""The items, of any phase, that tell the air of the day: kPa absolute and degrees Celsius."""

IDLE_CONTROL = (("heat-soaked-recheck", "idle-control"), ("lock-down", "idle-control-back"))
"""The items that tell that nothing but the plates holds the idle, and that a controller does so again."""

PHASE_ORDER = ("cold-preset", "first-fire", "heat-soaked-recheck", "part-throttle-bank-balance", "lock-down")
"""The phases in their order, by the names that rows carry; ``procedure.phases`` says what each is."""


@dataclass(frozen=True, eq=False)
class VisitRecord:
    """Everything recorded of one visit.

    ``fitted_before`` is the fitting of the last visit signed off before it, None when there was none; ``before`` is
    that whole visit, with some before it, and ``corrected_before`` the newest correction of any visit before.
    ``repeatability`` is what the meter repeats by its studies up to the sign-off; ``studied`` the newest reading of any
    study when this was read; ``settings`` are the shop's as they were when the visit was opened, ``units`` those it
    shows figures in by now, as of its newest ``setup``. ``simulated``: the engine is one to train on, ``rough``: one
    that runs rough for a cause that its tests show. ``now`` [s] is the shop computer's own time when this was asked
    for; None where no clock was asked: time then stands still at the newest row.

    ``elsewhere`` is the newest word on which store the visit belongs to, None for this one.

    ``moves`` are those that stand of the engine as it runs, in the order they were made, ``cold_settings`` the plates
    set on a feeler before it ever ran, in theirs; ``first_told``, by each row of a move, the one that it
    continues, which says where it stands in that order, and ``last_move`` and ``last_idle_move`` the last of those that
    stand, 0 for none. A check is compared with these by its ``after_move``. ``newest_move`` is the newest row of any.
    """

    engine: EngineEntry
    fitting: FittingEntry
    layout: Layout
    hardware: Hardware
    visit: VisitEntry
    meter: MeterEntry
    rounds: tuple[Round, ...]
    all_moves: tuple[MoveEntry, ...]
    all_checks: tuple[CheckEntry, ...]
    overrides: tuple[WaiverEntry, ...]
    sign_off: SignOffEntry | None
    fitted_before: int | None
    place_before: str
    corrected_before: int
    corrections: tuple[CorrectionEntry, ...]
    repeatability: Repeats | None
    studied: int
    settings: Settings
    units: Units
    setup: int
    simulated: bool
    rough: bool
    engine_events: tuple[EngineEventEntry, ...]
    stop_ends: tuple[StopEndEntry, ...]
    elsewhere: ElsewhereEntry | None
    before: "VisitRecord | None" = None
    now: float | None = None
    moves: tuple[MoveEntry, ...] = field(init=False)
    cold_settings: tuple[MoveEntry, ...] = field(init=False)
    checks: dict[tuple[str, str], CheckEntry] = field(init=False)
    taken_back: frozenset[int] = field(init=False)
    first_told: dict[int, int] = field(init=False)
    newest_move: int = field(init=False)
    last_move: int = field(init=False)
    last_idle_move: int = field(init=False)
    last_reading: int = field(init=False)
    last_speed: int = field(init=False)

    def __post_init__(self) -> None:
        checks = current(self.all_checks)
        first_told = places(self.all_moves)
        standing = [m for m in current(self.all_moves) if not m.taken_back]
        moves, cold = list[MoveEntry](), list[MoveEntry]()
        for move in sorted(standing, key=lambda m: first_told[m.ident]):  # made_cold, without a call for every move
            (cold if move.leaves and move.phase == PHASE_ORDER[0] else moves).append(move)
        standing_checks = {(c.phase, c.item): c for c in checks if c.text != TAKEN_BACK}
        fill(
            self,
            **_of_rounds(self.rounds, standing_checks),
            moves=tuple(moves),
            cold_settings=tuple(cold),
            first_told=first_told,
            checks=standing_checks,
            taken_back=frozenset(
                [c.supersedes_id for c in self.all_checks if c.text == TAKEN_BACK and c.supersedes_id is not None]
            ),
            newest_move=max(first_told, default=0),
            last_move=max([first_told[m.ident] for m in moves], default=0),
            last_idle_move=max([first_told[m.ident] for m in moves if kind_of(m.kind).at_idle], default=0),
        )

    @cached_property
    def phases_read(self) -> frozenset[str]:
        """The phases in which a reading was entered."""
        return frozenset([one.row.phase for one in self.rounds if one.entered])

    @property
    def mistaken(self) -> WaiverEntry | None:
        """Why the visit should never have been opened, where it was ended for that; None for any other."""
        if self.sign_off is None:
            return None
        return next((one for one in self.overrides if one.gate == MISTAKEN), None)

    @property
    def untouched(self) -> bool:
        """Whether nothing that stands was recorded of the engine in this visit."""
        entered = any(one.entered or one.speeds for one in self.rounds)
        noted = self.moves or self.cold_settings or self.checks or self.overrides
        return not (entered or noted or self.engine_events or self.stop_ends)

    @property
    def intake(self) -> Intake | None:
        """What sat on the intakes while they were read; None where it was not told."""
        return intake_of(self.visit.intake, self.visit.intake_note)

    def newest_check(self, phase: str, item: str) -> CheckEntry | None:
        """The newest row of an item, whether it stands or takes one back."""
        return next((c for c in reversed(self.all_checks) if (c.phase, c.item) == (phase, item)), None)

    def judged_at(self, now: float | None) -> "VisitRecord":
        """This record as asked for at ``now`` [s]."""
        if now == self.now:
            return self
        seen = object.__new__(VisitRecord)  # what was worked out goes along, as in a copy
        vars(seen).update(vars(self), now=now)
        return seen

    def back(self) -> Iterator["VisitRecord"]:
        """This visit and the ones before it, newest first."""
        one: VisitRecord | None = self
        while one is not None:
            yield one
            one = one.before

    def with_round(self, one: Round) -> "VisitRecord":
        """This record with ``one`` in the place of the round of its number, or after the others."""
        rounds = {r.row.number: r for r in self.rounds} | {one.row.number: one}
        return like(self, **_of_rounds(tuple(rounds.values()), self.checks))

    def series(self, phase: str, item: str, since: tuple[int, float] = (0, -math.inf)) -> list[tuple[float, float]]:
        """Every figure recorded of an item with when it was read [s], in that order; those undone left out, and those
        in whose place another of the same time was told, as of a mistyped one.

        ``since`` leaves out checks up to that id, and figures read before that time [s].
        """
        after, begun = since
        found = dict[int, tuple[float, float]]()
        for check in self.all_checks:
            if (check.phase, check.item) != (phase, item) or check.number is None or check.ident <= after:
                continue
            if check.ident in self.taken_back:
                continue
            at = seconds(check.text or check.at)
            if check.text and check.supersedes_id in found and found[check.supersedes_id][0] == at:
                del found[check.supersedes_id]
            found[check.ident] = at, check.number
        return [one for one in sorted(found.values()) if one[0] >= begun]

    def moved_since(self, one: Round, at_idle: bool = False) -> bool:
        """Whether a move was made after the round was read; ``at_idle`` for those only that change the idle."""
        moves = (m for m in self.moves if not at_idle or kind_of(m.kind).at_idle)
        return any(m.after_reading >= one.ended for m in moves) and bool(one.entered)

    def moves_before(self, one: Round) -> int:
        """How many moves were made before a round was read; all of them for one that is not begun."""
        return sum(m.after_reading < one.ended for m in self.moves) if one.entered else len(self.moves)

    def speed_in(self, one: Round) -> SpeedEntry | None:
        """The engine speed of a round off idle; None where it was not recorded, or a move came before the readings."""
        newest = next(iter(reversed(one.speeds)), None)
        later = [m for m in self.all_moves if newest is not None and m.ident > newest.after_move]
        moved = any(m.after_reading < one.newest or not one.entered for m in later)
        return None if moved else newest

    @property
    def idles_at(self) -> float | None:
        """The idle speed recorded last [rev/s]; None before the first."""
        seen = [c for c in self.checks.values() if c.item in SPEEDS and c.number is not None]
        newest = max(seen, key=lambda check: check.ident, default=None)
        return newest.number * REV_PER_MIN if newest is not None and newest.number is not None else None

    @property
    def repeats(self) -> Repeats:
        """How the meter repeats: by its studies up to the sign-off, or by the estimate it came with."""
        return self.repeatability or self.meter.estimate

    def meter_as_read(self) -> Meter:
        """The meter in base units, for the estimator."""
        size, repeats = UNITS[self.meter.unit], self.repeats.judged
        if self.meter.quantity == "flow":
            return Meter("flow", self.meter.step * size, repeats)
        return Meter("vacuum", self.meter.step * size, repeats, self.ambient.pressure, self.meter.absolute)

    def as_found(self) -> Round | None:
        """The first closed idle round before any move; the coarse scan of a first fire only when there is no other."""
        first_move = min((m.after_reading for m in self.moves), default=None)
        before = [
            r for r in self.rounds if r.closed and r.row.opening == 0 and (first_move is None or r.ended <= first_move)
        ]
        hot = [r for r in before if r.row.phase != "first-fire"]
        return next(iter(hot or before), None)

    def as_left(self) -> Round | None:
        """The last closed idle round with no move after it."""
        still = [r for r in self.rounds if r.closed and r.row.opening == 0 and not self.moved_since(r)]
        return still[-1] if still else None

    @property
    def read_after_tightening(self) -> bool:
        """Whether the round that speaks for the engine as left was read in lock-down, with everything tightened."""
        left = self.as_left()
        return left is not None and left.row.phase == PHASE_ORDER[-1]

    def events(self, until: Round | None = None, besides: frozenset[int] = frozenset()) -> list[Event]:
        """Idle readings once hot, idle speeds and moves as the estimator takes them, in the order they happened.

        Of the idle speeds typed between two moves only the last counts: one typed before it was mistyped, or the engine
        not as hot.

        ``until`` leaves out what came after that round, an idle speed of a later phase too; ``besides`` are the ids of
        rounds that are left out.
        """
        newest = until.ended if until else self.last_reading
        idle = [r for r in self.rounds if r.row.opening == 0 and r.row.phase != "first-fire"]
        hot = [r for r in idle if 0 < r.ended <= newest and r.row.ident not in besides]
        stamped: list[tuple[tuple[int, int], Event]] = [
            ((one.first_rows[row.ident], 0), reading)
            for one in hot
            for row, reading in zip(one.gone_by, one.in_base_units, strict=True)
        ]
        told = {m.ident: m.after_reading for m in self.all_moves}
        stamped += [
            ((m.after_reading, self.first_told[m.ident]), move_of(m))
            for m in self.moves
            if m.phase != "first-fire" and (until is None or m.after_reading < newest)
        ]
        so_far = PHASE_ORDER if until is None else PHASE_ORDER[: PHASE_ORDER.index(until.row.phase) + 1]
        typed = [c for c in self.all_checks if c.item in SPEEDS and c.phase in so_far and c.number is not None]
        for after, check in {self._move_before(c): c for c in typed}.items():
            if check.number is not None and check.ident not in self.taken_back:
                at = (told.get(after, 0), after)
                stamped.append((at, IdleSpeed(check.number * REV_PER_MIN, seconds(check.at))))
        first = (*(self.set_cold if self.cold_settings else ()), *self.screw_presets)
        return [*first, *[event for _, event in sorted(stamped, key=itemgetter(0))]]

    @cached_property
    def set_cold(self) -> tuple[ColdSetting, ...]:
        """The ``cold_settings`` as the estimator takes them."""
        by = (self.layout, (PHASE_ORDER[0], "hand-gauged") in self.checks)
        return tuple(cold_setting_of(row, *by) for row in self.cold_settings)

    def _move_before(self, check: CheckEntry) -> int:
        """The last move that stands and was made before a check, as it was told first; 0 for none."""
        made = (self.first_told[m.ident] for m in self.moves)
        return max((first for first in made if first <= check.after_move), default=0)

    @cached_property
    def ambient(self) -> Ambient:
        """The air of the day: what was recorded last, else the standard pressure at the shop's altitude."""
        seen = {c.item: c.number for c in sorted(self.checks.values(), key=attrgetter("ident")) if c.item in AIR}
        pressure, celsius = (seen.get(item) for item in AIR)
        return day_of(
            None if pressure is None else pressure * KPA,
            None if celsius is None else celsius + ZERO_CELSIUS,
            self.settings.altitude,
        )

    @cached_property
    def screw_presets(self) -> tuple[Move, ...]:
        """Screws that were preset otherwise than the estimator takes them to be, as turns from there."""
        moves: list[Move] = []
        for kind in kinds_with_gain():
            out = self.checks.get((PHASE_ORDER[0], f"{kind.slug}-turns"))
            if out is not None and out.number is not None and out.number != kind.preset:
                places = sorted(map(kind.place, kind.adjusters(self.layout)), key=lambda place: place.near or 0)
                moves += [kind.move(place, out.number - kind.preset, at=seconds(out.at)) for place in places]
        return tuple(moves)


def _of_rounds(rounds: tuple[Round, ...], checks: dict[tuple[str, str], CheckEntry]) -> dict[str, object]:
    """The fields of a record that follow from its rounds, by name. The rounds are each with or without a controller
    that holds the idle, as it was locked out and put back."""
    if [1 for one in rounds for reading in one.entered if reading.speed is not None]:
        out, back = (checks.get(one) for one in IDLE_CONTROL)
        since = seconds(back.at) if back is not None else math.inf
        rounds = tuple([one.held(out is None or (bool(one.entered) and one.times[0] >= since)) for one in rounds])
    return {
        "rounds": rounds,
        "last_reading": max([one.newest for one in rounds], default=0),
        "last_speed": max([speed.ident for one in rounds for speed in one.speeds], default=0),
    }


def made_cold(row: MoveEntry) -> bool:
    """Whether a row of a move tells of a plate set on a feeler before the engine ever ran."""
    return row.phase == PHASE_ORDER[0] and bool(row.leaves)


def cold_setting_of(row: MoveEntry, layout: Layout, gauged: bool = False) -> ColdSetting:
    """A plate set cold as the estimator takes it; ``gauged`` when the hand that set it was shown to repeat."""
    leaves = tuple(map(float, row.leaves.split()))
    return ColdSetting(row.far or layout.bank(row.bank).stop, sum(leaves), leaves, seconds(row.at), gauged)


def move_of(row: MoveEntry) -> Move:
    """A move as the estimator takes it."""
    at = seconds(row.at)
    leaves = tuple(float(leaf) for leaf in row.leaves.split())
    return kind_of(row.kind).move(Place(row.bank, row.near, row.far), row.amount, leaves, at)
