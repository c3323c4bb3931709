"""Readings of sensors that stay at their bores, beside those of one probe that is carried from bore to bore.

One probe reads every bore, so its scale cancels. Sensors that stay each have a scale of their own, and what they differ
by looks exactly like uneven bores, however often they are read. They guide moves; what one probe read stands in their
place. Only sensors that were compared with each other and differ by little prove anything, in a tolerance that is
narrower by what they differ.
"""

import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import NamedTuple, TypeVar

from app.sync.engine.engine_air import sharing_of
from app.sync.engine.events import Event, Meter, Reading
from app.sync.engine.layout import Layout
from app.sync.readings.observation import per_air
from app.sync.readings.trail import stages
from app.sync.readings.untouched import Untouched

E = TypeVar("E", bound=Event)
Apart = Callable[[Reading], float]

MOST_APART = 0.01
"""Of the air: by how much compared sensors may differ, one standard deviation, for their readings to prove anything
(our judgement, from simulated engines: in a tolerance of 8 % that is narrowed to 7 % sensors that differ by 1 % leave
97 of 100 engines even that are called so; by 2 % no narrower one does)."""

SENSORS_APART = 0.02
"""Of a reading: by how much sensors that were never compared may differ, one standard deviation (our judgement)."""


def own_scale(one: Reading) -> float:
    """By what the scale of the sensor that took a reading may be off beside another one's, as a fraction of it: 0 for a
    probe that is carried.

    Parameters: ``one`` reading.

    >>> [own_scale(Reading(1, 2e-3, 0.0, fixed=fixed)) for fixed in (False, True)]
    [0.0, 0.02]
    """
    return 0.0 if not one.fixed else SENSORS_APART if one.alike is None else one.alike


def alike_read(
    first: Mapping[int, Sequence[Reading]], second: Mapping[int, Sequence[Reading]]
) -> tuple[dict[int, Sequence[Reading]], dict[int, Sequence[Reading]], dict[int, float]]:
    """Two sets of readings of one visit, by bore, as they can be compared: those of the kind of sensor that read a bore
    both times, so that its scale cancels; and by what scales may differ at bores that no kind read twice, as a
    fraction.

    Parameters: ``first`` and ``second`` set.

    >>> probe, sensor = Reading(1, 2.0e-3, 0.0), Reading(1, 2.1e-3, 9.0, fixed=True)
    >>> alike_read({1: [probe, sensor]}, {1: [sensor]})[0][1] == [sensor], alike_read({1: [probe]}, {1: [sensor]})[2]
    (True, {1: 0.02})
    """
    one, other, differ = dict(first), dict(second), dict[int, float]()
    for bore in first.keys() & second.keys():
        for fixed in (False, True):
            mine, theirs = ([r for r in those[bore] if r.fixed is fixed] for those in (first, second))
            if mine and theirs:
                one[bore], other[bore] = mine, theirs
                break
        else:
            differ[bore] = max(own_scale(r) for r in (*first[bore], *second[bore]))
    return one, other, differ


def like_read(
    idle: Mapping[int, Sequence[Reading]], opened: Sequence[Sequence[Reading]]
) -> tuple[dict[int, list[float]], list[tuple[tuple[int, float], ...]], float]:
    """What was read at idle and at openings as the banks are compared by it: of every bore by the kind of sensor that
    read it each time, as far as one did; by bore the values at idle, bore and value at each opening, and by what scales
    may differ where none did, as a fraction.

    Parameters: ``idle`` by bore; ``opened``, the readings of each opening, oldest first.
    """
    kinds = {bore: {r.fixed for r in those} for bore, those in idle.items()}
    for those in opened:
        for bore in {r.bore for r in those} & kinds.keys():
            kinds[bore] &= {r.fixed for r in those if r.bore == bore}
    every = [*(r for those in idle.values() for r in those), *(r for those in opened for r in those)]
    differ = max((own_scale(r) for r in every if not kinds.get(r.bore, {False})), default=0.0)
    wanted = {bore: min(both, default=None) for bore, both in kinds.items()}  # the probe where both did

    def counts(one: Reading) -> bool:
        return wanted.get(one.bore) in (None, one.fixed)

    at_idle = {bore: [r.value for r in those if counts(r)] for bore, those in idle.items()}
    return at_idle, [tuple((r.bore, r.value) for r in those if counts(r)) for those in opened], differ


def with_scales(meter: Meter, differ: float) -> Meter:
    """A meter whose readings vary by what scales differ too.

    Parameters: ``meter`` read with; ``differ``, one standard deviation as a fraction of a reading.

    >>> round(with_scales(Meter(repeatability=0.015), 0.02).repeatability, 3)
    0.025
    """
    return replace(meter, repeatability=math.hypot(meter.repeatability, differ)) if differ else meter


def apart(one: Reading, meter: Meter, sharing: float) -> float:
    """By what the sensor of a reading may differ from those of other bores, as a fraction of the air: 0 for a probe
    that is carried, infinite for sensors that were never compared.

    Parameters: ``one`` reading; ``meter`` it was read with; ``sharing`` the part of a runner's pressure that all share.

    >>> read = [Reading(1, 2e-3, 0.0, fixed=fixed, alike=alike) for fixed, alike in ((True, 0.004), (False, None))]
    >>> [apart(one, Meter(), 0.0) for one in read]
    [0.004, 0.0]
    """
    if not one.fixed:
        return 0.0
    return math.inf if one.alike is None else one.alike * one.value / abs(per_air(one.value, meter, sharing))


def as_judged(layout: Layout, meter: Meter, events: Sequence[Event], window: float) -> tuple[Sequence[Event], float]:
    """What happened as an engine is judged by it, and the ``window`` that is left: of each state the readings of one
    kind, those of a carried probe or of sensors that stay.

    Parameters: ``layout`` of the engine; ``meter`` read with; ``events``, oldest first; ``window`` half width as a
    fraction of the air.
    """
    if not any(isinstance(one, Reading) and one.fixed for one in events):
        return events, window
    far = partial(apart, meter=meter, sharing=sharing_of(layout.plenum))
    passed, since = stages(events)
    left = list[Event]()
    for stage in passed:
        left += [*_of_one_kind(stage.seen, far), *([stage.move] if stage.move is not None else stage.cold)]
    last = _of_one_kind(since, far)
    return [*left, *last], narrowed(window, [one for one in last if isinstance(one, Reading)], far)


class JudgedReadings(NamedTuple):
    """What an engine is judged by: readings of rounds ``before``, of the ``last`` one, and of ``earlier`` states; the
    bores that only sensors read which prove nothing, ``unproved``; and the ``window`` that is left."""

    before: Sequence[Reading]
    last: Sequence[Reading]
    earlier: Sequence[Untouched]
    window: float
    unproved: tuple[int, ...] = ()


def judged_by(
    before: Sequence[Reading], readings: Sequence[Reading], earlier: Sequence[Untouched], window: float, far: Apart
) -> JudgedReadings:
    """The readings that an engine is judged by: one probe's stand in the place of fixed sensors', save where compared
    sensors read more bores than it did.

    Parameters: ``before``, of earlier rounds, and ``readings`` of the last one, with nothing moved between them;
    ``earlier``, of bores that no move acted on since; ``window`` half width as a fraction of the air; ``far``, by what
    the sensor of a reading may differ from others'.

    >>> probe, sensor = Reading(1, 6.5, 20.0), Reading(1, 6.7, 0.0, fixed=True)
    >>> far = partial(apart, meter=Meter(), sharing=0.0)
    >>> judged_by([], [sensor, probe], [], 0.08, far).last == [probe]
    True
    >>> judged_by([], [sensor], [], 0.08, far).unproved
    (1,)
    """
    every = [*(one for state in earlier for one in state.readings), *before, *readings]
    if not any(one.fixed for one in every):
        return JudgedReadings(before, readings, earlier, window)
    kept = set(map(id, _of_one_kind(every, far)))
    states = [Untouched(one.moves, tuple(_among(one.readings, kept))) for one in earlier]
    first, last = _among(before, kept), _among(readings, kept)
    if not last:
        first, last = [], first or list(readings)
    left = _among(every, kept)
    probed = {one.bore for one in left if not one.fixed}
    mixed = bool(probed) and any(one.fixed for one in left)
    unproved = dict.fromkeys(one.bore for one in left if one.fixed and (mixed or far(one) > MOST_APART))
    return JudgedReadings(
        first, last, [one for one in states if one.readings], narrowed(window, left, far), tuple(unproved)
    )


def narrowed(window: float, readings: Iterable[Reading], far: Apart) -> float:
    """The tolerance that is left for sensors that differ: less by what those differ that prove.

    Parameters: ``window`` half width as a fraction of the air; ``readings`` judged by; ``far``, by what the sensor of
    one may differ from others'.

    >>> narrowed(0.08, [Reading(1, 2e-3, 0.0, fixed=True, alike=0.01)], lambda one: one.alike or 0.0)
    0.07
    """
    found = (far(one) for one in readings)
    return window - min(max((one for one in found if one <= MOST_APART), default=0.0), window / 2)


def carried(seen: Iterable[Event]) -> set[int]:
    """The bores that a carried probe read.

    Parameters: ``seen``, in any order.
    """
    return {one.bore for one in seen if isinstance(one, Reading) and not one.fixed}


def _of_one_kind(seen: Sequence[E], far: Apart) -> list[E]:
    """What was seen of one state, by a carried probe or by sensors that stay: those of compared sensors alone where
    they read bores that the probe did not; else the probe's, and of other bores what sensors say."""
    read = [one for one in seen if isinstance(one, Reading)]
    probed, bores = carried(read), {one.bore for one in read}
    proving = {one.bore for one in read if one.fixed and far(one) <= MOST_APART}
    if bores == proving and probed < bores:
        return [one for one in seen if not isinstance(one, Reading) or (one.fixed and far(one) <= MOST_APART)]
    return [one for one in seen if not (isinstance(one, Reading) and one.fixed and one.bore in probed)]


def _among(readings: Iterable[Reading], kept: Collection[int]) -> list[Reading]:
    return [one for one in readings if id(one) in kept]
