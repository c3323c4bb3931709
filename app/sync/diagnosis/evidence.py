"""Figures and words as a shop records them, turned into how far each bore is off what a sound one shows."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import median

from app.sync.diagnosis.measurements import CATALOGUE, FindingKind, Use

FEWEST_BORES = 3
"""Bores a round has to have before one is held against the middle of the others; by definition of a middle."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was measured, in the unit of the catalogue: a ``value`` or a ``word``.

    ``bore`` counts from 0, None for the engine or a bank; ``bank`` is a place among the engine's banks. ``spread`` is
    one standard deviation in the form of its use, None for the catalogue's.
    """

    measure: FindingKind
    bore: int | None = None
    value: float | None = None
    word: str = ""
    bank: int | None = None
    spread: float | None = None


@dataclass(frozen=True, slots=True)
class Deviation:
    """What one bore, bank or engine showed: how far off, with which spread, or a word; ``again`` where looked at twice,
    ``before`` the word of the look before."""

    off: float
    spread: float
    word: str = ""
    again: bool = False
    before: str = ""


Place = tuple[FindingKind, int | None]


def seen(findings: Iterable[Finding], rough: float = 1.0) -> Mapping[Place, Deviation]:
    """Every measurement and bore (or bank, or None) with what it showed. Several readings of one count as their middle.

    Bores of a round with fewer than `FEWEST_BORES` figures are left out: there is no middle to hold them against.

    Parameters: ``findings`` in the order they were made; of several words for one place the last counts;
    ``rough`` is how many times as wide as told the spread of every figure is.
    """
    rows: dict[Place, list[Finding]] = defaultdict(list)
    for one in findings:
        rows[one.measure, one.bank if one.bore is None else one.bore].append(one)
    figures: dict[FindingKind, dict[int | None, float]] = defaultdict(dict)
    for (measure, place), several in rows.items():
        values = [one.value for one in several if one.value is not None]
        if values:
            figures[measure][place] = median(values)
    shown: dict[Place, Deviation] = {}
    for (measure, place), several in rows.items():
        again = len(several) > 1
        if CATALOGUE[measure].use is Use.WORD:
            shown[measure, place] = Deviation(0.0, 0.0, several[-1].word, again, several[-2].word if again else "")
        elif (off := _off(measure, place, figures[measure])) is not None:
            spread = rough * (several[-1].spread or CATALOGUE[measure].spread)
            stays = CATALOGUE[measure].stays
            shown[measure, place] = Deviation(off, spread * (math.sqrt((1 + stays) / 2) if again else 1.0), "", again)
    return shown


def _off(measure: FindingKind, place: int | None, figures: Mapping[int | None, float]) -> float | None:
    kind = CATALOGUE[measure]
    value = figures.get(place)
    if value is None:
        return None
    if kind.use is Use.ALONE:
        return value - kind.sound
    if len(figures) < FEWEST_BORES:
        return None
    others = [other for where, other in figures.items() if where != place or len(figures) == FEWEST_BORES]
    middle = median(others)
    if kind.use is Use.DIFFERENCE:
        off = value - middle
    elif middle <= 0 or (kind.use is Use.LOG and value <= 0):
        return None
    else:
        off = math.log(value / middle) if kind.use is Use.LOG else value / middle - 1
    return min(max(off, kind.low), kind.high)
