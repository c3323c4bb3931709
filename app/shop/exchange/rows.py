"""Writes the rows of an engine's file that a shop does not have yet, with ids of its own in the file's order.

They are worked out first, with the ids that are free, and then stored table by table: a row of its own through the ORM
takes twenty times as long, and nobody else can save anything meanwhile.
"""

import json
import uuid
from collections import defaultdict
from collections.abc import Mapping, Set
from functools import cache
from typing import Any

from sqlmodel import Session, select

from app.shop.commands.engines import folded, get
from app.shop.exchange import v5 as v5
from app.shop.record.fittings import hardware_to_json, layout_from_json, layout_to_json
from app.shop.store.database import raw_connection
from app.shop.store.row_hashes import store_all
from app.shop.store.tables import (
    CheckRow,
    Correction,
    Engine,
    EngineEvent,
    Evidence,
    Fitting,
    MeterRow,
    MoveRow,
    OpeningSpeed,
    Override,
    ReadingRow,
    RoundRow,
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
        *("advised", "from_above", "taken_back", "power_off"),
    }
)
"""Fields of a part that its row has as an id of another row, or as a number."""


class Writer:
    """One import: ``known`` are the keys of the engine's rows that are here already."""

    def __init__(self, session: Session, file: v5.EngineFile, choices: Mapping[str, str], known: Set[str]) -> None:
        self.session, self.file, self.choices, self.known = session, file, choices, known
        self._here: dict[type[Evidence], dict[str, int]] = {}
        self._next: dict[type[Evidence], int] = {}
        self._numbers: dict[type[Visit] | type[Fitting], set[int]] = {}
        self._rows: defaultdict[type[Evidence], list[dict[str, Any]]] = defaultdict(list)

    def write(self, engine_id: int | None) -> int:
        """Everything that is not here yet, for the engine of that id or a new one; the engine's id."""
        engine_id = self._engine(engine_id)
        meters = {meter.key: self._meter(meter) for meter in self.file.meters}
        fittings = {fitting.key: self._fitting(fitting, engine_id) for fitting in self.file.fittings}
        for visit in self.file.visits:
            self._visit(visit, engine_id, fittings[visit.fitting], meters[visit.meter])
        for table, rows in self._rows.items():
            store_all(self.session, table, rows)
        return engine_id

    def _engine(self, engine_id: int | None) -> int:
        theirs = self.file.engine.model_dump()
        if engine_id is None:
            serial = self._free_serial(self.file.engine.serial)
            engine = Engine(**{**theirs, "serial": serial, "serial_folded": folded(serial), "version": 1})
            self.session.add(engine)
            self.session.flush()
            return engine.ident
        if self.choices.get("facts") == "theirs":
            engine = get(self.session, engine_id)
            for name, value in theirs.items():
                if name not in ("key", "payload", "registered_at"):
                    setattr(engine, name, value)
            engine.serial_folded = folded(engine.serial)
            engine.version += 1
            self.session.add(engine)
        return engine_id

    def _free_serial(self, serial: str) -> str:
        """The serial, or with a number behind it when a person said that the one here is another engine."""
        tried, at = serial, 1
        while self.session.exec(select(Engine).where(Engine.serial_folded == folded(tried))).first():
            at += 1
            tried = f"{serial} ({at})"
        return tried

    def _meter(self, meter: v5.Meter) -> int:
        facts = meter.model_dump()
        if self.choices.get(f"meter-{meter.key}") == "apart":
            key = str(uuid.uuid5(uuid.UUID(meter.key), self.file.engine.key))
            facts |= {"key": key, "name": f"{meter.name}, another shop's"}
        here = self.session.exec(select(MeterRow).where(MeterRow.key == facts["key"])).first()
        return here.ident if here else self._add(MeterRow, facts)

    def _fitting(self, fitting: v5.Fitting, engine_id: int) -> int:
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

    def _visit(self, visit: v5.Visit, engine_id: int, fitting_id: int, meter_id: int) -> None:
        if visit.key in self.known:
            visit_id = self._ident(Visit, visit.key)
        else:
            own = {name: getattr(visit, name) for name in OF_VISIT}
            number = self._number(Visit, engine_id, visit.number)
            refers: dict[str, Any] = {
                "engine_id": engine_id,
                "fitting_id": fitting_id,
                "meter_id": meter_id,
                "number": number,
            }
            visit_id = self._add(Visit, {**own, **refers})
        rounds = {
            r.key: self._row(RoundRow, r, visit_id=visit_id, from_above=1 if r.from_above else None)
            for r in visit.rounds
        }
        readings: dict[str | None, int] = {}
        for reading in visit.readings:
            before = readings.get(reading.supersedes)
            readings[reading.key] = self._row(ReadingRow, reading, round_id=rounds[reading.round], supersedes_id=before)
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

    def _row(self, table: type[Evidence], part: v5.Part, **refers: Any) -> int:
        """The id of the row of a part, made unless it is here."""
        said = {name: value for name, value in part if name not in TOLD_OTHERWISE}
        if said["key"] in self.known:
            return self._ident(table, said["key"])
        return self._add(table, {**said, **refers})

    def _add(self, table: type[Evidence], said: Mapping[str, Any]) -> int:
        """The id of a row that is to be stored with the others."""
        if table not in self._next:
            query = f'SELECT coalesce(max(id), 0) + 1 FROM "{table.__tablename__}"'
            (self._next[table],) = raw_connection(self.session).execute(query).fetchone()
        ident = self._next[table]
        self._next[table] += 1
        self._rows[table].append({**_defaults(table), **said, "id": ident})
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


@cache
def _defaults(table: type[Evidence]) -> dict[str, Any]:
    """What the columns of a table hold that a part says nothing of."""
    return {name: field.default for name, field in table.model_fields.items() if not field.is_required()}
