"""What the brain says of a story: the store's facts handed to ``app.sync``, its answers handed back."""

import math
from collections.abc import Iterable
from functools import lru_cache
from statistics import fmean
from typing import NamedTuple

from app.shop.procedure.items import Phase
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.procedure.read_order import opening_rounds
from app.shop.procedure.recheck import same_air
from app.shop.record.visit_record import Round, Story
from app.sync.banks.banks import BankStory, Opening, balance
from app.sync.engine.events import Event, Meter, Reading
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout
from app.sync.estimation.filter import follow
from app.sync.estimation.posterior import Belief
from app.sync.estimation.prior_transfer import next_visit
from app.sync.planning.advice import Advice
from app.sync.planning.planner import next_move, usual_start
from app.sync.readings.rounds import Evenness, evenness, suspicious

LESSONS_BACK = 3
"""Earlier visits that are learned from; what was before them counts for little by now."""

PLATE_MOVES = ("stop", "blade", "screw", "bypass")

_next_move = lru_cache(maxsize=128)(next_move)
"""The same facts are judged several times for one page: by the phase that is open, by the card, by what is missing."""

Values = tuple[tuple[int, float], ...]
"""By bore."""


@lru_cache(maxsize=128)
def _balance(
    layout: Layout, hardware: Hardware, idle: Values, read: tuple[tuple[float, bool, Values], ...], meter: Meter,
    free_play_proven: bool, joints_tight: bool, idle_times: int, both_hands: bool, gauged_ratio: float | None,
) -> BankStory:  # fmt: skip
    openings = [Opening(lever, dict(values), from_above=above) for lever, above, values in read]
    return balance(
        layout,
        hardware,
        dict(idle),
        openings,
        meter,
        free_play_proven=free_play_proven,
        joints_tight=joints_tight,
        idle_times=idle_times,
        both_hands=both_hands,
        gauged_ratio=gauged_ratio,
    )


def evenness_of(story: Story, one: Round, window: float) -> Evenness:
    """How even the bores of a round stand, judged by a window given as a fraction of the mean."""
    return evenness(story.layout, story.as_read(one), story.meter_as_read(), window)


def next_of(story: Story, phase: Phase, until: Round | None = None) -> Advice | None:
    """The one next move of a phase that is read at idle, as of the round ``until`` or of now; None in the others."""
    if phase.rounds == "coarse":
        return _coarse(story, phase)
    if phase.rounds not in ("fine", "last"):
        return None
    advice = _next_move(
        story.layout,
        story.hardware,
        story.meter_as_read(),
        tuple(story.events(until)),
        story.engine.idle_speed,
        tuple(story.settings.blades),
        story.settings.window(phase.slug),
        story.engine.displacement,
        lessons_of(story),
    )
    skipped = [b for b in advice.bores if story.rounds and b in story.rounds[-1].skipped]
    if advice.kind == "measure" and skipped == list(advice.bores):
        return Advice("cannot", "skipped", about=tuple(skipped))
    return advice


def lessons_of(story: Story, back: int = LESSONS_BACK) -> Belief | None:
    """What the visits signed off before this one taught of the engine and its meter; None where there was none.

    The very same object comes back while nothing of it has changed.
    """
    before = story.before
    if before is None or back == 0:
        return None
    return _taught(
        _Bench(before.layout, before.hardware, before.meter_as_read()),
        before.all_events,
        lessons_of(before, back - 1),
        _Bench(story.layout, story.hardware, story.meter_as_read()),
        story.engine.displacement,
        story.engine.idle_speed,
        story.meter.ident == before.meter.ident,
        same_air(story),
    )


class _Bench(NamedTuple):
    """What a visit is worked on and with."""

    layout: Layout
    hardware: Hardware
    meter: Meter


@lru_cache(maxsize=512)
def _taught(
    then: _Bench,
    events: tuple[Event, ...],
    start: Belief | None,
    now: _Bench,
    displacement: float,
    speed: float,
    same_meter: bool,
    air: bool,
) -> Belief | None:
    """What a visit of these ``events`` taught, and those before it, as ``start``."""
    if start is None and not any(isinstance(event, Reading) for event in events):
        return None
    start = start or usual_start(then.layout, then.hardware, displacement, speed)
    fresh = usual_start(now.layout, now.hardware, displacement, speed)
    alike = same_meter and then.meter.quantity == now.meter.quantity
    return next_visit(follow(start, then.meter, events), fresh, same_meter=alike, same_air=air)


def balance_of(story: Story) -> BankStory | None:
    """How the banks stand off idle; None with one bank or before an idle round and an opening were read."""
    idle = story.as_left() or next((r for r in reversed(story.rounds) if r.closed and r.row.opening == 0), None)
    if len(story.layout.banks) < 2 or idle is None:
        return None
    mine = [r for r in story.rounds if r.row.phase == BANK_BALANCE.slug]
    ways = [(above, opening_rounds(story, mine, above)) for above in (False, True)]
    read = tuple(
        (opening, above, tuple((r.bore, r.value) for r in story.as_read(found[opening])))
        for opening in sorted({opening for _, found in ways for opening in found if opening > 0})
        for above, found in ways
        if opening in found
    )
    if not read:
        return None
    at_idle = _pooled(story.as_read(idle))
    felt = {item for phase, item in story.checks if phase == BANK_BALANCE.slug}
    return _balance(
        story.layout,
        story.hardware,
        tuple((bore, fmean(values)) for bore, values in at_idle.items()),
        read,
        story.meter_as_read(),
        "free-play" in felt,
        "joints-tight" in felt,
        min((len(values) for values in at_idle.values()), default=1),
        two_threads(story),
        _gauged_ratio(story),
    )


def two_threads(story: Story) -> bool:
    """Whether the rods have a thread at either end, one of them left-handed, as was recorded."""
    return (BANK_BALANCE.slug, "both-hands") in story.checks


def _gauged_ratio(story: Story) -> float | None:
    """How much further the second bank's shaft turns than the first's, as a fraction; None until both were gauged."""
    gauged = [story.checks.get((BANK_BALANCE.slug, f"gauged-{which}")) for which in ("first", "second")]
    first, second = (check.number if check is not None else None for check in gauged)
    return second / first - 1 if first and second else None


def _pooled(readings: Iterable[Reading]) -> dict[int, list[float]]:
    """Everything read at each bore."""
    found: dict[int, list[float]] = {}
    for reading in readings:
        found.setdefault(reading.bore, []).append(reading.value)
    return found


def balanced(story: Story, found: BankStory) -> bool:
    """Whether the banks stand close enough at every opening read, or nothing speaks against the links."""
    off_idle = [d for d in found.differences if d.lever_travel > 0]
    return found.cause == "nothing" or all(abs(d.percent) <= 100 * story.settings.bank_window for d in off_idle)


def held_off(story: Story) -> str:
    """The bank that a link turned too far holds off its stop; empty when idle stands as it did before, or was not read.

    Told from the ratio of the banks' means at idle, before the link was turned and after.
    """
    mine = [r for r in story.rounds if r.row.phase == BANK_BALANCE.slug]
    before, after = satisfied_round(story, HEAT_SOAKED), opening_rounds(story, mine).get(0.0)
    if before is None or after is None or len(story.layout.banks) < 2:
        return ""
    first, second = (bank.name for bank in story.layout.banks)
    window = story.settings.idle_bank_window
    then, now = (evenness_of(story, one, window).bank_means for one in (before, after))
    change = math.log(now[second] / now[first] * then[first] / then[second])
    if abs(change) <= window:
        return ""
    opened = change > 0 if story.meter.quantity == "flow" else change < 0
    return second if opened else first


def needs_preset(story: Story) -> bool:
    """Whether this visit starts cold: an engine's first one, and after other hardware was fitted."""
    return story.fitted_before != story.fitting.ident


def satisfied_round(story: Story, phase: Phase) -> Round | None:
    """The closed round that speaks for a phase: its last one, with no plate moved since. A coarse one only looked."""
    mine = [r for r in story.rounds if r.row.phase == phase.slug and r.closed and not r.in_question]
    if phase.rounds == "fine":
        mine = [r for r in mine if not story.moved_since(r, PLATE_MOVES)]
    elif phase.rounds == "last":
        mine = [r for r in mine if not story.moved_since(r)]
    return mine[-1] if mine else None


def even_enough(story: Story, phase: Phase, one: Round) -> bool:
    """Whether a closed round passes: even, or as even as meter, blades and hands can tell."""
    if evenness_of(story, one, story.settings.window(phase.slug)).verdict == "even":
        return True
    advice = next_of(story, phase, one)
    return advice is not None and advice.kind == "done"


def far_off(one: Round, bore: int, value: float) -> bool:
    """Whether a value for a bore stands so far from the others of its round that it is more likely a slip."""
    others = {b: r.value for b, r in one.latest.items() if r.value is not None and b != bore}
    return bore in suspicious({**others, bore: value})


def _coarse(story: Story, phase: Phase) -> Advice | None:
    one = satisfied_round(story, phase)
    if one is None:
        return None
    stopped = any(m.phase == phase.slug and m.kind == "stop" for m in story.moves)
    found = evenness_of(story, one, story.settings.window(phase.slug))
    low = min(found.bank_means, key=lambda name: found.bank_means[name])
    if (
        stopped
        or len(found.bank_means) < 2
        or found.bank_means[low] >= found.mean * (1 - story.settings.coarse_window / 2)
    ):
        return Advice("done", why="coarse")
    return Advice("stop", why="coarse-bank", bank=low, turns=0.125, bores=story.layout.bank(low).bores)
