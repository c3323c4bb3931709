"""Who did what when, read from the rows of evidence themselves: there is no second book that could disagree with them.

The order is that of the clock when each row was stored, because rows of different tables share nothing else; inside a
table it is the order in which they were stored. Each line is a code with its values; ``app.wording.activity`` has the
words.
"""

import json
from dataclasses import dataclass
from enum import StrEnum

from sqlmodel import Session

from app.shop.reasons import Reason, because
from app.shop.record.visit_record import TAKEN_BACK


class Activity(StrEnum):
    """What was done."""

    ENGINE = "engine-registered"
    HARDWARE = "hardware-changed"
    VISIT = "visit-opened"
    ROUND = "round-started"
    READING = "reading"
    SKIP = "bore-skipped"
    RESET = "coupler-reset"
    COUPLER_SCREW = "coupler-screw-turned"
    STOP_SCREW = "stop-screw-turned"
    LINK_ROD = "link-rod-turned"
    BYPASS_SCREW = "bypass-screw-turned"
    FIGURE = "figure-entered"
    """A figure of a checklist item, in the item's own unit."""
    TEXT = "text-entered"
    TICK = "item-checked"
    UNDONE = "item-undone"
    WAIVER = "phase-waived"
    SIGN_OFF = "signed-off"
    CORRECTION = "corrected-after-sign-off"
    PERSON_ADDED = "person-added"
    PERSON_REMOVED = "person-removed"
    PIN_CHANGED = "pin-changed"
    PIN_WRONG = "pin-wrong"
    TABLET_PAIRED = "tablet-paired"
    TABLET_RENAMED = "tablet-renamed"
    TABLET_REMOVED = "tablet-removed"
    REPLACED = "replaced"
    """``what`` is a reading or a move that takes the place of an earlier one."""
    REPEATED = "repeated"
    """``what`` is a checklist entry that follows an earlier one."""


def _part(at: str, who: str, code: str, values: str, rest: str, wrap: str = "''") -> str:
    """One table's lines as SQL: when, who, the code, its values as JSON, the code that wraps it where it follows an
    earlier entry; then visit, engine, the table's name and the row."""
    return f"SELECT {at}, {who}, {code} AS code, json_object({values}) AS told, {wrap} AS wrap, {rest}"


def _wrap(table: str, code: Activity, but: str = "") -> str:
    """SQL that is a code where a row of that table supersedes another."""
    return f"CASE WHEN {table}.supersedes_id IS NOT NULL{but} THEN '{code}' ELSE '' END"


def _case(*pairs: tuple[str, Activity], otherwise: Activity) -> str:
    """SQL that is the code of the first condition that holds."""
    cases = " ".join(f"WHEN {condition} THEN '{code}'" for condition, code in pairs)
    return f"CASE {cases} ELSE '{otherwise}' END"


def _code(code: Activity) -> str:
    return f"'{code}'"


_OF_VISIT = "JOIN visit v ON v.id = {0}.visit_id"
_UNDONE = f"c.text = '{TAKEN_BACK}'"

PARTS = (
    _part(
        "registered_at AS at", "'' AS who", _code(Activity.ENGINE), "'serial', serial",
        "0 AS visit, id AS engine, 'engine' AS part, id FROM engine",
    ),
    _part(
        "at", "''", _code(Activity.HARDWARE), "'why', why",
        "0, engine_id, 'fitting', id FROM fitting WHERE number > 1",
    ),
    _part(
        "opened_at", '"by"', _code(Activity.VISIT), "'number', number, 'place', place",
        "id, engine_id, 'visit', id FROM visit",
    ),
    _part(
        "o.begun_at", "''", _code(Activity.ROUND), "'number', o.number, 'phase', o.phase",
        f"o.visit_id, v.engine_id, 'round', o.id FROM round o {_OF_VISIT.format('o')}",
    ),
    _part(
        "r.at", 'r."by"', _case(("r.kind = 'skip'", Activity.SKIP), otherwise=Activity.READING),
        "'bore', r.bore, 'value', r.value, 'unit', r.unit, 'why', r.why, 'round', o.number, 'phase', o.phase",
        "o.visit_id, v.engine_id, 'reading', r.id FROM reading r JOIN round o ON o.id = r.round_id "
        + _OF_VISIT.format("o"),
        _wrap("r", Activity.REPLACED),
    ),
    _part(
        "m.at", 'm."by"',
        _case(
            ("m.kind = 'blade'", Activity.RESET), ("m.kind = 'screw'", Activity.COUPLER_SCREW),
            ("m.kind = 'bypass'", Activity.BYPASS_SCREW), ("m.kind = 'link'", Activity.LINK_ROD),
            otherwise=Activity.STOP_SCREW,
        ),
        "'near', m.near, 'far', m.far, 'bank', m.bank",
        f"m.visit_id, v.engine_id, 'move', m.id FROM move m {_OF_VISIT.format('m')}",
        _wrap("m", Activity.REPLACED),
    ),
    _part(
        "c.at", 'c."by"',
        _case(
            (_UNDONE, Activity.UNDONE), ("c.number IS NOT NULL", Activity.FIGURE), ("c.text <> ''", Activity.TEXT),
            otherwise=Activity.TICK,
        ),
        "'phase', c.phase, 'item', c.item, 'number', c.number, 'text', c.text",
        f"c.visit_id, v.engine_id, 'check', c.id FROM \"check\" c {_OF_VISIT.format('c')}",
        _wrap("c", Activity.REPEATED, f" AND NOT {_UNDONE}"),
    ),
    _part(
        "o.at", 'o."by"', _code(Activity.WAIVER), "'phase', o.phase, 'why', o.why",
        f"o.visit_id, v.engine_id, 'override', o.id FROM override o {_OF_VISIT.format('o')}",
    ),
    _part(
        "s.at", "s.name", _code(Activity.SIGN_OFF), "",
        f"s.visit_id, v.engine_id, 'sign_off', s.id FROM sign_off s {_OF_VISIT.format('s')}",
    ),
    _part(
        "c.at", 'c."by"', _code(Activity.CORRECTION), "'why', c.why",
        f"c.visit_id, v.engine_id, 'correction', c.id FROM correction c {_OF_VISIT.format('c')}",
    ),
    _part(
        "at", "name",
        _case(
            ("active = 0", Activity.PERSON_REMOVED), ("supersedes_id IS NULL", Activity.PERSON_ADDED),
            otherwise=Activity.PIN_CHANGED,
        ),
        "", "0, 0, 'person', id FROM person",
    ),
    _part("at", "name", _code(Activity.PIN_WRONG), "", "0, 0, 'pin_try', id FROM pin_try WHERE \"right\" = 0"),
    _part(
        "at", "''",
        _case(
            ("active = 0", Activity.TABLET_REMOVED), ("supersedes_id IS NULL", Activity.TABLET_PAIRED),
            otherwise=Activity.TABLET_RENAMED,
        ),
        "'name', name", "0, 0, 'tablet', id FROM tablet",
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """One thing done. ``visit`` and ``engine`` are 0 where it belongs to none; ``serial`` is the engine's."""

    at: str
    who: str
    what: Reason
    visit: int
    engine: int
    serial: str


def lines(session: Session, most: int, skip: int = 0, visit: int | None = None) -> list[Line]:
    """What was done last, newest first: ``most`` lines after the first ``skip``, of one visit or of everything."""
    wanted = "WHERE d.visit = :visit" if visit is not None else ""
    query = (
        f"SELECT d.at, d.who, d.code, d.told, d.wrap, d.visit, d.engine, coalesce(e.serial, '') "
        f"FROM ({' UNION ALL '.join(PARTS)}) d "
        f"LEFT JOIN engine e ON e.id = d.engine {wanted} ORDER BY d.at DESC, d.part, d.id DESC LIMIT :most OFFSET :skip"
    )
    found = session.connection().exec_driver_sql(query, {"visit": visit, "most": most, "skip": skip})
    return [Line(at, who, _what(code, told, wrap), *rest) for at, who, code, told, wrap, *rest in found]


def _what(code: str, told: str, wrap: str) -> Reason:
    what = because(Activity(code), **json.loads(told))
    return because(Activity(wrap), what=what) if wrap else what
