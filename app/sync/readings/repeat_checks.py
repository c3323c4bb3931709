"""The same bore read again with nothing moved: which readings to accept, and when they cannot all be right."""

import math
import statistics
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from app.sync.engine.events import SEEN, Event, Meter, Reading
from app.sync.readings.idle_wander import WANDER
from app.sync.readings.observation import per_air
from app.sync.readings.rounds import MISREAD_OTHERS, outliers, reading_sd

FAR = 4.0
"""Standard deviations from what a bore's other readings say beyond which one is a misread (our judgement)."""


@lru_cache(maxsize=256)
def at_idle(meter: Meter, value: float) -> Meter:
    """The meter as it repeats at a running engine: what the idle strays by comes on top of its own repeatability.

    Parameters: ``meter`` read with; ``value`` that it showed [kg/s or Pa].

    >>> round(at_idle(Meter(repeatability=0.024), 6.5 / 3600).repeatability, 3)
    0.025
    """
    if value <= 0:
        return meter
    strays = WANDER * abs(per_air(value, meter)) / value
    return replace(meter, repeatability=math.hypot(meter.repeatability, strays))


def as_read(meter: Meter, readings: Sequence[Reading]) -> Meter:
    """The meter as readings of one bore repeat, where some came with a standard error of their own.

    Parameters: ``meter`` read with; ``readings`` at least one. Its repeatability is the root mean square of theirs.

    >>> one, other = Reading(1, 6.5, 0.0, sd=0.03), Reading(1, 6.5, 9.0, sd=0.04)
    >>> round(as_read(Meter(), [one, other]).repeatability, 4)
    0.0354
    """
    if all(one.sd is None for one in readings) or any(one.value <= 0 for one in readings):
        return meter
    own = [reading_sd(one.value, meter, one.sd) / one.value for one in readings]
    return replace(meter, repeatability=math.hypot(*own) / math.sqrt(len(own)), step=0.0)


def inconsistent(values: Sequence[float], meter: Meter) -> bool:
    """Whether two readings, or three of which no two agree, cannot be of the same setting.

    Parameters: ``values`` of one bore with nothing moved [kg/s or Pa]; ``meter`` read with.

    >>> inconsistent([6.5, 9.5], Meter(step=0.25)), inconsistent([6.5, 9.5, 6.25], Meter(step=0.25))
    (True, False)
    """
    if len(values) == 2:
        one, other = sorted(values)
        return other - one > FAR * 2**0.5 * reading_sd((one + other) / 2, meter)
    return len(values) == 3 and len(accepted(values, meter)) < 2


def accepted(values: Sequence[float], meter: Meter) -> list[float]:
    """The readings to go by: all of two, of more those near the middle one.

    Parameters: ``values`` of one bore with nothing moved [kg/s or Pa]; ``meter`` read with.

    >>> accepted([6.5, 9.5, 6.25], Meter(step=0.25))
    [6.5, 6.25]
    """
    if len(values) < 3:
        return list(values)
    middle = statistics.median(values)
    return [value for value in values if abs(value - middle) <= FAR * reading_sd(middle, meter)]


def without_misreads(events: Sequence[Event]) -> Sequence[Event]:
    """What happened without the readings that are as far from their bore's others, in the same state, as neither
    engine nor lost motion goes: with three of a bore or more, those ``MISREAD_TIMES`` its middle one or that fraction.

    Parameters: ``events``, oldest first.

    >>> [e.value for e in without_misreads([Reading(1, v, 20.0 * n) for n, v in enumerate((6.5, 38.0, 6.75, 6.5))])]
    [6.5, 6.75, 6.5]
    """
    state, of_bore = 0, defaultdict[tuple[int, int], list[int]](list)
    for at, event in enumerate(events):
        if isinstance(event, Reading):
            of_bore[state, event.bore].append(at)
        elif not isinstance(event, SEEN):
            state += 1
    left_out = set[int]()
    for places in of_bore.values():
        if len(places) <= MISREAD_OTHERS:
            continue
        read = {at: one.value for at in places if isinstance(one := events[at], Reading)}
        left_out |= outliers(read)
    return [event for at, event in enumerate(events) if at not in left_out] if left_out else events
