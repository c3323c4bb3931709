"""A whole shop in a zip: as tables with their data dictionary, or as the engine files that another shop imports.

The dictionary is ``datapackage.json`` by the Data Package standard, version 2.0 (https://datapackage.org), with Table
Schema for the columns. Simulated engines are left out.
"""

import json
import tempfile
import zipfile
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import IO, Any

from sqlmodel import Session, col, select

from app.shop.at_site import meet
from app.shop.commands.engines import fitting_now
from app.shop.cross_check.weighing import stored
from app.shop.exchange.exports import engine_file, written
from app.shop.exchange.tables import columns, tidy
from app.shop.exchange.tables.columns import Column
from app.shop.exchange.tables.tidy import CellWords, add_rows
from app.shop.queries.hours import by_visit
from app.shop.record import loader
from app.shop.record.fittings import layout_from_json
from app.shop.stopwatch import Allowance
from app.shop.store.tables import Engine
from app.shop.training import training

PROFILES = "https://datapackage.org/profiles/2.0"

TABLES: dict[str, tuple[Sequence[Column], str]] = {
    "engines": (columns.ENGINES, "Every engine, with the layout that is fitted now."),
    "visits": (columns.VISITS, "Every visit, with its largest differences as found and as left."),
    "readings": (columns.READINGS, "Every reading, one a row, with those that were corrected later."),
    "moves": (columns.MOVES, "Every entry of an adjustment."),
    "checks": (columns.CHECKS, "Every entry of an item of a checklist, temperatures and pressures among them."),
    "hours": (columns.HOURS, "How long each phase of a visit took at the engine."),
    "findings": (columns.FINDINGS, "Every entry of the cross-check of an engine that ran uneven."),
}
KEYS = {
    "engines": ["engine"],
    "visits": ["engine", "visit"],
    "moves": ["engine", "visit", "move"],
    "hours": ["engine", "visit", "phase"],
}
"""What names a row of a table; a reading, a check and a finding have no name of their own."""

ABOUT = (
    "The records of a shop. Text that a spreadsheet would take for a formula begins with an apostrophe; a column's "
    "`unit` is a unit, or `column:NAME` for what stands in that column of the row."
)


def write_tables(session: Session, to: IO[bytes], words: CellWords, at: str, time: Allowance) -> None:
    """Write the zip of all tables and ``datapackage.json`` to a file. ``at`` is when, ISO 8601.

    A shop's tables are long: they grow on the disk, engine by engine. Raises TookTooLongError.
    """
    with tempfile.TemporaryDirectory() as folder, zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("datapackage.json", json.dumps(descriptor(at), indent=1, ensure_ascii=False) + "\n")
        files = {name: Path(folder) / f"{name}.csv" for name in TABLES}
        with ExitStack() as held_open:
            tables = {name: held_open.enter_context(_begun(file, name)) for name, file in files.items()}
            for engine in time.each(_engines(session)):
                layout = layout_from_json(fitting_now(session, engine.ident).layout)
                add_rows(tables["engines"], [tidy.engine(engine, layout)])
                records = loader.of_engine(session, engine.ident)
                took = by_visit(session, {record.visit.ident: record.settings.gap for record in records})
                for record in reversed(records):
                    add_rows(tables["findings"], tidy.findings(record, stored(session, record.visit.ident)))
                    add_rows(tables["hours"], tidy.hours(record, took[record.visit.ident]))
                    add_rows(tables["visits"], [tidy.visits(record)])
                    add_rows(tables["readings"], tidy.readings(record, words))
                    add_rows(tables["moves"], tidy.moves(record))
                    add_rows(tables["checks"], tidy.checks(record, words))
        for file in files.values():
            made.write(file, file.name)


def _begun(file: Path, name: str) -> IO[str]:
    """A table that is to grow in a file, with its heading."""
    table = file.open("w", encoding="utf-8", newline="")
    add_rows(table, [columns.names(TABLES[name][0])])
    return table


def write_engine_files(session: Session, to: IO[bytes], at: str, time: Allowance) -> None:
    """Write the zip of all engine files to a file. A serial may hold what no file name may, so they are numbered.

    Raises TookTooLongError.
    """
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as made:
        for engine in time.each(_engines(session)):
            made.writestr(f"engine-{engine.ident}.json", written(engine_file(session, engine.ident, at)))


def descriptor(at: str) -> dict[str, Any]:
    """``datapackage.json`` of the tables."""
    return {
        "$schema": f"{PROFILES}/datapackage.json",
        "name": "evenbore-shop",
        "title": "Records of a shop",
        "description": ABOUT,
        "created": at,
        "resources": [_resource(name, of, about) for name, (of, about) in TABLES.items()],
    }


def _resource(name: str, of: Sequence[Column], about: str) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "$schema": f"{PROFILES}/tableschema.json",
        "fields": [column.field() for column in of],
        "missingValues": [""],
    }
    if name in KEYS:
        schema["primaryKey"] = KEYS[name]
    if name != "engines":
        to = "engines" if name == "visits" else "visits"
        schema["foreignKeys"] = [{"fields": KEYS[to], "reference": {"resource": to, "fields": KEYS[to]}}]
    return {
        "$schema": f"{PROFILES}/dataresource.json",
        "name": name,
        "type": "table",
        "description": about,
        "path": f"{name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": schema,
    }


def _engines(session: Session) -> list[Engine]:
    simulated = training.ids(session)
    engines = session.exec(select(Engine).order_by(col(Engine.id))).all()
    meet(session, (engine.ident for engine in engines))
    return [engine for engine in engines if engine.ident not in simulated]
