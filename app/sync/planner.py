"""The one next move at idle: which adjuster, how far, or which bore to read first.

A proportional rule: every bore beyond the guard is brought to the mean by the adjuster that acts at it, nearest to the
stop screw first, since what is set there carries along everything beyond.
"""

import itertools
from collections.abc import Sequence

from app.sync.advice import Advice, Expected
from app.sync.events import BladeReset, Event, IdleSpeed, Meter, Reading
from app.sync.hardware import Hardware
from app.sync.layout import Layout
from app.sync.linkage import IDLE_GAP, turns_between
from app.sync.rounds import reading_sd

GUARD = 0.8
"""Part of the window beyond which a bore is put right: what is left is for meter and hand."""

SIXTEENTH = 1 / 16
MOST_TURNS = 1.0


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

    ``why`` is one of: ``first-round``, ``after-move``, ``close-round``, ``stop-bank``, ``blade``, ``even``, ``finest``.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``meter`` read with; ``events`` so far, oldest first;
    ``wanted_speed`` [rev/s]; ``blades`` owned, single leaves [m]; ``window`` half width as a fraction of the mean;
    ``displacement`` [m3] of the whole engine.
    """
    latest = {e.bore: e for e in events if isinstance(e, Reading)}
    moved_at = max((n for n, e in enumerate(events) if not isinstance(e, Reading | IdleSpeed)), default=-1)
    since = [e for e in events[moved_at + 1 :] if isinstance(e, Reading)]
    unread = tuple(bore for bore in layout.bores if bore not in {e.bore for e in since})
    if unread:
        return Advice("measure", "first-round" if len(latest) < len(layout.bores) else "after-move", bores=unread)
    if not any(e.closing for e in since):
        return Advice("measure", "close-round", bores=(since[0].bore,))
    mean = sum(latest[bore].value for bore in layout.bores) / len(layout.bores)
    opening = {bore: _opening(latest[bore].value / mean, meter) for bore in layout.bores}
    for bank in layout.banks:
        off = [opening[bore] for bore in bank.bores]
        middle = (min(off) + max(off)) / 2
        if len(layout.banks) > 1 and abs(middle) > GUARD * window or abs(opening[bank.stop]) > window:
            wrong = middle if abs(middle) > GUARD * window else opening[bank.stop]
            turns = SIXTEENTH * round(turns_between(IDLE_GAP * (1 + wrong), IDLE_GAP, hardware) / SIXTEENTH)
            if 0 < abs(turns) <= MOST_TURNS:
                return Advice("stop", "stop-bank", bank=bank.name, turns=turns, bores=bank.bores)
    worst = next((c for c in layout.couplers() if abs(opening[c.far]) > GUARD * window), None)
    sizes = _stacks(blades)
    if worst is None or not sizes:
        return Advice("done", "even" if worst is None else "finest")
    gap = _gap_now(events, worst.far) * (1 - opening[worst.far])
    leaves = min(sizes, key=lambda stack: (abs(sum(stack) - gap), len(stack), stack))
    carried = layout.bank_of(worst.far).beyond(worst)
    value = latest[worst.far].value / (1 + (opening[worst.far] if meter.quantity == "flow" else -opening[worst.far]))
    band = 2 * reading_sd(value, meter)
    return Advice(
        "blade", "blade", near=worst.near, far=worst.far, leaves=leaves, bores=carried,
        expected={worst.far: Expected(value, value - band, value + band)},
    )  # fmt: skip


def _opening(part: float, meter: Meter) -> float:
    """How far a plate stands from the mean, as a fraction, positive when wide."""
    return part - 1 if meter.quantity == "flow" else 1 - part


def _gap_now(events: Sequence[Event], bore: int) -> float:
    """Gap a bore was last set to on a blade [m], or the usual one."""
    return next((e.gap for e in reversed(events) if isinstance(e, BladeReset) and e.far == bore), IDLE_GAP)


def _stacks(blades: Sequence[float]) -> tuple[tuple[float, ...], ...]:
    """Every blade that one leaf or two make."""
    leaves = sorted(set(blades))
    return tuple((leaf,) for leaf in leaves) + tuple(itertools.combinations(leaves, 2))
