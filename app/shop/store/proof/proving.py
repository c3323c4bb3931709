"""Proves row hashes: at a start those of the rows since the last proof, in the night and by every backup all of them.

The count of the rows proved before is compared too, since a row that is gone has no hash that could be wrong.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from app.shop.store import row_hashes
from app.shop.store.both.records import Wire
from app.shop.store.database import Database, raw_connection

NIGHT = 3
"""From this hour of the shop's own time on, once a day, every row is proved (our judgement: shops are closed then)."""

SLICE = 5_000
"""How many rows are proved at a time while people work: about a tenth of a second."""


@dataclass(frozen=True, slots=True)
class Proved:
    """How far a table is proved: the newest id, how many rows were sound and without a hash, and when."""

    up_to: int = 0
    sound: int = 0
    unsealed: int = 0
    whole_at: str = ""

    @property
    def rows(self) -> int:
        """How many rows there were up to that id."""
        return self.sound + self.unsealed


@dataclass(slots=True)
class Proof:
    """What was proved: by table how far, the rows that are not what was stored, and how many are gone by table."""

    tables: dict[str, Proved] = field(default_factory=dict)
    broken: list[tuple[str, int]] = field(default_factory=list)
    gone: dict[str, int] = field(default_factory=dict)
    fresh: int = 0

    @property
    def sound(self) -> int:
        """Rows whose hash is right."""
        return sum(one.sound for one in self.tables.values())

    @property
    def unsealed(self) -> int:
        """Rows from before there were hashes."""
        return sum(one.unsealed for one in self.tables.values())


def known(connection: Wire) -> dict[str, Proved]:
    """How far each table is proved; empty in a file that has no such record."""
    if not row_hashes.tables_with(connection, "whole_at"):
        return {}
    rows = connection.execute("SELECT row_table, up_to, sound, unsealed, whole_at FROM proved")
    return {str(table): Proved(*said) for table, *said in rows}


def prove(connection: Wire, *, since: bool = False) -> Proof:
    """Make the hash of every row again, or with ``since`` of those that were never proved, and compare."""
    found, before = Proof(), known(connection)
    for table in row_hashes.tables_with(connection, "seal"):
        last = before.get(table, Proved())
        missing = last.rows - _rows_up_to(connection, table, last.up_to)
        if missing > 0:
            found.gone[table] = missing
        start = last if since and missing == 0 else Proved()
        _carry_on(found, table, start, row_hashes.check_table(connection, table, start.up_to))
    return found


def prove_whole(shop: Database, now: datetime, stopped: Callable[[], bool]) -> Proof | None:
    """Prove every row of a shop that is in use, some at a time, and note it. None where it was ``stopped`` before.

    What is wrong is noted too: the next start looks at everything again.
    """
    with shop.reading() as session:
        before = known(raw_connection(session))
        tables = row_hashes.tables_with(raw_connection(session), "seal")
    found = Proof()
    for table in tables:
        done, looked = Proved(), SLICE
        while looked == SLICE:
            if stopped():
                return None
            with shop.reading() as session:
                part = row_hashes.check_table(raw_connection(session), table, done.up_to, SLICE)
            looked = part.sound + part.unsealed + len(part.broken)
            _carry_on(found, table, done, part)
            done = found.tables[table]
        with shop.reading() as session:
            last = before.get(table, Proved())
            if (missing := last.rows - _rows_up_to(raw_connection(session), table, last.up_to)) > 0:
                found.gone[table] = missing
    with shop.writing() as session:
        note(raw_connection(session), found, now)
    return found


def note(connection: Wire, proof: Proof, now: datetime) -> None:
    """Keep how far the tables are proved; forget it where something is wrong, so that all is looked at again."""
    if proof.broken or proof.gone:
        connection.execute("DELETE FROM proved")
        return
    at = now.isoformat(timespec="seconds")
    connection.executemany(
        "INSERT INTO proved (row_table, up_to, sound, unsealed, carried_at, whole_at) VALUES (?, ?, ?, ?, ?, ?) "
        "ON CONFLICT (row_table) DO UPDATE SET up_to = excluded.up_to, sound = excluded.sound, "
        "unsealed = excluded.unsealed, carried_at = excluded.carried_at, whole_at = excluded.whole_at",
        [(table, p.up_to, p.sound, p.unsealed, at, p.whole_at or at) for table, p in proof.tables.items()],
    )


def whole_is_due(tables: Mapping[str, Proved], now: datetime) -> bool:
    """Whether no whole proof was made since the last night. One from the future, after a clock was put back, is none.

    ``now`` has the time zone of the shop.
    """
    return not tables or night_since(min(datetime.fromisoformat(one.whole_at) for one in tables.values()), now)


def night_since(made: datetime, now: datetime) -> bool:
    """Whether a night has passed since a proof was ``made``, as ``whole_is_due`` has it."""
    night = now.replace(hour=NIGHT, minute=0, second=0, microsecond=0)
    return made > now or (made < night <= now) or (now - made).days >= 1


def _carry_on(found: Proof, table: str, start: Proved, part: row_hashes.TableSeals) -> None:
    """Add what a part of a table says to what was known of it from ``start`` on."""
    sound, unsealed = start.sound + part.sound, start.unsealed + part.unsealed
    found.tables[table] = Proved(max(start.up_to, part.last), sound, unsealed, start.whole_at)
    found.broken += [(table, ident) for ident in part.broken]
    found.fresh += part.sound + part.unsealed


def _rows_up_to(connection: Wire, table: str, ident: int) -> int:
    if not ident:
        return 0
    (rows,) = connection.execute(f'SELECT count(*) FROM "{table}" WHERE id <= ?', (ident,)).fetchone()
    return int(rows)
