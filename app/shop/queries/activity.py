"""Who did what when, read from the rows of evidence themselves: there is no second book that could disagree with them.

The order is that of the clock when each row was stored, because rows of different tables share nothing else; inside a
table it is the order in which they were stored. Each line is a code with its values; the words are in
``app.wording.office.activity``.
"""

import json
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, NamedTuple

from sqlmodel import Session

from app.shop.reasons import Reason, because
from app.shop.record.loader import worked_on
from app.shop.record.visit_record import MISTAKEN, TAKEN_BACK
from app.shop.store.database import raw_connection


class Activity(StrEnum):
    """What was done."""

    ENGINE = "engine-registered"
    HARDWARE = "hardware-changed"
    VISIT = "visit-opened"
    ROUND = "round-started"
    READING = "reading"
    SKIP = "bore-skipped"
    ADJUSTED = "adjusted"
    """An adjuster of some ``kind`` was moved."""
    FIGURE = "figure-entered"
    """A figure of a checklist item, in the item's own unit."""
    TEXT = "text-entered"
    TICK = "item-checked"
    UNDONE = "item-undone"
    WAIVER = "phase-waived"
    ENGINE_STARTED = "engine-started"
    ENGINE_STOPPED = "engine-stopped"
    STOP_ENDED = "stop-ended"
    """A stop, with its ``cause`` and ``remedy``."""
    MISTAKEN = "opened-by-mistake"
    """A visit with nothing in it was ended, and ``why``."""
    SIGN_OFF = "signed-off"
    CORRECTION = "corrected-after-sign-off"
    HOURS = "hours-corrected"
    FINDING = "finding-entered"
    """One thing of a cross-check, of a ``kind``."""
    PERSON_ADDED = "person-added"
    PERSON_REMOVED = "person-removed"
    PIN_CHANGED = "pin-changed"
    PIN_WRONG = "pin-wrong"
    TABLET_PAIRED = "tablet-paired"
    TABLET_RENAMED = "tablet-renamed"
    TABLET_REMOVED = "tablet-removed"
    TABLET_MOVED = "tablet-moved"
    """To a ``room`` of a ``site``."""
    TABLET_WITHOUT_ROOM = "tablet-without-room"
    SITE_ADDED = "site-added"
    SITE_CHANGED = "site-changed"
    SITE_CLOSED = "site-closed"
    ROOM_ADDED = "room-added"
    """``name``, at a ``site``."""
    ROOM_RENAMED = "room-renamed"
    ROOM_CLOSED = "room-closed"
    REPLACED = "replaced"
    """``what`` is a reading or a move that takes the place of an earlier one."""
    TAKEN_BACK = "taken-back"
    """``what`` is a move that was not made after all."""
    REPEATED = "repeated"
    """``what`` is a checklist entry that follows an earlier one."""


class _Part(NamedTuple):
    """The lines of one ``table``, as SQL: its ``rows``, ``t`` among them; which of them; when, who, the code of
    ``Activity`` and its values; the code that wraps it where the row follows an earlier one; its visit and engine."""

    table: str
    rows: str
    code: str
    told: str = "'{}'"
    wrap: str = "''"
    at: str = "t.at"
    who: str = 't."by"'
    visit: str = "0"
    engine: str = "0"
    where: str = "1 = 1"

    def newest(self, wanted: str) -> str:
        """The newest lines of those that are ``wanted`` of a visit."""
        return f"""SELECT * FROM (SELECT {self.at} AS at, {self.who} AS who, {self.code} AS code, {self.told} AS told,
        {self.wrap} AS wrap, {self.visit} AS visit, {self.engine} AS engine, '{self.table}' AS part, t.id AS id
        FROM {self.rows} WHERE {self.where} AND {wanted.format(visit=self.visit)}
        ORDER BY {self.at} DESC, t.id DESC LIMIT :reach) AS newest_of_{self.table}"""


def _of_visit(table: str, code: str, told: str = "'{}'", wrap: str = "''", who: str = 't."by"') -> _Part:
    """A table whose rows name their visit."""
    rows = f'"{table}" t JOIN visit v ON v.id = t.visit_id'
    return _Part(table, rows, code, told, wrap, who=who, visit="t.visit_id", engine="v.engine_id")


PARTS = (
    _Part(
        "engine", "engine t", "'engine-registered'", "json_object('serial', t.serial)",
        at="t.registered_at", who="''", engine="t.id",
    ),
    _Part(
        "fitting", "fitting t", "'hardware-changed'", "json_object('why', t.why)",
        who="''", engine="t.engine_id", where="t.number > 1",
    ),
    _Part(
        "visit", "visit t", "'visit-opened'", "json_object('number', t.number, 'place', t.place)",
        at="t.opened_at", visit="t.id", engine="t.engine_id",
    ),
    _Part(
        "round", "round t JOIN visit v ON v.id = t.visit_id", "'round-started'",
        "json_object('number', t.number, 'phase', t.phase)",
        at="t.begun_at", who="''", visit="t.visit_id", engine="v.engine_id",
    ),
    _Part(
        "reading",
        """reading t JOIN round o ON o.id = t.round_id JOIN visit v ON v.id = o.visit_id
        JOIN meter m ON m.id = v.meter_id""",
        "CASE t.kind WHEN 'skip' THEN 'bore-skipped' ELSE 'reading' END",
        """json_object('bore', t.bore, 'value', t.value, 'unit', t.unit, 'step', m.step, 'why', t.why,
        'round', o.number, 'phase', o.phase)""",
        "CASE WHEN t.supersedes_id IS NULL THEN '' ELSE 'replaced' END",
        visit="o.visit_id", engine="v.engine_id",
    ),
    _of_visit(
        "move", "'adjusted'", "json_object('kind', t.kind, 'near', t.near, 'far', t.far, 'bank', t.bank)",
        "CASE WHEN t.supersedes_id IS NULL THEN '' WHEN t.taken_back = 1 THEN 'taken-back' ELSE 'replaced' END",
    ),
    _of_visit(
        "check",
        """CASE WHEN t.text = :undone THEN 'item-undone' WHEN t.number IS NOT NULL THEN 'figure-entered'
        WHEN t.text <> '' THEN 'text-entered' ELSE 'item-checked' END""",
        "json_object('phase', t.phase, 'item', t.item, 'number', t.number, 'text', t.text)",
        "CASE WHEN t.supersedes_id IS NULL OR t.text = :undone THEN '' ELSE 'repeated' END",
    ),
    _of_visit(
        "override", "CASE WHEN t.gate = :mistaken THEN 'opened-by-mistake' ELSE 'phase-waived' END",
        "json_object('phase', t.phase, 'why', t.why)",
    ),
    _of_visit("engine_event", "CASE t.what WHEN 'started' THEN 'engine-started' ELSE 'engine-stopped' END"),
    _of_visit(
        "stop_end", "'stop-ended'", "json_object('cause', t.cause, 'text', t.cause_text, 'remedy', t.remedy)"
    ),
    _of_visit("sign_off", "'signed-off'", who="t.name")._replace(where=worked_on("t.visit_id")),
    _of_visit("correction", "'corrected-after-sign-off'", "json_object('why', t.why)"),
    _of_visit("hours_correction", "'hours-corrected'", "json_object('phase', t.phase, 'why', t.why)"),
    _of_visit(
        "finding", "'finding-entered'", "json_object('kind', t.kind, 'bore', t.bore)",
        "CASE WHEN t.supersedes_id IS NULL THEN '' ELSE 'taken-back' END",
    ),
    _Part(
        "person", "person t",
        """CASE WHEN t.active = 0 THEN 'person-removed' WHEN t.supersedes_id IS NULL THEN 'person-added'
        ELSE 'pin-changed' END""",
        who="t.name",
    ),
    _Part("pin_try", "pin_try t", "'pin-wrong'", who="t.name", where='t."right" = 0'),
    _Part(
        "tablet",
        """tablet t LEFT JOIN tablet b ON b.id = t.supersedes_id LEFT JOIN room r ON r.id = t.room_id
        LEFT JOIN site s ON s.id = r.site_id""",
        """CASE WHEN t.active = 0 THEN 'tablet-removed' WHEN t.supersedes_id IS NULL THEN 'tablet-paired'
        WHEN coalesce(t.room_id, 0) <> coalesce(b.room_id, 0) THEN
        CASE WHEN t.room_id IS NULL THEN 'tablet-without-room' ELSE 'tablet-moved' END ELSE 'tablet-renamed' END""",
        "json_object('name', t.name, 'room', r.name, 'site', s.name)",
        who="''",
    ),
    _Part(
        "site", "site t",
        """CASE WHEN t.active = 0 THEN 'site-closed' WHEN t.supersedes_id IS NULL THEN 'site-added'
        ELSE 'site-changed' END""",
        "json_object('name', t.name)",
    ),
    _Part(
        "room", "room t JOIN site s ON s.id = t.site_id",
        """CASE WHEN t.active = 0 THEN 'room-closed' WHEN t.supersedes_id IS NULL THEN 'room-added'
        ELSE 'room-renamed' END""",
        "json_object('name', t.name, 'site', s.name)",
    ),
)  # fmt: skip

LINES = """SELECT d.at, d.who, d.code, d.told, d.wrap, d.visit, d.engine, coalesce(e.serial, '')
FROM ({parts}) d LEFT JOIN engine e ON e.id = d.engine
ORDER BY d.at DESC, d.part, d.id DESC LIMIT :most OFFSET :skip"""
"""Of each table no more is gone through than the page reaches back, by the index of when it was done."""

ANY, OF_VISIT, OF_SITE = "1 = 1", "{visit} = :visit", "{visit} IN (SELECT id FROM visit WHERE site_id = :site)"


@dataclass(frozen=True, slots=True)
class ActivityEntry:
    """One thing done. ``visit`` and ``engine`` are 0 where it belongs to none; ``serial`` is the engine's."""

    at: str
    who: str
    what: Reason
    visit: int
    engine: int
    serial: str


def lines(
    session: Session, most: int, skip: int = 0, visit: int | None = None, site: int | None = None
) -> list[ActivityEntry]:
    """What was done last, newest first: ``most`` lines after the first ``skip``, of one visit, in the visits of one
    ``site``, or of everything."""
    wanted = OF_VISIT if visit is not None else OF_SITE if site is not None else ANY
    parts = [part for part in PARTS if wanted == ANY or part.visit != "0"]
    query = LINES.format(parts=" UNION ALL ".join(part.newest(wanted) for part in parts))
    values: dict[str, Any] = {
        "most": most,
        "skip": skip,
        "reach": most + skip,
        "undone": TAKEN_BACK,
        "mistaken": MISTAKEN,
    }
    values |= {name: value for name, value in (("visit", visit), ("site", site)) if value is not None}
    found = raw_connection(session).execute(query, values)
    return [ActivityEntry(at, who, _what(code, told, wrap), *rest) for at, who, code, told, wrap, *rest in found]


def _what(code: str, told: str, wrap: str) -> Reason:
    what = because(Activity(code), **json.loads(told))
    return because(Activity(wrap), what=what) if wrap else what
