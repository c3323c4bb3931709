"""Who did what when, read from the rows of evidence themselves: there is no second book that could disagree with them.

The order is that of the clock when each row was stored, because rows of different tables share nothing else; inside a
table it is the order in which they were stored. Each line is a code with its values; the words are in
``app.wording.office.activity``.
"""

import json
from dataclasses import dataclass
from enum import StrEnum

from sqlmodel import Session

from app.shop.reasons import Reason, because
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


PARTS = (
    """SELECT registered_at AS at, '' AS who, 'engine-registered' AS code, json_object('serial', serial) AS told,
    '' AS wrap, 0 AS visit, id AS engine, 'engine' AS part, id FROM engine""",
    """SELECT at, '', 'hardware-changed', json_object('why', why), '', 0, engine_id, 'fitting', id
    FROM fitting WHERE number > 1""",
    """SELECT opened_at, "by", 'visit-opened', json_object('number', number, 'place', place), '',
    id, engine_id, 'visit', id FROM visit""",
    """SELECT begun_at, '', 'round-started', json_object('number', o.number, 'phase', o.phase), '',
    o.visit_id, v.engine_id, 'round', o.id FROM round o JOIN visit v ON v.id = o.visit_id""",
    """SELECT r.at, r."by", CASE r.kind WHEN 'skip' THEN 'bore-skipped' ELSE 'reading' END,
    json_object('bore', r.bore, 'value', r.value, 'unit', r.unit, 'step', m.step, 'why', r.why, 'round', o.number,
    'phase', o.phase),
    CASE WHEN r.supersedes_id IS NULL THEN '' ELSE 'replaced' END, o.visit_id, v.engine_id, 'reading', r.id
    FROM reading r JOIN round o ON o.id = r.round_id JOIN visit v ON v.id = o.visit_id
    JOIN meter m ON m.id = v.meter_id""",
    """SELECT m.at, m."by", 'adjusted', json_object('kind', m.kind, 'near', m.near, 'far', m.far, 'bank', m.bank),
    CASE WHEN m.supersedes_id IS NULL THEN '' WHEN m.taken_back = 1 THEN 'taken-back' ELSE 'replaced' END,
    m.visit_id, v.engine_id, 'move', m.id
    FROM move m JOIN visit v ON v.id = m.visit_id""",
    """SELECT c.at, c."by", CASE WHEN c.text = :undone THEN 'item-undone' WHEN c.number IS NOT NULL
    THEN 'figure-entered' WHEN c.text <> '' THEN 'text-entered' ELSE 'item-checked' END,
    json_object('phase', c.phase, 'item', c.item, 'number', c.number, 'text', c.text),
    CASE WHEN c.supersedes_id IS NULL OR c.text = :undone THEN '' ELSE 'repeated' END,
    c.visit_id, v.engine_id, 'check', c.id FROM "check" c JOIN visit v ON v.id = c.visit_id""",
    """SELECT o.at, o."by", CASE WHEN o.gate = :mistaken THEN 'opened-by-mistake' ELSE 'phase-waived' END,
    json_object('phase', o.phase, 'why', o.why), '',
    o.visit_id, v.engine_id, 'override', o.id FROM override o JOIN visit v ON v.id = o.visit_id""",
    """SELECT n.at, n."by", CASE n.what WHEN 'started' THEN 'engine-started' ELSE 'engine-stopped' END, '{}', '',
    n.visit_id, v.engine_id, 'engine_event', n.id FROM engine_event n JOIN visit v ON v.id = n.visit_id""",
    """SELECT n.at, n."by", 'stop-ended', json_object('cause', n.cause, 'text', n.cause_text, 'remedy', n.remedy), '',
    n.visit_id, v.engine_id, 'stop_end', n.id FROM stop_end n JOIN visit v ON v.id = n.visit_id""",
    """SELECT s.at, s.name, 'signed-off', '{}', '', s.visit_id, v.engine_id, 'sign_off', s.id
    FROM sign_off s JOIN visit v ON v.id = s.visit_id
    WHERE NOT EXISTS (SELECT 1 FROM override o WHERE o.visit_id = v.id AND o.gate = :mistaken)""",
    """SELECT c.at, c."by", 'corrected-after-sign-off', json_object('why', c.why), '',
    c.visit_id, v.engine_id, 'correction', c.id FROM correction c JOIN visit v ON v.id = c.visit_id""",
    """SELECT h.at, h."by", 'hours-corrected', json_object('phase', h.phase, 'why', h.why), '',
    h.visit_id, v.engine_id, 'hours_correction', h.id FROM hours_correction h JOIN visit v ON v.id = h.visit_id""",
    """SELECT f.at, f."by", 'finding-entered', json_object('kind', f.kind, 'bore', f.bore),
    CASE WHEN f.supersedes_id IS NULL THEN '' ELSE 'taken-back' END,
    f.visit_id, v.engine_id, 'finding', f.id FROM finding f JOIN visit v ON v.id = f.visit_id""",
    """SELECT at, name, CASE WHEN active = 0 THEN 'person-removed' WHEN supersedes_id IS NULL THEN 'person-added'
    ELSE 'pin-changed' END, '{}', '', 0, 0, 'person', id FROM person""",
    """SELECT at, name, 'pin-wrong', '{}', '', 0, 0, 'pin_try', id FROM pin_try WHERE "right" = 0""",
    """SELECT t.at, '', CASE WHEN t.active = 0 THEN 'tablet-removed' WHEN t.supersedes_id IS NULL THEN 'tablet-paired'
    WHEN coalesce(t.room_id, 0) <> coalesce(b.room_id, 0) THEN
    CASE WHEN t.room_id IS NULL THEN 'tablet-without-room' ELSE 'tablet-moved' END ELSE 'tablet-renamed' END,
    json_object('name', t.name, 'room', r.name, 'site', s.name), '', 0, 0, 'tablet', t.id
    FROM tablet t LEFT JOIN tablet b ON b.id = t.supersedes_id LEFT JOIN room r ON r.id = t.room_id
    LEFT JOIN site s ON s.id = r.site_id""",
    """SELECT at, "by", CASE WHEN active = 0 THEN 'site-closed' WHEN supersedes_id IS NULL THEN 'site-added'
    ELSE 'site-changed' END, json_object('name', name), '', 0, 0, 'site', id FROM site""",
    """SELECT r.at, r."by", CASE WHEN r.active = 0 THEN 'room-closed' WHEN r.supersedes_id IS NULL THEN 'room-added'
    ELSE 'room-renamed' END, json_object('name', r.name, 'site', s.name), '', 0, 0, 'room', r.id
    FROM room r JOIN site s ON s.id = r.site_id""",
)
"""Each table's lines: when, who, the code of ``Activity`` and its values, the code that wraps it where the row follows
an earlier one; then visit, engine, the table's name and the row."""

LINES = """SELECT d.at, d.who, d.code, d.told, d.wrap, d.visit, d.engine, coalesce(e.serial, '')
FROM ({parts}) d LEFT JOIN engine e ON e.id = d.engine {wanted}
ORDER BY d.at DESC, d.part, d.id DESC LIMIT :most OFFSET :skip"""


OF_SITE = "WHERE d.visit IN (SELECT id FROM visit WHERE site_id = :site)"


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
    wanted = "WHERE d.visit = :visit" if visit is not None else OF_SITE if site is not None else ""
    query = LINES.format(parts=" UNION ALL ".join(PARTS), wanted=wanted)
    values = {"visit": visit, "site": site, "most": most, "skip": skip, "undone": TAKEN_BACK, "mistaken": MISTAKEN}
    found = raw_connection(session).execute(query, values)
    return [ActivityEntry(at, who, _what(code, told, wrap), *rest) for at, who, code, told, wrap, *rest in found]


def _what(code: str, told: str, wrap: str) -> Reason:
    what = because(Activity(code), **json.loads(told))
    return because(Activity(wrap), what=what) if wrap else what
