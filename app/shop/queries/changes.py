"""What was added or changed after a point, in the order of the commits."""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from sqlmodel import Session

from app.shop.store.database import raw_connection

AFTER = """SELECT c.seq, c.row_table, c.row_id, coalesce(p.name, '') FROM change c
LEFT JOIN program_write w ON w.row_table = c.row_table AND w.row_id = c.row_id
LEFT JOIN program p ON p.id = w.program_id
WHERE c.seq > ? ORDER BY c.seq LIMIT ?"""

OF_A_VISIT = 'SELECT r.id, v.engine_id, v.id FROM "{table}" r JOIN visit v ON v.id = r.visit_id WHERE {wanted}'
OF_A_ROUND = (
    'SELECT r.id, v.engine_id, v.id FROM "{table}" r JOIN round o ON o.id = r.round_id JOIN visit v '
    "ON v.id = o.visit_id WHERE {wanted}"
)
OF_AN_ENGINE = 'SELECT r.id, r.engine_id, NULL FROM "{table}" r WHERE {wanted}'
PLACES: Mapping[str, str] = {
    "engine": "SELECT r.id, r.id, NULL FROM engine r WHERE {wanted}",
    "visit": "SELECT r.id, r.engine_id, r.id FROM visit r WHERE {wanted}",
    **dict.fromkeys(("fitting", "practice"), OF_AN_ENGINE),
    **dict.fromkeys(("reading", "opening_speed"), OF_A_ROUND),
    **dict.fromkeys(("round", "move", "check", "override", "sign_off", "correction"), OF_A_VISIT),
    **dict.fromkeys(("engine_event", "stop_end", "hours_correction", "finding", "filling", "look"), OF_A_VISIT),
    "elsewhere": OF_A_VISIT,
}
"""By table, which engine and which visit its rows belong to; a table that is not here belongs to the shop."""


class ChangedRow(NamedTuple):
    """One row that was added, or of an engine changed. ``program``, where it was written through one, is its name."""

    seq: int
    table: str
    row_id: int
    engine_id: int | None
    visit_id: int | None
    program: str


def changes_after(session: Session, seq: int, most: int) -> list[ChangedRow]:
    """At most ``most`` changes that come after ``seq``, in their order."""
    connection = raw_connection(session)
    found = connection.execute(AFTER, (seq, most)).fetchall()
    places = _places(session, ((table, row_id) for _, table, row_id, _ in found))
    return [
        ChangedRow(number, table, row_id, *places.get((table, row_id), (None, None)), program)
        for number, table, row_id, program in found
    ]


def newest_change(session: Session) -> int:
    """The ``seq`` of the newest change, 0 for none."""
    (newest,) = raw_connection(session).execute("SELECT coalesce(max(seq), 0) FROM change").fetchone()
    return int(newest)


def _places(session: Session, rows: Iterable[tuple[str, int]]) -> dict[tuple[str, int], tuple[int | None, int | None]]:
    """Engine and visit of each row."""
    by_table: dict[str, list[int]] = defaultdict(list)
    for table, row_id in rows:
        by_table[table].append(row_id)
    wanted = "r.id IN (SELECT CAST(value AS BIGINT) FROM json_each(?))"
    return {
        (table, row_id): (engine_id, visit_id)
        for table in by_table.keys() & PLACES.keys()
        for row_id, engine_id, visit_id in raw_connection(session).execute(
            PLACES[table].format(table=table, wanted=wanted), (json.dumps(by_table[table]),)
        )
    }
