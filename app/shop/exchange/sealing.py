"""Seals that travel: of each part of an engine file, over what it says with keys in place of ids.

A row's own hash covers ids of other rows, which each shop gives itself, so that it holds nowhere else. The sender makes
a part's seal only where the row's hash held, and the receiver makes it again of what arrived.
"""

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from app.shop.exchange.versions import v6 as v6
from app.shop.store.database import raw_connection
from app.shop.store.row_hashes import seal

OF_A_VISIT = 'SELECT r.* FROM "{table}" r JOIN visit v ON v.id = r.visit_id WHERE v.engine_id = ?'
OF_A_ROUND = (
    'SELECT r.* FROM "{table}" r JOIN round o ON o.id = r.round_id JOIN visit v ON v.id = o.visit_id '
    "WHERE v.engine_id = ?"
)
OF_AN_ENGINE = 'SELECT r.* FROM "{table}" r WHERE r.engine_id = ?'
NAMED = 'SELECT r.* FROM "{table}" r WHERE r.id IN (SELECT {column} FROM visit WHERE engine_id = ?)'
ROWS: dict[str, str] = {
    **dict.fromkeys(("fitting", "visit"), OF_AN_ENGINE),
    **dict.fromkeys(("round", "move", "check", "override", "sign_off", "correction"), OF_A_VISIT),
    **dict.fromkeys(("engine_event", "stop_end", "hours_correction", "finding"), OF_A_VISIT),
    **dict.fromkeys(("reading", "opening_speed"), OF_A_ROUND),
    "meter": NAMED.replace("{column}", "meter_id"),
    "setup": NAMED.replace("{column}", "setup"),
}
"""By table, the rows that an engine's file is made of."""

OF_THE_SHOP = {ROWS["meter"], ROWS["setup"]}
"""The rows of it that other engines may have too."""

WITHIN = frozenset(
    {
        *("rounds", "readings", "speeds", "moves", "checks", "overrides", "sign_off", "corrections"),
        *("engine_events", "stop_ends", "hours_corrections", "findings"),
    }
)
"""What of a visit has seals of its own."""

Keyed = (
    v6.Meter
    | v6.SettingsVersion
    | v6.Fitting
    | v6.Visit
    | v6.Round
    | v6.Reading
    | v6.Speed
    | v6.Move
    | v6.Check
    | v6.Override
    | v6.Correction
    | v6.SignOff
    | v6.EngineEvent
    | v6.StopEnd
    | v6.HoursCorrection
    | v6.Finding
)


@dataclass(frozen=True, slots=True)
class Unsound:
    """What the seals of a file show: keys of parts that were ``changed``, and of parts that are ``gone``."""

    changed: tuple[str, ...]
    gone: tuple[str, ...]


def sealed(session: Session, file: v6.EngineFile, engine_id: int) -> v6.EngineFile:
    """The file with a seal of every part whose row hash holds here."""
    sound = frozenset(_sound_keys(session, engine_id))
    seals = [v6.PartSeal(key=part.key, seal=part_seal(part)) for part in parts(file) if part.key in sound]
    return file.model_copy(update={"seals": seals})


def unsound(file: v6.EngineFile) -> Unsound:
    """What does not hold of the seals that a file has."""
    told = {one.key: one.seal for one in file.seals}
    here = {part.key: part for part in parts(file)}
    changed = tuple(key for key, said in told.items() if key in here and part_seal(here[key]) != said)
    return Unsound(changed, tuple(key for key in told if key not in here))


def unsealed(file: v6.EngineFile) -> int:
    """How many parts of a file have no seal: their rows were not proved where it was made."""
    told = {one.key for one in file.seals}
    return sum(part.key not in told for part in parts(file))


def part_seal(part: Keyed) -> str:
    """The seal of one part [SHA-256 in hexadecimal]."""
    said = part.model_dump(mode="json")
    if isinstance(part, v6.Visit):
        said = {name: value for name, value in said.items() if name not in WITHIN and value is not None}
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def parts(file: v6.EngineFile) -> Iterator[Keyed]:
    """Every part that may have a seal, in the order of the file."""
    yield from file.meters
    yield from file.settings
    yield from file.fittings
    for visit in file.visits:
        yield visit
        yield from of_visit(visit)


def of_visit(visit: v6.Visit) -> Iterator[Keyed]:
    """Every part of a visit."""
    lists: Sequence[Sequence[Keyed]] = (
        *(visit.rounds, visit.readings, visit.speeds, visit.moves, visit.checks, visit.overrides),
        *(visit.corrections, visit.engine_events, visit.stop_ends, visit.hours_corrections, visit.findings),
        [visit.sign_off] if visit.sign_off else [],
    )
    for rows in lists:
        yield from rows


def known_keys(session: Session, engine_id: int) -> set[str]:
    """Keys of everything recorded of an engine here, without its meters and settings."""
    wire = raw_connection(session)
    tables = [(table, query) for table, query in ROWS.items() if query not in OF_THE_SHOP]
    return {
        str(key)
        for table, query in tables
        for (key,) in wire.execute(query.format(table=table).replace("r.*", "r.key"), (engine_id,))
    }


def _sound_keys(session: Session, engine_id: int) -> Iterator[str]:
    """Keys of the rows of an engine's file whose hash holds."""
    wire = raw_connection(session)
    for table, query in ROWS.items():
        found = wire.execute(query.format(table=table), (engine_id,))
        names = [column[0] for column in found.description]
        for values in found:
            row = dict(zip(names, values, strict=True))
            if row["seal"] == seal(row):
                yield str(row["key"])
