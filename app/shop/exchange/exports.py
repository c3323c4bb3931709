"""An engine out of the shop: its whole history as a file for another shop."""

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import TypeVar

from sqlmodel import Session, col, select

from app.shop.at_site import customer
from app.shop.commands import engines
from app.shop.errors import RejectedError
from app.shop.exchange.sealing import sealed
from app.shop.exchange.versions import v6 as v6
from app.shop.reasons import because
from app.shop.record import loader, stored_settings
from app.shop.record.entries import MeterEntry, MeterReading
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.tables import FindingRow, Fitting, HoursCorrection, Setup, Visit
from app.shop.training import training

P = TypeVar("P", bound=v6.Part)
R = TypeVar("R", HoursCorrection, FindingRow)


def engine_file(session: Session, engine_id: int, at: str) -> v6.EngineFile:
    """One engine with everything ever recorded of it, sealed. Raises NotFoundError, RejectedError for a training
    engine."""
    return sealed(session, contents(session, engine_id, at), engine_id)


def contents(session: Session, engine_id: int, at: str) -> v6.EngineFile:
    """The same without seals. Raises NotFoundError, RejectedError for a training engine."""
    engine = engines.get(session, engine_id)
    if training.of_engine(session, engine_id) is not None:
        raise RejectedError({"": because(Rejection.TRAINING_STAYS)})
    fittings = session.exec(select(Fitting).where(Fitting.engine_id == engine_id).order_by(col(Fitting.number))).all()
    records = list(reversed(loader.of_engine(session, engine_id)))
    meters: dict[int, MeterEntry] = {record.meter.ident: record.meter for record in records}
    keys = {f.ident: f.key for f in fittings}
    settings = _settings(session, records)
    hours = _by_visit(session, engine_id, HoursCorrection)
    findings = _by_visit(session, engine_id, FindingRow)
    return v6.EngineFile(
        format="evenbore-engine",
        version=6,
        exported_at=at,
        engine=_part(v6.Engine, engine, customer=customer(engine)),
        meters=[_part(v6.Meter, meter) for _, meter in sorted(meters.items())],
        fittings=[
            _part(v6.Fitting, f, layout=v6.whole(json.loads(f.layout)), hardware=json.loads(f.hardware))
            for f in fittings
        ],
        settings=list(settings.values()),
        visits=[
            _visit(
                record,
                keys,
                hours[record.visit.ident],
                findings[record.visit.ident],
                settings=settings[record.visit.setup].key if record.visit.setup else None,
            )
            for record in records
        ],
        seals=[],
    )


def written(file: v6.EngineFile) -> str:
    """The text of a file, the same for the same contents."""
    return json.dumps(file.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"


def _part(part: type[P], row: object, **others: object) -> P:
    """A part of the file from the columns of a row that it has by the same name, and from ``others``."""
    same = {name: getattr(row, name) for name in part.model_fields if hasattr(row, name)}
    return part.model_validate({**same, **others})


def _settings(session: Session, records: Sequence[VisitRecord]) -> dict[int, v6.SettingsVersion]:
    """The settings that visits are judged by, as far as they judge, by id."""
    ids = {record.visit.setup for record in records if record.visit.setup}
    rows = session.exec(select(Setup).where(col(Setup.id).in_(ids)).order_by(col(Setup.id))).all() if ids else []
    return {row.ident: _part(v6.SettingsVersion, row, said=stored_settings.judging(row.said)) for row in rows}


def _by_visit(session: Session, engine_id: int, table: type[R]) -> Mapping[int, list[R]]:
    """The rows of a table that an engine's visits have, by visit, in the order they were stored."""
    asked = select(table).join(Visit).where(Visit.engine_id == engine_id).order_by(col(table.id))
    found: dict[int, list[R]] = defaultdict(list)
    for row in session.exec(asked).all():
        found[row.visit_id].append(row)
    return found


def _reading(one: MeterReading, round_key: str, supersedes: str | None) -> v6.Reading:
    return _part(v6.Reading, one, round=round_key, supersedes=supersedes, fixed=bool(one.fixed))


def _visit(
    record: VisitRecord,
    fittings: Mapping[int, str],
    hours: Sequence[HoursCorrection],
    findings: Sequence[FindingRow],
    *,
    settings: str | None,
) -> v6.Visit:
    rounds = {r.row.ident: r.row.key for r in record.rounds}
    entered = sorted((e for r in record.rounds for e in r.entered), key=lambda e: e.ident)
    readings: dict[int | None, str] = {e.ident: e.key for e in entered}
    moves: dict[int | None, str] = {m.ident: m.key for m in record.all_moves}
    checks: dict[int | None, str] = {c.ident: c.key for c in record.all_checks}
    return _part(
        v6.Visit,
        record.visit,
        fitting=fittings[record.visit.fitting_id],
        settings=settings,
        meter=record.meter.key,
        rounds=[_part(v6.Round, r.row, from_above=bool(r.row.from_above)) for r in record.rounds],
        readings=[_reading(e, rounds[e.round_id], readings.get(e.supersedes_id)) for e in entered],
        speeds=_speeds(record, rounds, moves),
        moves=[
            _part(
                v6.Move,
                m,
                advised=bool(m.advised),
                taken_back=bool(m.taken_back),
                power_off=bool(m.power_off),
                after_reading=readings.get(m.after_reading),
                supersedes=moves.get(m.supersedes_id),
            )
            for m in record.all_moves
        ],
        checks=[
            _part(v6.Check, c, after_move=moves.get(c.after_move), supersedes=checks.get(c.supersedes_id))
            for c in record.all_checks
        ],
        overrides=[_part(v6.Override, o) for o in record.overrides],
        sign_off=_part(v6.SignOff, record.sign_off) if record.sign_off else None,
        corrections=[
            _part(
                v6.Correction,
                c,
                after_reading=readings.get(c.after_reading),
                after_check=checks.get(c.after_check),
            )
            for c in record.corrections
        ],
        hours_corrections=[_part(v6.HoursCorrection, one) for one in hours],
        findings=_findings(findings, readings, moves),
        **_starts_and_stops(record, readings, checks),
    )


def _speeds(record: VisitRecord, rounds: Mapping[int, str], moves: Mapping[int | None, str]) -> list[v6.Speed]:
    ran = sorted((s for r in record.rounds for s in r.speeds), key=lambda s: s.ident)
    keys: dict[int | None, str] = {s.ident: s.key for s in ran}
    return [
        _part(
            v6.Speed,
            s,
            round=rounds[s.round_id],
            after_move=moves.get(s.after_move),
            supersedes=keys.get(s.supersedes_id),
        )
        for s in ran
    ]


def _findings(
    rows: Sequence[FindingRow], readings: Mapping[int | None, str], moves: Mapping[int | None, str]
) -> list[v6.Finding]:
    keys: dict[int | None, str] = {row.ident: row.key for row in rows}
    return [
        _part(
            v6.Finding,
            row,
            after_reading=readings.get(row.after_reading),
            after_move=moves.get(row.after_move),
            supersedes=keys.get(row.supersedes_id),
        )
        for row in rows
    ]


def _starts_and_stops(
    record: VisitRecord, readings: Mapping[int | None, str], checks: Mapping[int | None, str]
) -> dict[str, list[v6.EngineEvent] | list[v6.StopEnd]]:
    events = [
        _part(v6.EngineEvent, e, after_reading=readings.get(e.after_reading), after_check=checks.get(e.after_check))
        for e in record.engine_events
    ]
    ends = [_part(v6.StopEnd, e, after_check=checks[e.after_check]) for e in record.stop_ends]
    return {"engine_events": events, "stop_ends": ends}
