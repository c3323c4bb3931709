"""Drafts the rows of an engine's file that a shop does not have yet, with ids of its own in the file's order.

A draft is made while others save, and stored table by table past the ORM as long as its ids are still free: no one
else can save anything meanwhile.
"""

import json
import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlmodel import Session, select

from app.shop.commands.access.sites import called
from app.shop.commands.engines import folded, get
from app.shop.exchange.versions import v6 as v6
from app.shop.record.fittings import hardware_to_json, layout_from_json, layout_to_json
from app.shop.stopwatch import Allowance, TookTooLongError
from app.shop.store.database import raw_connection
from app.shop.store.handing.tables import Elsewhere
from app.shop.store.idempotency import part_key
from app.shop.store.row_hashes import prepared, store_prepared
from app.shop.store.tables import (
    CheckRow,
    Correction,
    Engine,
    EngineEvent,
    Evidence,
    FindingRow,
    Fitting,
    HoursCorrection,
    MeterRow,
    MoveRow,
    OpeningSpeed,
    Override,
    ReadingRow,
    RoundRow,
    Row,
    Setup,
    SignOff,
    StopEnd,
    Visit,
)
from app.sync.engine.hardware import Figure, Hardware

OF_VISIT = (
    "key",
    "payload",
    "place",
    "job",
    "why",
    "by",
    "opened_at",
    "changed",
    "runs",
    "intake",
    "intake_note",
    "meter_own",
    "meter_low",
    "meter_limit",
)

TOLD_OTHERWISE = frozenset(
    {
        *("supersedes", "round", "after_reading", "after_move", "after_check"),
        *("advised", "from_above", "taken_back", "power_off", "fixed", "alike"),
    }
)
"""Fields of a part that its row has as an id of another row, or as a number."""


SELDOM: tuple[type[Evidence], ...] = (
    *(MeterRow, Setup, Fitting, Visit, Override, SignOff, Correction, StopEnd, HoursCorrection),
    FindingRow,
    Elsewhere,
)
OFTEN: tuple[type[Evidence], ...] = (RoundRow, ReadingRow, MoveRow, CheckRow, OpeningSpeed, EngineEvent)
"""Tables of which a draft takes the next ids, and those of which it leaves some to what is saved while it is made."""

MANY, LEFT_FREE = 2_000, 1_000
"""Rows of a file from which it leaves ids free, and how many: others save less while it is made (our judgement)."""

AT_ONCE = 1_000
"""How many rows are handed over at once."""

Rows = tuple[type[Evidence], Sequence[Mapping[str, Any]]]
"""Some rows of a table, ready to be stored."""

FACTS_KEPT = ("key", "payload", "registered_at")
"""What an engine's own file does not change of it."""


@dataclass(frozen=True, slots=True)
class HandingStore:
    """The store that hands an engine over automatically, by the name it has here, and when it did.

    Its visits are those of ``site``; where its token names none, of the site that is called as the store is.
    """

    store: str
    at: str
    site: int | None = None


@dataclass(frozen=True, slots=True)
class Draft:
    """What an import stores: the facts of the engine of ``engine_id``, None where they stay as they are, whether it is
    ``new``, and rows by table.

    ``moment`` is what of the shop it was drafted by; ``first`` the first id of each of the tables that rows are often
    added to. ``rows`` come some at a time.
    """

    engine_id: int
    new: bool
    facts: Mapping[str, Any] | None
    rows: Iterable[Rows]
    moment: tuple[int, ...]
    first: Mapping[type[Evidence], int]

    def fits(self, session: Session) -> bool:
        """Whether nothing was stored since that it would have to heed."""
        taken = any(_newest(session, table) >= first for table, first in self.first.items())
        return not taken and self.moment == _moment(session)

    def store(self, session: Session) -> int:
        """Store it and return the engine's id."""
        if self.new:
            session.add(Engine(**{**(self.facts or {}), "id": self.engine_id}))
        elif self.facts is not None:
            engine = get(session, self.engine_id)
            for name, value in self.facts.items():
                setattr(engine, name, value)
            session.add(engine)
        session.flush()
        for table, rows in self.rows:
            store_prepared(session, table, rows)
        return self.engine_id


class Drafting:
    """One import: ``known`` are the keys of the engine's rows that are here already, ``sender`` is the store that hands
    it over automatically."""

    def __init__(
        self,
        session: Session,
        file: v6.EngineFile,
        choices: Mapping[str, str],
        known: Set[str],
        time: Allowance,
        sender: HandingStore | None = None,
    ) -> None:
        self.sender = sender
        self.session, self.file, self.choices, self.known, self._time = session, file, choices, known, time
        self._moment = _moment(session)
        many = sum(len(visit.readings) + len(visit.checks) + len(visit.moves) for visit in file.visits) >= MANY
        self._next: dict[type[Evidence], int] = {
            table: _newest(session, table) + 1 + (LEFT_FREE if many and table in OFTEN else 0)
            for table in (*SELDOM, *OFTEN)
        }
        self._first = {table: self._next[table] for table in OFTEN}
        self._here: dict[type[Evidence], dict[str, int]] = {}
        self._numbers: dict[type[Visit] | type[Fitting], set[int]] = {}
        self._rows: defaultdict[type[Evidence], list[dict[str, Any]]] = defaultdict(list)

    def draft(self, engine_id: int | None) -> Draft:
        """Everything that is not here yet, for the engine of that id or a new one. Raises TookTooLongError."""
        new, facts = engine_id is None, self._facts(engine_id)
        if engine_id is None:
            engine_id = _newest(self.session, Engine) + 1
        meters = {meter.key: self._meter(meter) for meter in self.file.meters}
        self._setups: dict[str | None, int] = {one.key: self._setup(one) for one in self.file.settings}
        fittings = {fitting.key: self._fitting(fitting, engine_id) for fitting in self.file.fittings}
        for visit in self._time.each(self.file.visits):
            self._visit(visit, self._head(visit, engine_id, fittings[visit.fitting], meters[visit.meter]))
        return Draft(engine_id, new, facts, tuple(_some_at_a_time(self._rows)), self._moment, self._first)

    def _facts(self, engine_id: int | None) -> dict[str, Any] | None:
        """What the engine is to be: all of a new one, of another what was chosen."""
        theirs = self.file.engine.model_dump()
        if engine_id is None:
            serial = self._free_serial(self.file.engine.serial)
            return {**theirs, "serial": serial, "serial_folded": folded(serial), "version": 1}
        if self.choices.get("facts") != "theirs":
            return None
        changed = {name: value for name, value in theirs.items() if name not in FACTS_KEPT}
        version = get(self.session, engine_id).version + 1
        return {**changed, "serial_folded": folded(self.file.engine.serial), "version": version}

    def _free_serial(self, serial: str) -> str:
        """The serial, or with a number behind it when a person said that the one here is another engine."""
        tried, at = serial, 1
        while self.session.exec(select(Engine).where(Engine.serial_folded == folded(tried))).first():
            at += 1
            tried = f"{serial} ({at})"
        return tried

    def _meter(self, meter: v6.Meter) -> int:
        facts = meter.model_dump()
        if self.choices.get(f"meter-{meter.key}") == "apart":
            of = self.sender.store if self.sender else self.file.engine.key
            named = self.sender.store if self.sender else "another shop's"
            facts |= {"key": str(uuid.uuid5(uuid.UUID(meter.key), of)), "name": f"{meter.name}, {named}"}
        here = self.session.exec(select(MeterRow).where(MeterRow.key == facts["key"])).first()
        return here.ident if here else self._add(MeterRow, facts)

    def _setup(self, settings: v6.SettingsVersion) -> int:
        """The id of settings that visits are judged by, which do not become the shop's own."""
        here = self.session.exec(select(Setup).where(Setup.key == settings.key)).first()
        said = json.dumps(settings.said, sort_keys=True)
        facts = {"key": settings.key, "payload": settings.payload, "said": said, "why": "", "by": "", "at": settings.at}
        return here.ident if here else self._add(Setup, {**facts, "brought": 1})

    def _fitting(self, fitting: v6.Fitting, engine_id: int) -> int:
        if fitting.key in self.known:
            return self._ident(Fitting, fitting.key)
        hardware = Hardware(**{name: Figure(f.value, f.measured) for name, f in fitting.hardware.items()})
        said = {
            "key": fitting.key,
            "payload": fitting.payload,
            "engine_id": engine_id,
            "number": self._number(Fitting, engine_id, fitting.number),
            "layout": layout_to_json(layout_from_json(fitting.layout.model_dump_json())),
            "hardware": hardware_to_json(hardware),
            "why": fitting.why,
            "at": fitting.at,
        }
        return self._add(Fitting, said)

    def _head(self, visit: v6.Visit, engine_id: int, fitting_id: int, meter_id: int) -> int:
        """The id of the row of a visit itself."""
        if visit.key in self.known:
            return self._ident(Visit, visit.key)
        own = {name: getattr(visit, name) for name in OF_VISIT}
        number = self._number(Visit, engine_id, visit.number)
        refers: dict[str, Any] = {
            "engine_id": engine_id,
            "fitting_id": fitting_id,
            "meter_id": meter_id,
            "number": number,
            "setup": self._setups.get(visit.settings),
            "site_id": self._site(),
        }
        visit_id = self._add(Visit, {**own, **refers})
        self._belongs(visit, visit_id)
        return visit_id

    def _site(self) -> int | None:
        """The site whose visits come in; None where a person imports them, and for a store of no site."""
        if self.sender is None:
            return None
        return called(self.session, self.sender.store) if self.sender.site is None else self.sender.site

    def _visit(self, visit: v6.Visit, visit_id: int) -> None:
        rounds = {
            r.key: self._row(RoundRow, r, visit_id=visit_id, from_above=1 if r.from_above else None)
            for r in visit.rounds
        }
        readings: dict[str | None, int] = {}
        for reading in visit.readings:
            told = {"round_id": rounds[reading.round], "supersedes_id": readings.get(reading.supersedes)}
            readings[reading.key] = self._row(ReadingRow, reading, **told, **_of_its_sensor(reading))
        moves: dict[str | None, int] = {}
        for move in visit.moves:
            after, before = readings.get(move.after_reading, 0), moves.get(move.supersedes)
            moves[move.key] = self._row(
                MoveRow,
                move,
                visit_id=visit_id,
                after_reading=after,
                supersedes_id=before,
                advised=int(move.advised),
                taken_back=1 if move.taken_back else None,
                power_off=1 if move.power_off else None,
            )
        speeds: dict[str | None, int] = {}
        for speed in visit.speeds:
            after, before = moves.get(speed.after_move, 0), speeds.get(speed.supersedes)
            speeds[speed.key] = self._row(
                OpeningSpeed, speed, round_id=rounds[speed.round], after_move=after, supersedes_id=before
            )
        checks: dict[str | None, int] = {}
        for check in visit.checks:
            after, before = moves.get(check.after_move, 0), checks.get(check.supersedes)
            checks[check.key] = self._row(CheckRow, check, visit_id=visit_id, after_move=after, supersedes_id=before)
        for override in visit.overrides:
            self._row(Override, override, visit_id=visit_id)
        if visit.sign_off:
            self._row(SignOff, visit.sign_off, visit_id=visit_id)
        for one in visit.corrections:
            after, check_after = readings.get(one.after_reading, 0), checks.get(one.after_check, 0)
            self._row(Correction, one, visit_id=visit_id, after_reading=after, after_check=check_after)
        for event in visit.engine_events:
            after, check_after = readings.get(event.after_reading, 0), checks.get(event.after_check, 0)
            self._row(EngineEvent, event, visit_id=visit_id, after_reading=after, after_check=check_after)
        for end in visit.stop_ends:
            self._row(StopEnd, end, visit_id=visit_id, after_check=checks[end.after_check])
        for time in visit.hours_corrections:
            self._row(HoursCorrection, time, visit_id=visit_id)
        self._findings(visit, visit_id, readings, moves)

    def _belongs(self, visit: v6.Visit, visit_id: int) -> None:
        """An open visit that is handed over belongs to its store until the sign-off."""
        if self.sender is not None and visit.sign_off is None:
            key = part_key(visit.key, "elsewhere")
            said = {"visit_id": visit_id, "store": self.sender.store, "away": 1, "by": "", "at": self.sender.at}
            self._add(Elsewhere, {"key": key, "payload": "", **said})

    def _findings(
        self,
        visit: v6.Visit,
        visit_id: int,
        readings: Mapping[str | None, int],
        moves: Mapping[str | None, int],
    ) -> None:
        findings: dict[str | None, int] = {}
        for found in visit.findings:
            findings[found.key] = self._row(
                FindingRow,
                found,
                visit_id=visit_id,
                after_reading=readings.get(found.after_reading, 0),
                after_move=moves.get(found.after_move, 0),
                supersedes_id=findings.get(found.supersedes),
            )

    def _row(self, table: type[Evidence], part: v6.Part, **refers: Any) -> int:
        """The id of the row of a part, made unless it is here."""
        said = {name: value for name, value in part if name not in TOLD_OTHERWISE}
        if said["key"] in self.known:
            return self._ident(table, said["key"])
        return self._add(table, {**said, **refers})

    def _add(self, table: type[Evidence], said: Mapping[str, Any]) -> int:
        """The id of a row that is to be stored with the others. Raises TookTooLongError."""
        ident = self._next[table]
        self._next[table] += 1
        self._rows[table].append(prepared(table, {**_defaults(table), **said, "id": ident}))
        if self._time.over:
            raise TookTooLongError
        return ident

    def _ident(self, table: type[Evidence], key: str) -> int:
        """The id of a row that is here."""
        if table not in self._here:
            query = f'SELECT key, id FROM "{table.__tablename__}" WHERE key IN (SELECT value FROM json_each(?))'
            found = raw_connection(self.session).execute(query, (json.dumps([*self.known]),))
            self._here[table] = dict(found.fetchall())
        return self._here[table][key]

    def _number(self, table: type[Visit] | type[Fitting], engine_id: int, wanted: int) -> int:
        """The number wanted, or the one after the last when it is taken."""
        if table not in self._numbers:
            column: Any = table.number
            self._numbers[table] = set(self.session.exec(select(column).where(table.engine_id == engine_id)).all())
        taken = self._numbers[table]
        number = wanted if wanted not in taken else max(taken) + 1
        taken.add(number)
        return number


def _some_at_a_time(all_rows: Mapping[type[Evidence], Sequence[Mapping[str, Any]]]) -> Iterator[Rows]:
    for table, rows in all_rows.items():
        for start in range(0, len(rows), AT_ONCE):
            yield table, rows[start : start + AT_ONCE]


@cache
def _defaults(table: type[Evidence]) -> dict[str, Any]:
    """What the columns of a table hold that a part says nothing of."""
    return {name: field.default for name, field in table.model_fields.items() if not field.is_required()}


def _moment(session: Session) -> tuple[int, ...]:
    """What changes with every row of a table that is seldom added to, and with the facts of every engine."""
    (versions,) = raw_connection(session).execute("SELECT coalesce(sum(version), 0) FROM engine").fetchone()
    return (versions, _newest(session, Engine), *(_newest(session, table) for table in SELDOM))


def _newest(session: Session, table: type[Row]) -> int:
    (newest,) = raw_connection(session).execute(f'SELECT coalesce(max(id), 0) FROM "{table.__tablename__}"').fetchone()
    return int(newest)


def _of_its_sensor(reading: v6.Reading) -> dict[str, float | None]:
    """Whether a sensor that stays at its bore read it, and by what those differ."""
    return {"fixed": 1, "alike": reading.alike} if reading.fixed else {"fixed": None, "alike": None}
