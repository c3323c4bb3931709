"""Whether an engine is heat-soaked: temperatures that were reached, and that have stopped moving.

A plate and its shaft follow the metal around them, and metal follows coolant and oil with a lag, so a temperature that
was reached says less than one that has held still. No published rate was found; what counts as steady is the shop's
rule, handed in.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from app.sync.engine.units import ZERO_CELSIUS

What = Literal["coolant", "head", "oil"]
Why = Literal["time", "unread", "low", "short", "moving", "cycle", "rising"]


@dataclass(frozen=True, slots=True)
class HeatPoint:
    """One look at the gauges at ``at`` [s]: coolant, oil and cylinder head [K], None where it was not read."""

    at: float
    coolant: float | None = None
    oil: float | None = None
    head: float | None = None

    def of(self, what: What) -> float | None:
        """One of the temperatures [K]."""
        return {"coolant": self.coolant, "head": self.head, "oil": self.oil}[what]


@dataclass(frozen=True, slots=True)
class HeatRule:
    """What counts as heat-soaked.

    ``least_time`` [s] of running since the first figure; ``coolant`` and ``oil`` [K] to be reached, ``head`` [K] in the
    place of coolant where air cools the engine; over the last ``steady_for`` [s] none may have moved by more than
    ``steady_within`` [K]. A look at the gauges counts for ``lasts`` [s].
    """

    least_time: float
    coolant: float
    oil: float
    steady_for: float
    steady_within: float
    head: float = 120 + ZERO_CELSIUS  # our judgement; no published figure was found
    lasts: float = 1800.0  # our judgement; no published figure was found

    def least(self, what: What) -> float:
        """What one of the temperatures has to reach [K]."""
        return {"coolant": self.coolant, "head": self.head, "oil": self.oil}[what]


@dataclass(frozen=True, slots=True)
class Lack:
    """One thing still wanting, of one temperature or (``what`` None) of the whole.

    ``by`` is how much: seconds for ``time`` and ``short``, kelvin for ``low``, ``moving`` and ``rising``, 0 for
    ``unread`` and ``cycle``.
    """

    why: Why
    what: What | None = None
    by: float = 0.0


@dataclass(frozen=True, slots=True)
class Heat:
    """Whether the fine round may be read, and what it still wants. ``time`` is how long the engine ran [s]."""

    holds: bool
    time: float
    lacks: tuple[Lack, ...]


def heat_soaked(
    points: Sequence[HeatPoint],
    rule: HeatRule,
    with_oil: bool = True,
    metal: Literal["coolant", "head"] = "coolant",
    cycling: bool = False,
) -> Heat:
    """Whether the engine is heat-soaked, by figures kept with their time.

    Once it was, it stays so until a figure below the temperatures wanted says that it cooled: a thermostat that opens
    or a fan that starts takes nothing back.

    Parameters: ``points`` in the order of time; ``rule`` of the shop; ``with_oil`` False where oil has no gauge, and
    then oil is judged only if it was read; ``metal`` what stands for the metal: the head where air cools the engine;
    ``cycling`` where a fan starts and stops on its own, and the metal is judged by the mean of a cycle.

    Source: the rule is the caller's; this only applies it.

    >>> rule = HeatRule(900.0, 343.15, 343.15, 300.0, 2.0)
    >>> warm = [HeatPoint(60.0 * m, 355.0 - 40 * 0.8**m) for m in range(31)]
    >>> heat_soaked(warm[:10], rule, with_oil=False).lacks[0]
    Lack(why='time', what=None, by=360.0)
    >>> heat_soaked(warm, rule, with_oil=False).holds
    True
    """
    held = False
    lacks: tuple[Lack, ...] = (Lack("unread", metal),)
    for count in range(1, len(points) + 1):
        seen = points[:count]
        oil: tuple[What, ...] = ("oil",) if with_oil or any(p.oil is not None for p in seen) else ()
        lacks = _lacks(seen, rule, (metal, *oil), cycling)
        if not lacks:
            held = True
        elif any(lack.why == "low" for lack in lacks):
            held = False
    time = points[-1].at - points[0].at if points else 0.0
    return Heat(held, time, () if held else lacks)


def swing(series: Sequence[tuple[float, float]], over: float) -> float | None:
    """How far a figure moved within the last ``over`` [s]: largest less smallest, in its own unit.

    The stretch begins at the newest point that lies at least ``over`` before the last one; None when no point does,
    because nothing can then be said.

    Parameters: ``series`` of time [s] and value, in the order of time; ``over`` [s], above 0.

    Source: definition.

    >>> swing([(0, 350.0), (200, 354.0), (400, 355.0), (600, 354.5)], 300)
    1.0
    >>> swing([(0, 350.0), (200, 354.0)], 300) is None
    True
    """
    if not series:
        return None
    begin = series[-1][0] - over
    first = max((index for index, (at, _) in enumerate(series) if at <= begin), default=None)
    if first is None:
        return None
    values = [value for _, value in series[first:]]
    return max(values) - min(values)


def cycle_of(series: Sequence[tuple[float, float]]) -> tuple[float, float] | None:
    """The mean of the last cycle of a figure that goes up and down, and by how much it rose over that cycle.

    The cycle is the last three turning points, the newest figure among them: the mean of a rise and a fall between
    straight lines, and half of what the third lies above the first. None before there are three.

    Parameters: ``series`` of time [s] and value, in the order of time.

    Source: definition; that three points make a cycle is our judgement.

    >>> cycle_of([(0, 365.0), (120, 357.0), (240, 365.5)])
    (361.125, 0.25)
    >>> cycle_of([(0, 350.0), (120, 357.0), (240, 365.0)]) is None
    True
    """
    turns: list[float] = []
    for _, value in series:
        if len(turns) > 1 and (value - turns[-1]) * (turns[-1] - turns[-2]) >= 0:
            turns[-1] = value
        elif not turns or value != turns[-1]:
            turns.append(value)
    if len(turns) < 3:
        return None
    first, middle, last = turns[-3:]
    return (first + 2 * middle + last) / 4, (last - first) / 2


def _of_cycle(what: What, series: Sequence[tuple[float, float]], least: float, rule: HeatRule) -> list[Lack]:
    """What a figure lacks that a fan takes up and down."""
    found = cycle_of(series)
    if found is None:
        return [Lack("cycle", what)]
    mean, rise = found
    if mean < least:
        return [Lack("low", what, least - mean)]
    return [Lack("rising", what, rise)] if rise > rule.steady_within else []


def _lacks(points: Sequence[HeatPoint], rule: HeatRule, judged: Sequence[What], cycling: bool) -> tuple[Lack, ...]:
    found: list[Lack] = []
    ran = points[-1].at - points[0].at
    if ran < rule.least_time:
        found.append(Lack("time", None, rule.least_time - ran))
    for what in judged:
        series = [(p.at, kelvin) for p in points if (kelvin := p.of(what)) is not None]
        plain = _of_one(what, series, rule.least(what), rule)
        by_cycle = cycling and what != "oil" and any(lack.why in ("low", "moving") for lack in plain)
        found += _of_cycle(what, series, rule.least(what), rule) if by_cycle else plain
    return tuple(found)


def _of_one(what: What, series: Sequence[tuple[float, float]], least: float, rule: HeatRule) -> list[Lack]:
    if not series:
        return [Lack("unread", what)]
    if series[-1][1] < least:
        return [Lack("low", what, least - series[-1][1])]
    moved = swing(series, rule.steady_for)
    if moved is None:
        return [Lack("short", what, rule.steady_for - (series[-1][0] - series[0][0]))]
    return [Lack("moving", what, moved)] if moved > rule.steady_within else []
