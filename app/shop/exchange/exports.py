"""An engine out of the shop: its whole history as a file for another shop."""

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import TypeVar

from sqlmodel import Session, col, select

from app.shop.at_site import customer
from app.shop.commands import engines
from app.shop.errors import RejectedError
from app.shop.exchange import v5 as v5
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.entries import MeterEntry, MeterReading
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.tables import FindingRow, Fitting, HoursCorrection, Visit
from app.shop.training import training

P = TypeVar("P", bound=v5.Part)
R = TypeVar("R", HoursCorrection, FindingRow)


def engine_file(session: Session, engine_id: int, at: str) -> v5.EngineFile:
    """One engine with everything ever recorded of it. Raises NotFoundError, RejectedError for a training engine."""
    engine = engines.get(session, engine_id)
    if training.of_engine(session, engine_id) is not None:
        raise RejectedError({"": because(Rejection.TRAINING_STAYS)})
    fittings = session.exec(select(Fitting).where(Fitting.engine_id == engine_id).order_by(col(Fitting.number))).all()
    records = list(reversed(loader.of_engine(session, engine_id)))
    meters: dict[int, MeterEntry] = {record.meter.ident: record.meter for record in records}
    keys = {f.ident: f.key for f in fittings}
    hours = _by_visit(session, engine_id, HoursCorrection)
    findings = _by_visit(session, engine_id, FindingRow)
    return v5.EngineFile(
        format="evenbore-engine",
        version=5,
        exported_at=at,
        engine=_part(v5.Engine, engine, customer=customer(engine)),
        meters=[_part(v5.Meter, meter) for _, meter in sorted(meters.items())],
        fittings=[
            _part(v5.Fitting, f, layout=v5.whole(json.loads(f.layout)), hardware=json.loads(f.hardware))
            for f in fittings
        ],
        visits=[_visit(record, keys, hours[record.visit.ident], findings[record.visit.ident]) for record in records],
    )


def written(file: v5.EngineFile) -> str:
    """The text of a file, the same for the same contents."""
    return json.dumps(file.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"


def _part(part: type[P], row: object, **others: object) -> P:
    """A part of the file from the columns of a row that it has by the same name, and from ``others``."""
    same = {name: getattr(row, name) for name in part.model_fields if hasattr(row, name)}
    return part.model_validate({**same, **others})


def _by_visit(session: Session, engine_id: int, table: type[R]) -> Mapping[int, list[R]]:
    """The rows of a table that an engine's visits have, by visit, in the order they were stored."""
    asked = select(table).join(Visit).where(Visit.engine_id == engine_id).order_by(col(table.id))
    found: dict[int, list[R]] = defaultdict(list)
    for row in session.exec(asked).all():
        found[row.visit_id].append(row)
    return found


def _reading(one: MeterReading, round_key: str, supersedes: str | None) -> v5.Reading:
    return _part(v5.Reading, one, round=round_key, supersedes=supersedes, fixed=bool(one.fixed))


def _visit(
    record: VisitRecord,
    fittings: Mapping[int, str],
    hours: Sequence[HoursCorrection],
    findings: Sequence[FindingRow],
) -> v5.Visit:
    rounds = {r.row.ident: r.row.key for r in record.rounds}
    entered = sorted((e for r in record.rounds for e in r.entered), key=lambda e: e.ident)
    readings: dict[int | None, str] = {e.ident: e.key for e in entered}
    moves: dict[int | None, str] = {m.ident: m.key for m in record.all_moves}
    checks: dict[int | None, str] = {c.ident: c.key for c in record.all_checks}
    return _part(
        v5.Visit,
        record.visit,
        fitting=fittings[record.visit.fitting_id],
        meter=record.meter.key,
        rounds=[_part(v5.Round, r.row, from_above=bool(r.row.from_above)) for r in record.rounds],
        readings=[_reading(e, rounds[e.round_id], readings.get(e.supersedes_id)) for e in entered],
        speeds=_speeds(record, rounds, moves),
        moves=[
            _part(
                v5.Move,
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
            _part(v5.Check, c, after_move=moves.get(c.after_move), supersedes=checks.get(c.supersedes_id))
            for c in record.all_checks
        ],
        overrides=[_part(v5.Override, o) for o in record.overrides],
        sign_off=_part(v5.SignOff, record.sign_off) if record.sign_off else None,
        corrections=[
            _part(
                v5.Correction,
                c,
                after_reading=readings.get(c.after_reading),
                after_check=checks.get(c.after_check),
            )
            for c in record.corrections
        ],
        hours_corrections=[_part(v5.HoursCorrection, one) for one in hours],
        findings=_findings(findings, readings, moves),
        **_starts_and_stops(record, readings, checks),
    )


def _speeds(record: VisitRecord, rounds: Mapping[int, str], moves: Mapping[int | None, str]) -> list[v5.Speed]:
    ran = sorted((s for r in record.rounds for s in r.speeds), key=lambda s: s.ident)
    keys: dict[int | None, str] = {s.ident: s.key for s in ran}
    return [
        _part(
            v5.Speed,
            s,
            round=rounds[s.round_id],
            after_move=moves.get(s.after_move),
            supersedes=keys.get(s.supersedes_id),
        )
        for s in ran
    ]


def _findings(
    rows: Sequence[FindingRow], readings: Mapping[int | None, str], moves: Mapping[int | None, str]
) -> list[v5.Finding]:
    keys: dict[int | None, str] = {row.ident: row.key for row in rows}
    return [
        _part(
            v5.Finding,
            row,
            after_reading=readings.get(row.after_reading),
            after_move=moves.get(row.after_move),
            supersedes=keys.get(row.supersedes_id),
        )
        for row in rows
    ]


def _starts_and_stops(
    record: VisitRecord, readings: Mapping[int | None, str], checks: Mapping[int | None, str]
) -> dict[str, list[v5.EngineEvent] | list[v5.StopEnd]]:
    events = [
        _part(v5.EngineEvent, e, after_reading=readings.get(e.after_reading), after_check=checks.get(e.after_check))
        for e in record.engine_events
    ]
    ends = [_part(v5.StopEnd, e, after_check=checks[e.after_check]) for e in record.stop_ends]
    return {"engine_events": events, "stop_ends": ends}
