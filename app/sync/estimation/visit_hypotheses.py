"""What may be true of a whole visit, judged by all that was read in it: the hypotheses.

That all is sound; that one adjuster keeps a part of every move, or nothing; that the plate of one bore comes to rest
beside its place; each with a meter that repeats as told, or worse. Each follows the visit by a filter of its own, and
how likely all readings are under it adds up. Nothing that happens in between takes that back.
"""

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from types import MappingProxyType
from typing import NamedTuple, TypeVar

import numpy as np

from app.sync.engine.adjusters.registry import adjuster_of, kind_at, kind_of, moved_bores
from app.sync.engine.events import Event, Meter, Move, Reading
from app.sync.engine.hardware import NINE_IN_TEN
from app.sync.engine.layout import Adjuster
from app.sync.estimation.filter import MISREAD_LOG_ODDS, MISREAD_SD, at, foretold_at, learn, stacked
from app.sync.estimation.foretold import Roughness, Surprise, band_of_either
from app.sync.estimation.posterior import Floats, Posterior
from app.sync.estimation.predict import predict, set_cold
from app.sync.readings.repeat_checks import without_misreads
from app.sync.readings.trail import Seen, Stage, Trail

T = TypeVar("T")

NOISE_SD = 0.45
"""How far a meter may repeat beside what was told, as the standard deviation of a logarithm (our judgement)."""

NOISES = (1.0, 2**0.5, 2.0, 2**1.5)
"""Times the told repeatability that a meter may repeat by. None is below 1: what the filter allows for beside makes a
sound meter look better than it is (our judgement)."""

KEPT = {0.0: 0.003, 0.4: 0.0015}
"""Parts of every move that an adjuster may keep, and how often one of those moved does (our judgement)."""

LOST_MOTION = {0.0035: 0.005, 0.008: 0.003}
"""Standard deviations by which a plate may come to rest beside its place [rad], and how often one does
(our judgement)."""

FORGET = 8.0
"""Odds against a hypothesis, as a logarithm, from which it is followed no further (our judgement)."""

COUNTS = 0.01
"""Chance of a hypothesis from which what it says of the bores is counted (our judgement)."""

MOST_DOUBTED = 16
"""Hypotheses at most, the likeliest, by which a figure was misread that are followed past a move (our judgement)."""


@dataclass(frozen=True, slots=True)
class VisitHypothesis:
    """One sentence about a whole visit: an ``adjuster`` keeps the part ``kept`` of every move; the plate of a ``bore``
    comes to rest within ``lost_motion`` [rad], a standard deviation; the meter repeats to ``noise`` times what was
    told. ``misread`` is the bore of which one figure is wrong that was read once between two moves."""

    noise: float = 1.0
    adjuster: Adjuster | None = None
    kept: float = 1.0
    bore: int | None = None
    lost_motion: float = 0.0
    misread: int | None = None


class HypothesisBank(NamedTuple):
    """Hypotheses with a stack of what each believes; its ``log_evidence`` counts how often each is true at all.
    ``suspected`` are the adjusters that were moved: what was ruled out of one stays so for the visit."""

    hypotheses: tuple[VisitHypothesis, ...]
    stack: Posterior
    suspected: frozenset[Adjuster] = frozenset()

    @property
    def sound(self) -> list[int]:
        """The places of the hypotheses that nothing is wrong with the engine."""
        return [n for n, one in enumerate(self.hypotheses) if one.adjuster is None and one.bore is None]

    @property
    def chances(self) -> Floats:
        """The chance of each, shape (hypotheses,)."""
        told = np.asarray(self.stack.log_evidence)
        chance: Floats = np.exp(told - told.max())
        chance /= chance.sum()
        return chance


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """What the hypotheses of a visit come to. ``posterior`` and ``meter`` are what to plan with; ``likely`` is a stack
    of what the hypotheses say that are not out of the question, and ``chances`` how likely each is, shape (likely,), 1
    together; ``unanswering`` and ``loose`` the chance that each adjuster does not keep what it is moved by, and that
    each bore's plate has lost motion; ``noise`` times what was told the meter repeats by; ``surprise``, how far moves
    ended from what was foretold."""

    posterior: Posterior
    meter: Meter
    likely: Posterior
    chances: Floats
    noise: float
    unanswering: Mapping[Adjuster, float]
    loose: Mapping[int, float]
    surprise: Surprise


def judged(start: Posterior, meter: Meter, events: tuple[Event, ...]) -> Judged:
    """What all that happened says of the engine and the meter; readings that cannot be are left out of it.

    Parameters: ``start`` before any reading of the visit; ``meter`` read with, as told; ``events`` oldest first.
    """
    believable = tuple(without_misreads(events))
    moved, seen = _trail(start, meter).after(believable, lambda one, stage: _passed(one, meter, stage))
    bank = _read_in(moved, seen, meter)
    chance = bank.chances
    loose, noise, place = _planned_with(bank, chance)
    return Judged(
        at(bank.stack, place),
        _as_noisy(meter, noise),
        *_likely(bank, chance),
        noise,
        _summed([one.adjuster for one in bank.hypotheses], chance),
        loose,
        _surprised(moved, seen),
    )


def bands_after(found: Judged, move: Move, bores: Sequence[int]) -> dict[int, tuple[float, float, float]]:
    """The reading to expect at bores after a move, with the ends of the band that holds nine of ten [kg/s or Pa].

    Where it is in doubt that the adjuster answers at all, the band holds nine of ten of both together: where it moves
    as it is to, and where nothing moves.

    Parameters: ``found`` of the visit; ``move`` to be made; ``bores`` of the layout that it acts on.
    """
    after = foretold_at(predict(found.posterior, move), found.meter, bores)
    times, doubt = found.surprise.nine_in_ten, found.unanswering.get(adjuster_of(move), 0.0)
    if doubt < COUNTS:
        return {bore: (value, max(value - times * sd, 0.0), value + times * sd) for bore, (value, sd) in after.items()}
    still, wider = foretold_at(found.posterior, found.meter, bores), times / NINE_IN_TEN
    bands = {}
    for bore, (value, sd) in after.items():
        stands, beside = still[bore]
        bands[bore] = (value, *band_of_either((value, wider * sd), (stands, wider * beside), doubt))
    return bands


def _planned_with(bank: HypothesisBank, chance: Floats) -> tuple[dict[int, float], float, int]:
    """The chance that each bore's plate has lost motion, how much rougher than told the meter is taken to be, and the
    place of the hypothesis that is planned with; ``chance`` of each hypothesis."""
    loose = _summed([one.bore for one in bank.hypotheses], chance)
    logs = np.log([one.noise for one in bank.hypotheses])
    noise = NOISES[int(np.abs(np.log(NOISES) - chance @ logs).argmin())]
    planned = next((bore for bore, share in loose.items() if share > 0.5), None)
    about = [n for n, one in enumerate(bank.hypotheses) if one.adjuster is None and one.bore == planned]
    return loose, noise, about[int(np.lexsort((-chance[about], np.abs(logs[about] - math.log(noise))))[0])]


def _likely(bank: HypothesisBank, chance: Floats) -> tuple[Posterior, Floats]:
    """A stack of what the hypotheses say that are not out of the question, and the chance of each."""
    places = np.flatnonzero(chance >= COUNTS)
    counted: Floats = chance[places] / chance[places].sum()
    stack = replace(bank.stack, mean=bank.stack.mean[places], covariance=bank.stack.covariance[places])
    return replace(stack, log_evidence=np.log(counted)), counted


def _as_noisy(meter: Meter, noise: float) -> Meter:
    """The meter as it is taken to repeat."""
    return replace(meter, repeatability=noise * meter.repeatability)


def _summed(about: Sequence[T | None], chance: Floats) -> dict[T, float]:
    """The chance of all hypotheses about each thing, by what each hypothesis is about."""
    found: dict[T, float] = {}
    for thing, share in zip(about, chance.tolist(), strict=True):
        if thing is not None:
            found[thing] = found.get(thing, 0.0) + share
    return found


class _Moved(NamedTuple):
    """The hypotheses before a move, None where nothing at idle was moved, and after it; what it was made at; and how
    many, the last ones, say that what is read of a bore after it is wrong. ``foretold`` are the value and its standard
    deviation at each bore that the move was to change; ``surprise`` is that of the moves before."""

    before: HypothesisBank | None
    after: HypothesisBank
    adjuster: Adjuster | None = None
    doubting: int = 0
    foretold: Mapping[int, tuple[float, float]] = MappingProxyType({})
    surprise: Surprise = Surprise()


@lru_cache(maxsize=64)
def _trail(start: Posterior, _meter: Meter) -> Trail[_Moved]:
    """What is remembered of a visit that began so."""
    return Trail(_Moved(None, _begun(start)))


def _passed(moved: _Moved, meter: Meter, stage: Stage) -> _Moved:
    """How the hypotheses stand after a stage of a visit."""
    bank, move = _closed(_read_in(_doubting(moved, stage.seen), stage.seen, meter)), stage.move
    surprise = _surprised(moved, stage.seen)
    if move is None:
        return _Moved(None, _changed(bank, lambda one, _: set_cold(one, stage.cold)), surprise=surprise)
    if not kind_of(move.kind).at_idle:
        return _Moved(None, _changed(bank, lambda one, _: predict(one, move)), surprise=surprise)
    adjuster = adjuster_of(move)
    bank = _suspecting(bank, adjuster)
    after = _changed(
        bank, lambda one, hypothesis: predict(one, move, hypothesis.kept if hypothesis.adjuster == adjuster else 1.0)
    )
    _, noise, place = _planned_with(bank, bank.chances)
    reached = moved_bores(bank.stack.layout, adjuster)
    foretold = foretold_at(at(after.stack, place), _as_noisy(meter, noise), reached)
    return _Moved(bank, after, adjuster, foretold=foretold, surprise=surprise)


def _surprised(moved: _Moved, seen: Seen) -> Surprise:
    """With the first reading of each bore since the move that was to change it."""
    surprise, waiting = moved.surprise, dict(moved.foretold)
    for one in seen:
        if isinstance(one, Reading) and (told := waiting.pop(one.bore, None)):
            surprise = surprise.and_at((one.value - told[0]) / told[1])
    return surprise


def _begun(start: Posterior) -> HypothesisBank:
    """The hypotheses before anything happened."""
    by_noise = np.exp(-0.5 * (np.log(NOISES) / NOISE_SD) ** 2)
    by_noise[0] += by_noise[1:].sum()  # as much below what was told as above
    by_noise /= by_noise.sum()
    faults = [VisitHypothesis(bore=bore, lost_motion=lost) for bore, lost in product(start.layout.bores, LOST_MOTION)]
    every = {VisitHypothesis(): 0.0} | {one: math.log(LOST_MOTION[one.lost_motion]) for one in faults}
    hypotheses = [replace(one, noise=noise) for one in every for noise in NOISES]
    told = np.array([often + share for often in every.values() for share in np.log(by_noise)])
    stack = replace(stacked([start] * len(hypotheses)), log_evidence=told)
    return HypothesisBank(tuple(hypotheses), stack)


def _suspecting(bank: HypothesisBank, adjuster: Adjuster) -> HypothesisBank:
    """With the hypotheses that an adjuster keeps but a part of its moves from now on, begun from those that all is
    sound."""
    if adjuster in bank.suspected:
        return bank
    sets_a_gap = kind_at(bank.stack.layout, adjuster).effect == "sets a gap"
    shares = KEPT if sets_a_gap else {0.0: KEPT[0.0]}  # by how much a screw moves less is learned as its gain
    each = [at(bank.stack, n) for n in range(len(bank.hypotheses))]
    hypotheses = list(bank.hypotheses)
    told = np.asarray(bank.stack.log_evidence)
    least = told.max() - FORGET
    for sound in bank.sound:
        for kept, often in shares.items():
            if told[sound] + math.log(often) > least:
                hypotheses.append(replace(bank.hypotheses[sound], adjuster=adjuster, kept=kept))
                each.append(replace(each[sound], log_evidence=told[sound] + math.log(often)))
    return HypothesisBank(tuple(hypotheses), stacked(each), bank.suspected | {adjuster})


def _doubting(moved: _Moved, seen: Seen) -> _Moved:
    """With the hypotheses that the one reading of a bore is wrong, from those that nothing else is."""
    often = Counter([one.bore for one in seen if isinstance(one, Reading)])
    once, bank = [bore for bore, times in often.items() if times == 1], moved.after
    told = np.asarray(bank.stack.log_evidence)
    least = told.max() - FORGET - MISREAD_LOG_ODDS
    right = [n for n in bank.sound if bank.hypotheses[n].misread is None and told[n] > least]
    pairs = list(product(right, once))
    if not pairs:
        return moved
    before = None if moved.before is None else _misreading(moved.before, pairs)
    return moved._replace(before=before, after=_misreading(bank, pairs), doubting=len(pairs))


def _misreading(bank: HypothesisBank, pairs: Sequence[tuple[int, int]]) -> HypothesisBank:
    """With further hypotheses at the end, each one of those there are with a bore that is misread."""
    count = len(bank.hypotheses)
    places = np.array([*range(count), *(n for n, _ in pairs)])
    told = np.asarray(bank.stack.log_evidence)[places]
    told[count:] += MISREAD_LOG_ODDS
    fresh = [replace(bank.hypotheses[n], misread=bore) for n, bore in pairs]
    stack = replace(bank.stack, mean=bank.stack.mean[places], covariance=bank.stack.covariance[places])
    return bank._replace(hypotheses=(*bank.hypotheses, *fresh), stack=replace(stack, log_evidence=told))


def _changed(bank: HypothesisBank, change: Callable[[Posterior, VisitHypothesis], Posterior]) -> HypothesisBank:
    """With what each hypothesis believes changed."""
    each = [change(at(bank.stack, n), hypothesis) for n, hypothesis in enumerate(bank.hypotheses)]
    return bank._replace(stack=stacked(each))


def _read_in(moved: _Moved, seen: Seen, meter: Meter) -> HypothesisBank:
    """The hypotheses once all took in what was read after a move."""
    bank = moved.after
    if not seen:
        return bank
    rows = bank.stack.row_of_bore
    wrong = np.arange(len(bank.hypotheses)) >= len(bank.hypotheses) - moved.doubting
    about = [one.misread if one.bore is None else one.bore for one in bank.hypotheses]
    rough = Roughness(
        np.array([one.noise for one in bank.hypotheses]),
        np.array([0 if bore is None else rows[bore] for bore in about]),
        np.array([one.lost_motion for one in bank.hypotheses]),
        np.where(wrong, MISREAD_SD, 0.0),
    )
    sure = np.array([one.adjuster is not None and one.adjuster == moved.adjuster for one in bank.hypotheses])
    before = None if moved.before is None else moved.before.stack
    return bank._replace(stack=learn(bank.stack, before, meter, seen, rough, sure))


def _closed(bank: HypothesisBank) -> HypothesisBank:
    """Without the hypotheses that are out of the question."""
    told = np.asarray(bank.stack.log_evidence)
    soundest = bank.sound[int(told[bank.sound].argmax())]
    doubted = np.array([one.misread is not None for one in bank.hypotheses])
    likely = told > told.max() - FORGET
    if (likely & doubted).sum() > MOST_DOUBTED:
        likely &= ~doubted | (told >= np.sort(told[likely & doubted])[-MOST_DOUBTED])
    kept = np.union1d(np.flatnonzero(likely), [soundest])
    stack = replace(
        bank.stack,
        mean=bank.stack.mean[kept],
        covariance=bank.stack.covariance[kept],
        log_evidence=told[kept] - told.max(),
    )
    return bank._replace(hypotheses=tuple([bank.hypotheses[n] for n in kept]), stack=stack)
