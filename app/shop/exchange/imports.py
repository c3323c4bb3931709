"""An engine into the shop from another one's file: all of it or nothing, twice is once, a conflict is for a person.

``read`` turns a text into a file that makes sense, ``plan`` says what it would add here and what a person has to choose
first, ``bring_in`` does it in one transaction: ``drafted`` makes what is to be stored, here or in another process, and
``carry_on`` stores it. A row that is here under the same key and says the same is left alone;
one that says something else is refused, because evidence is never changed.
"""

import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, closing
from dataclasses import dataclass, replace
from enum import Enum, auto
from typing import Any

from pydantic import BaseModel, ValidationError
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, select

from app.shop.apart import Talk
from app.shop.at_site import customer, meet
from app.shop.commands.engines import folded
from app.shop.errors import ConflictError, RejectedError
from app.shop.exchange import sealing
from app.shop.exchange.codes import FileChoice, FileQuestion, FileSide
from app.shop.exchange.contradictions import FACTS, contradictions
from app.shop.exchange.exports import contents
from app.shop.exchange.rows import Draft, Drafting, HandingStore, Rows
from app.shop.exchange.versions import v1, v2, v3, v4, v5
from app.shop.exchange.versions import v6 as v6
from app.shop.json_bounds import Bounds
from app.shop.reasons import Reason, because
from app.shop.rejections import Rejection
from app.shop.stopwatch import Allowance, TookTooLongError
from app.shop.store.database import Database
from app.shop.store.tables import Engine, MeterRow, Visit

LARGEST = 12 * 1024 * 1024
"""The longest file that is read [bytes]; an engine with forty visits of three rounds takes about one megabyte."""

BOUNDS = Bounds(depth=12, parts=LARGEST // 100, fields=64, values=LARGEST // 25)
"""The most that a file holds. Without a blank the shortest entry, a seal, takes 120 bytes, and what stands between two
commas 27: a file as long as any may be has fewer. The deepest list, of a bank's bores, is the seventh level; a visit,
the widest entry, has thirty fields."""

NEWEST = 6
"""The newest version of a file."""

MOST_SAID = 5
"""How many faults of one file are named."""

Reading = Callable[[], AbstractContextManager[Session]]
"""What lets work read one moment of the records."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """Something that a person has to choose: one of ``options``, which is sent under ``name``."""

    name: str
    question: Reason
    mine: Reason
    theirs: Reason
    options: tuple[FileChoice, ...]


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """What a file would add here. ``engine_id`` is the engine that it belongs to, None for one that is new here."""

    engine_id: int | None
    adds: Mapping[str, int]
    conflicts: tuple[Conflict, ...]


class _Head(BaseModel):
    """What tells that a text is an engine's file, whatever else it holds."""

    format: Any = None
    version: Any = None


def version_of(sent: bytes) -> int:
    """The version of an engine file, by its head alone. Raises RejectedError where a text is none that is read."""
    if len(sent) > LARGEST:
        raise RejectedError({"file": because(Rejection.FILE_TOO_LARGE, most=LARGEST // 1024 // 1024)})
    try:
        found = _Head.model_validate_json(sent) if BOUNDS.hold(sent) else _Head()
    except ValidationError:
        found = _Head()
    if found.format != "evenbore-engine":
        raise RejectedError({"file": because(Rejection.FILE_NOT_AN_ENGINE)})
    if found.version not in range(1, NEWEST + 1):
        raise RejectedError({"file": because(Rejection.FILE_VERSION, version=str(found.version)[:20], newest=NEWEST)})
    return int(found.version)


def read(text: str | bytes) -> v6.EngineFile:
    """The file that a text is. Raises RejectedError with what is wrong with it."""
    sent = text.encode() if isinstance(text, str) else text
    version = version_of(sent)
    try:
        match version:
            case 1:
                file = v6.from_v1(v1.EngineFile.model_validate_json(sent))
            case 2:
                file = v6.from_v2(v2.EngineFile.model_validate_json(sent))
            case 3:
                file = v6.from_v3(v3.EngineFile.model_validate_json(sent))
            case 4:
                file = v6.from_v4(v4.EngineFile.model_validate_json(sent))
            case 5:
                file = v6.from_v5(v5.EngineFile.model_validate_json(sent))
            case _:
                file = v6.EngineFile.model_validate_json(sent)
    except ValidationError as error:
        wrong_fields = tuple(
            ".".join(map(str, one["loc"])) for one in error.errors(include_url=False, include_input=False)[:MOST_SAID]
        )
        raise RejectedError({"file": because(Rejection.FILE_NOT_BY_SCHEMA, fields=wrong_fields)}) from None
    if faults := tuple(contradictions(file, (key for _, key in _named_keys(file)))[:MOST_SAID]):
        raise RejectedError({"file": because(Rejection.FILE_CONTRADICTS_ITSELF, faults=faults)})
    unsound = sealing.unsound(file)
    if keys := (*unsound.changed, *unsound.gone)[:MOST_SAID]:
        raise RejectedError({"file": because(Rejection.FILE_SEALS, keys=tuple(key[:8] for key in keys))})
    return file


def plan(
    session: Session, file: v6.EngineFile, choices: Mapping[str, str], time: Allowance | None = None
) -> ImportPlan:
    """What ``file`` would add and what is still to be chosen.

    Raises RejectedError when the two cannot go together, TookTooLongError once the ``time`` is over.
    """
    return _plan(session, file, choices, time or Allowance())[0]


def _plan(
    session: Session, file: v6.EngineFile, choices: Mapping[str, str], time: Allowance
) -> tuple[ImportPlan, set[str]]:
    """The plan, and the keys of what is here already."""
    ours, conflicts = _engine(session, file, choices)
    mine = contents(session, ours.ident, file.exported_at) if ours else None
    conflicts += [*_facts(file, mine), *_meters(session, file, mine), *_numbers(file, mine)]
    _same_rows(file, mine, time)
    open_here = {v.key for v in mine.visits if v.sign_off is None} if mine else set()
    if open_here - {v.key for v in file.visits} and any(v.sign_off is None for v in file.visits):
        raise RejectedError({"file": because(Rejection.FILE_OPEN_VISITS)})
    asked = tuple(c for c in conflicts if choices.get(c.name) not in c.options)
    known = _keys(mine)
    adds = Counter(name for name, key in _named_keys(file) if key not in known)
    return ImportPlan(ours.ident if ours else None, adds, asked), known


def bring_in(shop: Database, file: v6.EngineFile, choices: Mapping[str, str], time: Allowance | None = None) -> int:
    """Store what is not here yet and return the engine's id; again, and nothing more is stored.

    Raises ConflictError while something is still to be chosen, RejectedError when it cannot be, TookTooLongError once
    the ``time`` is over; nothing is stored then.
    """
    return int(carry_on(shop, drafted(shop.reading, file, choices, time or Allowance())))


class Again(Enum):
    """What a draft is answered with that no longer fits what is stored."""

    AGAIN = auto()


def drafted(
    reading: Reading,
    file: v6.EngineFile,
    choices: Mapping[str, str],
    time: Allowance,
    sender: HandingStore | None = None,
) -> Talk:
    """The work of an import but for storing it, for ``carry_on``: yields a draft without its rows, then these, then
    None, and returns the id of the engine that it is answered with. ``sender`` is the store that hands it over.
    Raises as ``bring_in``."""
    with reading() as session:
        draft = _draft(session, file, choices, time, sender)
    said = yield replace(draft, rows=())
    if said is Again.AGAIN:
        try:
            with reading() as session:
                draft = _draft(session, file, choices, time, sender)
        except (RejectedError, TookTooLongError) as refusal:
            yield refusal
            raise
        said = yield replace(draft, rows=())
    for rows in draft.rows:
        if said is None:
            said = yield rows
    if said is None:
        said = yield None
    if isinstance(said, Exception):
        raise said
    return said


def carry_on(shop: Database, talk: Talk) -> Any:
    """Store every draft that a talk comes to, each in one transaction, and answer it with the engine's id or with why
    it was refused; what the talk returns. Others may store meanwhile, so that a draft may have to be made again."""
    said: object = None
    with closing(talk):
        while True:
            try:
                draft = talk.send(said)
            except StopIteration as end:
                return end.value
            try:
                said = _stored(shop, draft, talk)
            except (RejectedError, TookTooLongError) as refusal:
                said = refusal


def _stored(shop: Database, draft: Draft, talk: Talk) -> int:
    with shop.writing() as session:
        if not draft.fits(session):
            draft = talk.send(Again.AGAIN)
            if isinstance(draft, Exception):
                raise draft
        try:
            return replace(draft, rows=_received(talk)).store(session)
        except (IntegrityError, sqlite3.IntegrityError):
            raise ConflictError({"file": because(Rejection.FILE_OF_ANOTHER_ENGINE)}) from None


def _received(talk: Talk) -> Iterator[Rows]:
    """The rows of a draft up to the None that ends them: a talk that ends before it raises RuntimeError."""
    while (rows := next(talk)) is not None:
        yield rows


def _draft(
    session: Session, file: v6.EngineFile, choices: Mapping[str, str], time: Allowance, sender: HandingStore | None
) -> Draft:
    made, known = _plan(session, file, choices, time)
    if made.conflicts:
        raise ConflictError({one.name: one.question for one in made.conflicts})
    return Drafting(session, file, choices, known, time, sender).draft(made.engine_id)


def _engine(session: Session, file: v6.EngineFile, choices: Mapping[str, str]) -> tuple[Engine | None, list[Conflict]]:
    """The engine here that the file belongs to, by key or by a person's word."""
    by_key = session.exec(select(Engine).where(Engine.key == file.engine.key)).first()
    if by_key is not None:
        return by_key, []
    taken = session.exec(select(Engine).where(Engine.serial_folded == folded(file.engine.serial))).first()
    if taken is None:
        return None, []
    meet(session, [taken.ident])
    conflict = Conflict(
        "same",
        because(FileQuestion.SAME_ENGINE, serial=taken.serial),
        _details(taken.description, customer(taken), taken.vehicle),
        _details(file.engine.description, file.engine.customer, file.engine.vehicle),
        (FileChoice.JOIN, FileChoice.APART),
    )
    return (taken if choices.get("same") == "join" else None), [conflict]


def _facts(file: v6.EngineFile, mine: v6.EngineFile | None) -> list[Conflict]:
    if mine is None or all(getattr(mine.engine, name) == getattr(file.engine, name) for name in FACTS):
        return []
    both = [(str(getattr(mine.engine, n)), str(getattr(file.engine, n))) for n in FACTS]
    differ = [(a, b) for a, b in both if a != b]
    return [
        Conflict(
            "facts",
            because(FileQuestion.FACTS),
            because(FileSide.DETAILS, details=tuple(a or "–" for a, _ in differ)),
            because(FileSide.DETAILS, details=tuple(b or "–" for _, b in differ)),
            (FileChoice.MINE, FileChoice.THEIRS),
        )
    ]


def _meters(session: Session, file: v6.EngineFile, mine: v6.EngineFile | None) -> list[Conflict]:
    """Meters of one key in two shops: the one that every shop begins with is hardly the same instrument."""
    conflicts = []
    known = {v.key for v in mine.visits} if mine else set()
    for meter in file.meters:
        here = session.exec(select(MeterRow).where(MeterRow.key == meter.key)).first()
        new = [v for v in file.visits if v.meter == meter.key and v.key not in known]
        if here is None or not new:
            continue
        used = session.exec(select(Visit).where(Visit.meter_id == here.ident)).first()
        same = all(getattr(here, name) == getattr(meter, name) for name in v6.Meter.model_fields)
        if used is not None or not same:
            conflicts.append(
                Conflict(
                    f"meter-{meter.key}",
                    because(FileQuestion.SAME_METER, meter=here.name),
                    because(FileSide.METER, meter=here.name, step=here.step, unit=here.unit),
                    because(FileSide.METER, meter=meter.name, step=meter.step, unit=meter.unit),
                    (FileChoice.APART, *((FileChoice.SAME_METER,) if same else ())),
                )
            )
    return conflicts


def _numbers(file: v6.EngineFile, mine: v6.EngineFile | None) -> list[Conflict]:
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
            because(FileQuestion.NUMBERS),
            because(FileSide.COUNTS, visits=len(mine.visits), fittings=len(mine.fittings)),
            because(FileSide.COUNTS, visits=len(file.visits), fittings=len(file.fittings)),
            (FileChoice.APPEND,),
        )
    ]


def _same_rows(file: v6.EngineFile, mine: v6.EngineFile | None, time: Allowance) -> None:
    """Raises RejectedError for a row that is here under the same key and says something else."""
    if mine is None:
        return
    ours = dict(time.each(_rows(mine)))
    for key, said in time.each(_rows(file)):
        if key in ours and ours[key] != said:
            raise RejectedError({"file": because(Rejection.FILE_ENTRY_DIFFERS, kind=said[0], key=key[:8])})


def _rows(file: v6.EngineFile) -> Iterator[tuple[str, tuple[str, object]]]:
    """Every row of evidence but meters by its key: what it is and what it says, numbers given by a shop left out."""
    apart = {"number", "meter", "settings", *sealing.WITHIN}
    aside = {v6.Fitting: {"number"}, v6.Visit: apart}
    for kind, part in _parts(file):
        yield part.key, (kind, part.model_dump(exclude=aside[type(part)]) if type(part) in aside else part)


def _parts(file: v6.EngineFile) -> Iterator[tuple[str, sealing.Keyed]]:
    """Every row of evidence but meters and settings, and what it is."""
    for fitting in file.fittings:
        yield "fitting", fitting
    for visit in file.visits:
        yield "visit", visit
        for part in sealing.of_visit(visit):
            yield type(part).__name__.lower(), part


def _named_keys(file: v6.EngineFile) -> Iterator[tuple[str, str]]:
    yield "engine", file.engine.key
    for kind, part in _parts(file):
        yield kind, part.key


def entry_keys(file: v6.EngineFile) -> set[str]:
    """Keys of everything recorded in a file: the engine and its meters may have other keys in another shop."""
    return {part.key for _, part in _parts(file)}


def _keys(file: v6.EngineFile | None) -> set[str]:
    return {key for _, key in _named_keys(file)} if file else set()


def _details(*parts: str) -> Reason:
    entered = tuple(part for part in parts if part)
    return because(FileSide.DETAILS, details=entered) if entered else because(FileSide.NO_DETAILS)
