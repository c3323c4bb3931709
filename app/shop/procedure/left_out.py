"""The bores that a hot round leaves out: the last adjustment does not act on them, and they stand as they were read."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.running import cooled_after, round_ran_out, state_of
from app.shop.record.entries import MeterReading
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord, move_of
from app.sync.engine.adjusters.registry import adjuster_of, moved_bores
from app.sync.engine.events import Reading
from app.sync.readings.untouched import Untouched


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What still tells of bores from before the last adjustment: readings by ``states`` as the estimator takes them,
    and the ``latest`` of each such bore as it was entered."""

    states: tuple[Untouched, ...] = ()
    latest: Mapping[int, MeterReading] = field(default_factory=dict)


NOTHING = LeftOut()


def left_out_of(record: VisitRecord, phase: str, one: Round | None) -> LeftOut:
    """What was read in the heat-soaked phase before the last adjustment at bores that it does not act on.

    As of the round ``one`` of that phase, or of one to be begun now, which after a pause reads all bores. So does every
    other phase: the engine was tightened since, or is not hot yet.
    """
    if phase != HEAT_SOAKED.slug or not record.moves or (one is not None and one.row.opening):
        return NOTHING
    if one is None and state_of(record).pause is not None:
        return NOTHING
    return _left_out(record, one.ended if one is not None and one.entered else record.last_reading + 1)


@lru_cache(maxsize=32)
def _left_out(record: VisitRecord, until: int) -> LeftOut:
    """The same as of the reading ``until``."""
    made = [move for move in record.moves if move.after_reading < until]
    acts = [(move.after_reading, moved_bores(record.layout, adjuster_of(move_of(move)))) for move in made]
    cooled = cooled_after(record) if cooled_after(record) < until else 0
    found, latest = dict[int, list[Reading]](), dict[int, MeterReading]()
    for one in record.rounds if made else ():
        if one.row.phase != HEAT_SOAKED.slug or one.in_question or round_ran_out(record, one):
            continue
        for row, reading in zip(one.gone_by, one.in_base_units, strict=True):
            first = one.first_rows[row.ident]
            since = [bores for after, bores in acts if after >= first]
            if since and first > cooled and not any(row.bore in bores for bores in since):
                found.setdefault(len(since), []).append(reading)
                latest[row.bore] = row
    return LeftOut(tuple([Untouched(moves, tuple(found[moves])) for moves in sorted(found, reverse=True)]), latest)


def values_of(record: VisitRecord, one: Round) -> dict[int, MeterReading]:
    """What each bore reads as of a round: in it, or before it where it was left out."""
    return {**left_out_of(record, one.row.phase, one).latest, **one.latest}


def in_base_units(record: VisitRecord, one: Round) -> dict[int, list[float]]:
    """All that each bore reads as of a round [kg/s or Pa]: in it, or before it where it was left out."""
    return {bore: [reading.value for reading in those] for bore, those in readings_of(record, one).items()}


def readings_of(record: VisitRecord, one: Round) -> dict[int, list[Reading]]:
    """The same as readings, by bore."""
    found: dict[int, list[Reading]] = {}
    for reading in one.in_base_units:
        found.setdefault(reading.bore, []).append(reading)
    for state in left_out_of(record, one.row.phase, one).states:
        for reading in state.readings:
            if reading.bore not in one.latest:
                found.setdefault(reading.bore, []).append(reading)
    return found
