"""An engine into the shop from another one's file: all of it or nothing, twice is once, a conflict is for a person.

``read`` turns a text into a file that makes sense, ``plan`` says what it would add here and what a person has to choose
first, ``bring_in`` does it in one transaction. A row that is here under the same key and says the same is left alone;
one that says something else is refused, because evidence is never changed.
"""

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, fields

from pydantic import ValidationError
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, select

from app.shop.commands.engines import EngineFacts, folded
from app.shop.errors import ConflictError, RejectedError
from app.shop.exchange import v1, v2
from app.shop.exchange import v3 as v3
from app.shop.exchange.exports import engine_file
from app.shop.exchange.rows import Writer
from app.shop.record.fittings import layout_from_json
from app.shop.store.database import Database
from app.shop.store.tables import Engine, MeterRow, Visit
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout, LayoutError

LARGEST = 12 * 1024 * 1024
"""The longest file that is read [bytes]; an engine with forty visits of three rounds takes about one megabyte."""
MOST_SAID = 5
Keyed = v3.Round | v3.Reading | v3.Move | v3.Check | v3.Override | v3.Correction | v3.SignOff
FACTS = ("serial", "description", "displacement", "displacement_unit", "customer", "vehicle", "idle_speed")


@dataclass(frozen=True, slots=True)
class Conflict:
    """Something that a person has to choose. ``options`` are what to send under ``name``, each with its words."""

    name: str
    question: str
    mine: str
    theirs: str
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """What a file would add here. ``engine_id`` is the engine that it belongs to, None for one that is new here."""

    engine_id: int | None
    adds: Mapping[str, int]
    conflicts: tuple[Conflict, ...]


def read(text: str) -> v3.EngineFile:
    """The file that a text is. Raises RefusedError with what is wrong with it, in a sentence or a few."""
    if len(text.encode()) > LARGEST:
        raise RejectedError({"file": f"The file is longer than {LARGEST // 1024 // 1024} MB."})
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        raise RejectedError({"file": "This is not an engine's file: it is no JSON."}) from None
    if not isinstance(found, dict) or found.get("format") != "evenbore-engine":
        raise RejectedError({"file": "This is not an engine's file."})
    if found.get("version") not in (1, 2, 3):
        version = str(found.get("version"))[:20]
        raise RejectedError({"file": f"The file is of version {version}; this program reads 1 to 3. Update it."})
    try:
        match found["version"]:
            case 1:
                file = v3.from_v1(v1.EngineFile.model_validate_json(text))
            case 2:
                file = v3.from_v2(v2.EngineFile.model_validate_json(text))
            case _:
                file = v3.EngineFile.model_validate_json(text)
    except ValidationError as error:
        said = [f"{'.'.join(map(str, one['loc']))}: {one['msg']}" for one in error.errors()[:MOST_SAID]]
        raise RejectedError({"file": "The file is not as its schema says. " + "; ".join(said)}) from None
    if wrong := _nonsense(file):
        raise RejectedError({"file": "The file contradicts itself. " + "; ".join(wrong[:MOST_SAID])})
    return file


def plan(session: Session, file: v3.EngineFile, choices: Mapping[str, str]) -> Plan:
    """What ``file`` would add and what is still to be chosen. Raises RefusedError when the two cannot go together."""
    ours, conflicts = _engine(session, file, choices)
    mine = engine_file(session, ours.ident, file.exported_at) if ours else None
    conflicts += [*_facts(file, mine), *_meters(session, file, mine), *_numbers(file, mine)]
    _same_rows(file, mine)
    open_here = {v.key for v in mine.visits if v.sign_off is None} if mine else set()
    if open_here - {v.key for v in file.visits} and any(v.sign_off is None for v in file.visits):
        raise RejectedError({"file": "A visit is open here and another one in the file. Sign one of them off first."})
    asked = tuple(c for c in conflicts if choices.get(c.name) not in dict(c.options))
    known = _keys(mine)
    adds = Counter(name for name, key in _named_keys(file) if key not in known)
    return Plan(ours.ident if ours else None, adds, asked)


def bring_in(shop: Database, file: v3.EngineFile, choices: Mapping[str, str]) -> int:
    """Store what is not here yet and return the engine's id; again, and nothing more is stored.

    Raises ConflictError while something is still to be chosen, RefusedError when it cannot be; nothing is stored then.
    """
    with shop.writing() as session:
        made = plan(session, file, choices)
        if made.conflicts:
            raise ConflictError({one.name: one.question for one in made.conflicts})
        known = _keys(engine_file(session, made.engine_id, file.exported_at) if made.engine_id else None)
        try:
            return Writer(session, file, choices, known).write(made.engine_id)
        except IntegrityError:
            raise ConflictError({"file": "A part of this file belongs to another engine here."}) from None


def _engine(session: Session, file: v3.EngineFile, choices: Mapping[str, str]) -> tuple[Engine | None, list[Conflict]]:
    """The engine here that the file belongs to, by key or by a person's word."""
    by_key = session.exec(select(Engine).where(Engine.key == file.engine.key)).first()
    if by_key is not None:
        return by_key, []
    taken = session.exec(select(Engine).where(Engine.serial_folded == folded(file.engine.serial))).first()
    if taken is None:
        return None, []
    conflict = Conflict(
        "same",
        f"An engine of serial {taken.serial} is here already. Is it the same engine?",
        _engine_in_words(taken.description, taken.customer, taken.vehicle),
        _engine_in_words(file.engine.description, file.engine.customer, file.engine.vehicle),
        (("join", "The same: add the file's history to ours"), ("apart", "Another one: keep them apart")),
    )
    return (taken if choices.get("same") == "join" else None), [conflict]


def _facts(file: v3.EngineFile, mine: v3.EngineFile | None) -> list[Conflict]:
    if mine is None or all(getattr(mine.engine, name) == getattr(file.engine, name) for name in FACTS):
        return []
    both = [(str(getattr(mine.engine, n)), str(getattr(file.engine, n))) for n in FACTS]
    differ = [(a, b) for a, b in both if a != b]
    return [
        Conflict(
            "facts",
            "What the engine is, or whose, differs. Which is right?",
            ", ".join(a or "empty" for a, _ in differ),
            ", ".join(b or "empty" for _, b in differ),
            (("mine", "Ours"), ("theirs", "The file's")),
        )
    ]


def _meters(session: Session, file: v3.EngineFile, mine: v3.EngineFile | None) -> list[Conflict]:
    """Meters of one key in two shops: the one that every shop begins with is hardly the same instrument."""
    conflicts = []
    known = {v.key for v in mine.visits} if mine else set()
    for meter in file.meters:
        here = session.exec(select(MeterRow).where(MeterRow.key == meter.key)).first()
        new = [v for v in file.visits if v.meter == meter.key and v.key not in known]
        if here is None or not new:
            continue
        used = session.exec(select(Visit).where(Visit.meter_id == here.ident)).first()
        same = all(getattr(here, name) == getattr(meter, name) for name in v3.Meter.model_fields)
        if used is not None or not same:
            conflicts.append(
                Conflict(
                    f"meter-{meter.key}",
                    f"Is the file's {meter.name} the very instrument that goes by {here.name} here?",
                    f"{here.name}, steps of {here.step:g} {here.unit}",
                    f"{meter.name}, steps of {meter.step:g} {meter.unit}",
                    (("apart", "Another instrument"), *((("same", "The same instrument"),) if same else ())),
                )
            )
    return conflicts


def _numbers(file: v3.EngineFile, mine: v3.EngineFile | None) -> list[Conflict]:
    if mine is None:
        return []
    ours = {v.number: v.key for v in mine.visits} | {-f.number: f.key for f in mine.fittings}
    theirs = {v.number: v.key for v in file.visits} | {-f.number: f.key for f in file.fittings}
    known = _keys(mine)
    clash = sorted(n for n, key in theirs.items() if key not in known and n in ours)
    if not clash:
        return []
    return [
        Conflict(
            "numbers",
            "Both shops went on with this engine by themselves, so visits or fittings share their numbers.",
            f"{len(mine.visits)} visits, {len(mine.fittings)} fittings",
            f"{len(file.visits)} visits, {len(file.fittings)} fittings",
            (("append", "Number the file's on after ours"),),
        )
    ]


def _same_rows(file: v3.EngineFile, mine: v3.EngineFile | None) -> None:
    """Raises RefusedError for a row that is here under the same key and says something else."""
    if mine is None:
        return
    ours = dict(_rows(mine))
    for key, said in _rows(file):
        if key in ours and ours[key] != said:
            what = f"A {said[0]} in the file is not what is stored here under its key ({key[:8]})."
            raise RejectedError({"file": f"{what} Nothing was done."})


def _rows(file: v3.EngineFile) -> list[tuple[str, tuple[str, object]]]:
    """Every row of evidence but meters by its key: what it is and what it says, numbers given by a shop left out."""
    aside = {"number", "meter", "rounds", "readings", "moves", "checks", "overrides", "sign_off", "corrections"}
    rows: list[tuple[str, tuple[str, object]]] = [
        (f.key, ("fitting", f.model_dump(exclude={"number"}))) for f in file.fittings
    ]
    for visit in file.visits:
        rows.append((visit.key, ("visit", visit.model_dump(exclude=aside))))
        parts: list[Keyed] = [
            *visit.rounds,
            *visit.readings,
            *visit.moves,
            *visit.checks,
            *visit.overrides,
            *visit.corrections,
        ]
        parts += [visit.sign_off] if visit.sign_off else []
        rows += [(part.key, (type(part).__name__.lower(), part.model_dump())) for part in parts]
    return rows


def _named_keys(file: v3.EngineFile) -> list[tuple[str, str]]:
    return [("engine", file.engine.key), *((said[0], key) for key, said in _rows(file))]


def _keys(file: v3.EngineFile | None) -> set[str]:
    return {key for _, key in _named_keys(file)} if file else set()


def _nonsense(file: v3.EngineFile) -> list[str]:
    """What no shop can have written."""
    wrong = [f"engine.{name}: {words}" for name, words in _as_facts(file.engine).problems().items()]
    keys = Counter(key for _, key in _named_keys(file))
    wrong += [f"the key {key} stands twice" for key, times in keys.items() if times > 1]
    layouts: dict[str, Layout] = {}
    for fitting in file.fittings:
        try:
            layouts[fitting.key] = layout_from_json(fitting.layout.model_dump_json())
        except LayoutError as error:
            wrong.append(f"fitting {fitting.number}: {error}")
        if set(fitting.hardware) != {f.name for f in fields(Hardware)}:
            wrong.append(f"fitting {fitting.number}: these are not the figures of an engine")
    meters = {meter.key: meter for meter in file.meters}
    for one in (file.visits, file.fittings):
        numbers = [row.number for row in one]
        if sorted(set(numbers)) != numbers:
            wrong.append("numbers are not in order")
    for visit in file.visits:
        wrong += [f"visit {visit.number}: {words}" for words in _visit_nonsense(visit, layouts, meters)]
    if any(v.sign_off is None for v in file.visits[:-1]):
        wrong.append("a visit was opened before the one before it was signed off")
    return wrong


def _visit_nonsense(visit: v3.Visit, layouts: Mapping[str, Layout], meters: Mapping[str, v3.Meter]) -> list[str]:
    wrong: list[str] = []
    if visit.fitting not in layouts or visit.meter not in meters:
        return ["its fitting or its meter is not in the file"]
    layout = layouts[visit.fitting]
    by_screw = {(c.near, c.far) for c in layout.couplers() if layout.by_screw(c)}
    wrong += [
        f"no screw sets a coupler {move.near}-{move.far}"
        for move in visit.moves
        if move.kind == "screw" and (move.near, move.far) not in by_screw
    ]
    rounds = {r.key for r in visit.rounds}
    if len({r.number for r in visit.rounds}) < len(rounds):
        wrong.append("two rounds have one number")
    if any(r.from_above and r.opening <= 0 for r in visit.rounds):
        wrong.append("idle is not reached from above")
    for rows, refers in (
        (visit.readings, ()),
        (visit.moves, (("after_reading", {r.key for r in visit.readings}),)),
        (visit.checks, (("after_move", {m.key for m in visit.moves}),)),
    ):
        seen: set[str] = set()
        gone: set[str] = set()
        for row in rows:
            if row.supersedes is not None and (row.supersedes not in seen or row.supersedes in gone):
                wrong.append("a row supersedes one that does not stand before it")
            gone.add(row.supersedes or "")
            seen.add(row.key)
            wrong += [f"{name} is not there" for name, those in refers if (k := getattr(row, name)) and k not in those]
    for reading in visit.readings:
        if reading.round not in rounds:
            wrong.append("a reading belongs to no round")
        if reading.bore not in layout.bores:
            wrong.append(f"there is no bore {reading.bore}")
        if (reading.kind == "skip") != (reading.value is None):
            wrong.append("a skip has no value, and only a skip")
        if reading.unit != meters[visit.meter].unit:
            wrong.append("a reading is not in the unit of its meter")
    for correction in visit.corrections:
        if correction.after_reading and correction.after_reading not in {r.key for r in visit.readings}:
            wrong.append("a correction names a reading that is not there")
        if correction.after_check and correction.after_check not in {c.key for c in visit.checks}:
            wrong.append("a correction names a check that is not there")
    if visit.corrections and visit.sign_off is None:
        wrong.append("corrected before it was signed off")
    return wrong


def _as_facts(engine: v3.Engine) -> EngineFacts:
    return EngineFacts(**{name: getattr(engine, name) for name in FACTS})


def _engine_in_words(*parts: str) -> str:
    return ", ".join(part for part in parts if part) or "nothing more is known"
