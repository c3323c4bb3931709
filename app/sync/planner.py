"""The one next move at idle: which adjuster, how far, or which bore to read first.

Every bore's flow is the mean of its readings since it last moved; its edge gap is known from the last blade it was set
on, moved along by whatever was turned since. Flow grows less than in proportion to the gap, so a gap has to move
further than the flow it is to bring. Bores are put right outward from the stop bore, because what is set there carries
along everything beyond; a bore whose readings cannot tell on which side of the window it stands is read again first,
because a reading costs less than a move.
"""

import itertools
import math
import operator
import statistics
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial

from app.sync.advice import Advice, Expected
from app.sync.events import BladeReset, BypassTurn, Event, IdleSpeed, LinkTurn, Meter, Reading, StopTurn
from app.sync.hardware import Hardware
from app.sync.layout import Coupler, Layout
from app.sync.linkage import IDLE_GAP, gap_after_turns, turns_between
from app.sync.rounds import reading_sd
from app.sync.units import REV_PER_MIN

FLOW_POWER = 0.8
"""Per cent of flow for one per cent of gap: less than one, because with one plate per cylinder idle is not choked and
the runner fills behind the plate (this program's choice)."""

EDGE = 0.85
"""Part of the window that a bore is brought inside of: the rest is for what the readings could not see."""

DOUBT = 1.28
"""Standard deviations on either side of the window within which a bore is read again: nine in ten are clear of it."""

MOST_READINGS = 3
"""Readings of a bore at one setting after which its mean decides."""

HAND = 0.06
"""What a hand leaves of flow when it sets a blade: 0.4 thousandths at a gap of 4.5 (this program's choice)."""

HAND_OVER_BORE = 1.3
"""How much more a hand scatters than bores differ, in flow at one and the same blade (this program's choice)."""

MOST_RESETS = 4
"""Resets of one coupler in a row that did not bring its bore right, after which the cause is looked for."""

SIXTEENTH = 1 / 16
MOST_TURNS = 1.0
SPEED_WINDOW = 60 * REV_PER_MIN
SPEED_POWER = 0.8


@dataclass
class _Bore:
    """What is known of one bore: readings since it last moved [kg/s or Pa], and its gap [m] when a blade set it.

    ``constants`` are what its blades taught: ln(flow) less FLOW_POWER ln(gap), one for each blade that was read after.
    """

    readings: list[float] = field(default_factory=list)
    gap: float | None = None
    on_blade: bool = False
    constants: list[float] = field(default_factory=list)

    @property
    def value(self) -> float:
        return statistics.fmean(self.readings)

    def leave(self, meter: Meter) -> None:
        """Learn from the setting that ends now, and forget its readings."""
        if self.on_blade and self.gap is not None and self.readings:
            self.constants.append(math.log(_as_flow(self.value, meter)) - FLOW_POWER * math.log(self.gap))
        self.readings.clear()
        self.on_blade = False


def next_move(
    layout: Layout,
    hardware: Hardware,
    meter: Meter,
    events: Sequence[Event],
    wanted_speed: float,
    blades: Sequence[float],
    window: float,
    displacement: float,
) -> Advice:
    """The one next step towards an even idle.

    ``why`` is one of: ``first-round``, ``after-move``, ``close-round``, ``doubtful``, ``stop-bank``, ``stop-speed``,
    ``blade``, ``even``, ``finest``, ``no-answer``. A vacuum column is taken to fall as a flow would rise.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``meter`` read with; ``events`` so far, oldest first;
    ``wanted_speed`` [rev/s]; ``blades`` owned, single leaves [m]; ``window`` half width as a fraction of the mean;
    ``displacement`` [m3] of the whole engine, above 0.
    """
    if displacement <= 0:
        raise ValueError("an engine has a displacement")
    bores = _follow(layout, hardware, meter, events)
    unread = tuple(bore for bore in layout.bores if not bores[bore].readings)
    if unread:
        ever = {e.bore for e in events if isinstance(e, Reading)}
        return Advice("measure", "after-move" if ever >= set(layout.bores) else "first-round", bores=unread)
    since = _since_last_move(events)
    read = [e for e in since if isinstance(e, Reading)]
    closed = any(e.closing for e in read)
    if not closed and len(since) == len(events):
        return Advice("measure", "close-round", bores=(read[0].bore,))
    opening = _openings(layout, bores, meter, events, window)
    doubtful, outside = _sort(layout, bores, opening, meter, window)
    if move := _move(layout, hardware, meter, events, bores, opening, outside, blades):
        return move
    if doubtful:
        return Advice("measure", "doubtful", bores=doubtful)
    if not closed:
        left = tuple(bore for bore in layout.bores if bore not in {e.bore for e in read})
        return Advice("measure", "close-round", bores=left or (read[0].bore,))
    if move := _for_speed(layout, hardware, since, wanted_speed):
        return move
    return Advice("done", "finest" if outside else "even")


def _follow(layout: Layout, hardware: Hardware, meter: Meter, events: Sequence[Event]) -> dict[int, _Bore]:
    """What every bore is known by after all events."""
    bores = {bore: _Bore() for bore in layout.bores}
    for event in events:
        match event:
            case Reading():
                bores[event.bore].readings.append(event.value)
            case StopTurn():
                _shift(
                    bores,
                    layout.bank(event.bank).bores,
                    meter,
                    partial(gap_after_turns, turns=event.turns, hardware=hardware),
                )
            case BladeReset():
                beyond = layout.bank_of(event.far).beyond(Coupler(event.near, event.far))
                before = bores[event.far].gap
                change = math.nan if before is None else event.gap - before
                _shift(bores, beyond, meter, partial(operator.add, change))
                bores[event.far].gap, bores[event.far].on_blade = event.gap, True
            case BypassTurn():
                bores[event.bore].leave(meter)
            case IdleSpeed() | LinkTurn():
                pass
    return bores


def _shift(bores: dict[int, _Bore], moved: Iterable[int], meter: Meter, to: Callable[[float], float]) -> None:
    for bore in moved:
        known = bores[bore]
        known.leave(meter)
        gap = math.nan if known.gap is None else to(known.gap)
        known.gap = gap if gap > 0 else None


def _openings(
    layout: Layout, bores: dict[int, _Bore], meter: Meter, events: Sequence[Event], window: float
) -> dict[int, float]:
    """How far each plate stands from the flow aimed at, as a fraction of it, positive when wide.

    That flow is the mean of the bores that agree with the middle one, or with the stop bores once a move was made: a
    blade never moves a stop bore, so the aim hardly wanders while the others are brought to it.
    """
    begun = any(isinstance(e, BladeReset | StopTurn) for e in events)
    anchors = [bank.stop for bank in layout.banks] if begun else layout.bores
    anchor = max(statistics.median(bores[bore].value for bore in anchors), 1e-12)
    agreeing = [b.value for b in bores.values() if abs(b.value / anchor - 1) <= window]
    target = statistics.fmean(agreeing) if agreeing else anchor
    sign = 1 if meter.quantity == "flow" else -1
    return {bore: sign * (bores[bore].value / target - 1) for bore in layout.bores}


def _sort(
    layout: Layout, bores: dict[int, _Bore], opening: dict[int, float], meter: Meter, window: float
) -> tuple[tuple[int, ...], set[int]]:
    """The bores to read again before anything is decided, and those that stand outside."""
    doubtful, outside = [], set()
    for bore in layout.bores:
        known = bores[bore]
        off = abs(opening[bore])
        sd = reading_sd(known.value, meter) / max(known.value, 1e-12) / math.sqrt(len(known.readings))
        if abs(off - EDGE * window) < DOUBT * sd and len(known.readings) < MOST_READINGS:
            doubtful.append(bore)
        elif off > EDGE * window:
            outside.add(bore)
    return tuple(doubtful), outside


def _move(
    layout: Layout,
    hardware: Hardware,
    meter: Meter,
    events: Sequence[Event],
    bores: dict[int, _Bore],
    opening: dict[int, float],
    outside: set[int],
    blades: Sequence[float],
) -> Advice | None:
    """The move nearest to a stop bore that brings a bore back inside."""
    begun = any(isinstance(e, BladeReset) for e in events)
    turned = {e.bank for e in events if isinstance(e, StopTurn)}
    for bank in layout.banks:
        off = [opening[b] for b in bank.bores]
        whole = (
            not begun
            and bank.name not in turned
            and len(outside & set(bank.bores)) > 1
            and _helps(statistics.median(off), off)
        )
        wrong = statistics.median(off) if whole else opening[bank.stop]
        turns = _turns_for(wrong, bores[bank.stop].gap or IDLE_GAP, hardware)
        if turns and (whole or bank.stop in outside):
            expected = {b: _expect(bores[b].value, wrong, meter) for b in bank.bores}
            return Advice("stop", "stop-bank", bank=bank.name, turns=turns, bores=bank.bores, expected=expected)
    sizes = _stacks(blades)
    for coupler in layout.couplers():
        if coupler.far not in outside or not sizes:
            continue
        if _in_vain(coupler, events):
            return Advice("cannot", "no-answer", near=coupler.near, far=coupler.far, about=(coupler.far,))
        gap = _gap_wanted(bores, opening, meter, coupler.far)
        leaves = min(sizes, key=lambda stack: (abs(sum(stack) - gap), len(stack), stack))
        carried = layout.bank_of(coupler.far).beyond(coupler)
        value = _expect(bores[coupler.far].value, opening[coupler.far], meter)
        return Advice(
            "blade",
            "blade",
            near=coupler.near,
            far=coupler.far,
            leaves=leaves,
            bores=carried,
            expected={coupler.far: value},
        )
    return None


def _in_vain(coupler: Coupler, events: Sequence[Event]) -> bool:
    """Whether the last moves were all resets of this one coupler."""
    last = [e for e in events if not isinstance(e, Reading | IdleSpeed)][-MOST_RESETS:]
    here = [isinstance(e, BladeReset) and (e.near, e.far) == (coupler.near, coupler.far) for e in last]
    return len(here) == MOST_RESETS and all(here)


def _helps(wrong: float, openings: Sequence[float]) -> bool:
    """Whether taking ``wrong`` off a whole bank brings its worst bore much closer: a bank that is off as a whole."""
    return max(abs(o - wrong) for o in openings) < 0.6 * max(abs(o) for o in openings)


def _turns_for(wrong: float, gap: float, hardware: Hardware) -> float:
    """Sixteenths of a turn that take a bank's flow from ``wrong`` beyond even to even."""
    if wrong <= -0.9:
        return MOST_TURNS
    target = gap * (1 / (1 + wrong)) ** (1 / FLOW_POWER)
    turns = SIXTEENTH * round(turns_between(gap, target, hardware) / SIXTEENTH)
    return max(-MOST_TURNS, min(MOST_TURNS, turns))


def _gap_wanted(bores: dict[int, _Bore], opening: dict[int, float], meter: Meter, bore: int) -> float:
    """The gap that brings a bore even, from what blades did on this engine and, less and less doubted, at this bore.

    One blade at a bore says as much of the hand that laid it as of the bore, so its lesson counts in part only.
    """
    known = bores[bore]
    wanted = math.log(_as_flow(known.value, meter) / max(1 + opening[bore], 0.1))
    taught = {n: _constants(b, meter) for n, b in bores.items()}
    everywhere = [constant for constants in taught.values() for constant in constants]
    if not everywhere:
        return IDLE_GAP
    constant = statistics.fmean(everywhere)
    if own := taught[bore]:
        trust = len(own) / (len(own) + HAND_OVER_BORE**2)
        constant += trust * (statistics.fmean(own) - constant)
    return math.exp((wanted - constant) / FLOW_POWER)


def _constants(bore: _Bore, meter: Meter) -> list[float]:
    """What a bore's blades taught, the present one with them."""
    if bore.on_blade and bore.gap is not None and bore.readings:
        return [*bore.constants, math.log(_as_flow(bore.value, meter)) - FLOW_POWER * math.log(bore.gap)]
    return bore.constants


def _as_flow(value: float, meter: Meter) -> float:
    """A reading as something that grows with the flow: a vacuum column falls as the flow rises."""
    value = max(value, 1e-12)
    return value if meter.quantity == "flow" else 1 / value


def _expect(value: float, wrong: float, meter: Meter) -> Expected:
    """The reading to expect once ``wrong`` is taken off the opening, and its band for meter and hand."""
    to = value / (1 + wrong) if meter.quantity == "flow" else value / max(1 - wrong, 0.1)
    band = 1.645 * math.hypot(reading_sd(to, meter), HAND * to)
    return Expected(to, to - band, to + band)


def _for_speed(layout: Layout, hardware: Hardware, since: Sequence[Event], wanted: float) -> Advice | None:
    """One bank's part of bringing an even idle to the speed wanted, when the speed was read since the last move."""
    speeds = [e.speed for e in since if isinstance(e, IdleSpeed)]
    if not speeds or abs(speeds[-1] - wanted) <= SPEED_WINDOW:
        return None
    wrong = (speeds[-1] / wanted) ** (1 / SPEED_POWER) - 1
    bank = layout.banks[0]
    turns = _turns_for(wrong, IDLE_GAP, hardware)
    return Advice("stop", "stop-speed", bank=bank.name, turns=turns, bores=bank.bores) if turns else None


def _since_last_move(events: Sequence[Event]) -> Sequence[Event]:
    last = max((n for n, e in enumerate(events) if not isinstance(e, Reading | IdleSpeed)), default=-1)
    return events[last + 1 :]


def _stacks(blades: Sequence[float]) -> list[tuple[float, ...]]:
    """Every blade a hand can lay: one leaf, or two different ones stacked."""
    return [(leaf,) for leaf in blades] + list(itertools.combinations(blades, 2))
