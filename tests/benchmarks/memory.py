"""How fast the records answer with many engines in them.

``python -m tests.benchmarks.memory`` prints one table for 1,000, 10,000 and 100,000 engines with ten rounds each, a
million rounds at the most; ``--engines 1000`` does one size, ``--folder`` keeps the shop that was filled.

The rows are made by SQL, with columns as long as real ones and in an order that real ones might have; then the
program's own pages are asked, through every guard and template, for what a person would ask. Times are at the server,
without a network, and include the write to the disk.
"""

import argparse
import random
import shutil
import sqlite3
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from starlette.testclient import TestClient

from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.record.fittings import hardware_to_json, layout_to_json
from app.shop.store.database import Database, FileDatabase
from app.shop.store.upgrade import open_shop
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.units import LITER
from app.web.application import create_app
from tests.benchmarks.report import report
from tests.clock import working_day
from tests.shop.yard import V8, check_all

SIZES = (1_000, 10_000, 100_000)
VISITS, ROUNDS = 4, 10
"""Visits and rounds of each engine."""
LONG_VISITS = 40
LONG_ROUNDS = 3
ASKED, SAVED, SHOWN = 200, 100, 60
ORIGIN = "http://127.0.0.1"
SYLLABLES = ("bra", "den", "fol", "gim", "har", "kes", "lun", "mor", "nev", "pol", "rit", "sal", "tor", "vin", "wes")
KINDS = ("coupe", "estate", "launch", "racer", "saloon", "tourer", "van", "special")
COLORS = ("blue", "white", "green", "black", "gray", "ivory", "maroon")

KEY = "lower(hex(randomblob(4)) || '-' || hex(randomblob(2)) || '-4' || substr(hex(randomblob(2)), 2) || '-8' || "
KEY += "substr(hex(randomblob(2)), 2) || '-' || hex(randomblob(6)))"
HASH = "lower(hex(randomblob(32)))"
AT = "strftime('%Y-%m-%dT%H:%M:%S.000+00:00', '2019-01-01', '+' || ({}) || ' seconds')"


@dataclass(frozen=True)
class Times:
    """Seconds that one thing took, each time it was asked for, by the clock and of the processor."""

    clock: tuple[float, ...]
    processor: tuple[float, ...]

    def shown(self) -> str:
        """What half of them and 95 of 100 stayed within by the clock, and 95 of 100 of the processor [ms]."""
        return f"{_within(self.clock, 0.5)} / {_within(self.clock, 0.95)} / {_within(self.processor, 0.95)}"


def _within(times: tuple[float, ...], share: float) -> str:
    return f"{sorted(times)[min(len(times) - 1, int(share * len(times)))] * 1e3:.1f}"


@dataclass(frozen=True)
class Line:
    """One line of the table."""

    engines: int
    rounds: int
    readings: int
    size: float
    filled: float
    search: Times
    mistyped: Times
    board: Times
    listed: Times
    log: Times
    page: Times
    first_page: Times
    save: Times


def timed(times: int, ask: Callable[[int], None]) -> Times:
    """How long ``ask`` took, each time."""
    clock, processor = [], []
    for at in range(times):
        begun, used = time.perf_counter(), time.process_time()
        ask(at)
        clock.append(time.perf_counter() - begun)
        processor.append(time.process_time() - used)
    return Times(tuple(clock), tuple(processor))


def word(rng: random.Random) -> str:
    """An invented name."""
    return "".join(rng.choice(SYLLABLES) for _ in range(rng.randint(2, 3)))


def engine_rows(count: int, rng: random.Random) -> Iterator[tuple[object, ...]]:
    """The columns of engines, ids from 1."""
    for one in range(1, count + 1):
        serial = f"{rng.randint(10, 99)}-{one:05d}"
        about = f"{rng.choice(('Eight', 'Four', 'Six'))} for {word(rng)}"
        vehicle = f"{rng.choice(COLORS)} {rng.choice(KINDS)} {word(rng)}"
        customer = f"C-{rng.randint(100, 9999)} {word(rng)} {word(rng)}"
        size = rng.randint(20, 75) / 10 * LITER
        yield one, str(uuid.UUID(int=rng.getrandbits(128), version=4)), serial, serial, about, size, customer, vehicle


def fill(file: Path, count: int, rng: random.Random) -> None:
    """Put engines with all that belongs to them into the shop's file, the first one with its many visits last."""
    layout = layout_to_json(V8)
    hardware = hardware_to_json(likely_hardware(3.9 * LITER, 8))
    with closing(sqlite3.connect(file, isolation_level=None)) as to:
        for pragma in ("synchronous=OFF", "cache_size=-2000000", "temp_store=MEMORY", "foreign_keys=OFF"):
            to.execute(f"PRAGMA {pragma}")
        to.execute("BEGIN")
        to.executemany(
            f"INSERT INTO engine (id, key, payload, serial, serial_folded, description, displacement, "
            f"displacement_unit, "
            f"customer, vehicle, idle_speed, registered_at, version) "
            f"VALUES (?, ?, {HASH}, ?, ?, ?, ?, 'L', ?, ?, 14.2, '2019-01-01T08:00:00.000+00:00', 1)",
            engine_rows(count, rng),
        )
        to.execute(
            f"INSERT INTO fitting (id, key, payload, seal, engine_id, number, layout, hardware, why, at) SELECT "
            f"id, {KEY}, "
            f"{HASH}, {HASH}, id, 1, ?, ?, 'as registered', registered_at FROM engine",
            (layout, hardware),
        )
        to.execute("CREATE TEMP TABLE n (n INTEGER PRIMARY KEY)")
        to.executemany("INSERT INTO n VALUES (?)", ((n,) for n in range(1, 101)))
        _visits(to)
        _rounds(to)
        _readings(to)
        to.execute("COMMIT")
        to.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _visits(to: sqlite3.Connection) -> None:
    """Four visits an engine, and forty of engine 1; all but the last of engine 1 and engine 2 signed off."""
    many = f"CASE engine.id WHEN 1 THEN {LONG_VISITS} ELSE {VISITS} END"
    to.execute(
        f"INSERT INTO visit (key, payload, seal, engine_id, fitting_id, meter_id, number, place, job, why, by, "
        f"opened_at) "
        f"SELECT {KEY}, {HASH}, {HASH}, engine.id, engine.id, 1, n, CASE n % 3 WHEN 0 THEN 'vehicle' ELSE 'test "
        f"cell' END, "
        f"abs(random()) % 900000 + 1000, 'Rough when hot', 'KM', {AT.format('n * 5000000 + engine.id')} "
        f"FROM engine, n WHERE n <= {many} ORDER BY n, engine.id"
    )
    to.execute(
        f"INSERT INTO sign_off (key, payload, seal, visit_id, name, at) SELECT {KEY}, {HASH}, {HASH}, id, "
        f"'Foreman of the yard', opened_at FROM visit WHERE NOT (engine_id = 2 AND number = {VISITS})"
    )


def _rounds(to: sqlite3.Connection) -> None:
    """Ten rounds an engine over its four visits, three in each visit of engine 1, the last one after lock-down."""
    each = f"CASE WHEN engine_id = 1 THEN {LONG_ROUNDS} WHEN number <= {ROUNDS - 2 * VISITS} THEN 3 ELSE 2 END"
    to.execute(
        f"INSERT INTO round (key, payload, seal, visit_id, phase, number, opening, begun_at) SELECT {KEY}, '', "
        f"{HASH}, "
        f"visit.id, CASE WHEN n = {each} THEN '{LOCK_DOWN.slug}' ELSE '{HEAT_SOAKED.slug}' END, n, 0.0, opened_at "
        f"FROM visit, n WHERE n <= {each} AND NOT (engine_id = 2 AND visit.number = {VISITS}) ORDER BY visit.id, n"
    )


def _readings(to: sqlite3.Connection) -> None:
    """Nine readings a round: eight bores, and the first one again. After the first round one coupler is moved."""
    to.execute(
        f"INSERT INTO reading (key, payload, seal, round_id, bore, kind, value, unit, why, by, at) SELECT "
        f"{KEY}, {HASH}, "
        f"{HASH}, round.id, (n - 1) % 8 + 1, CASE n WHEN 9 THEN 'closing' ELSE 'turn' END, "
        f"6.25 + 0.25 * (abs(random()) % 3) + CASE WHEN round.number = 1 AND n IN (3, 4) THEN 0.75 ELSE 0 END, "
        f"'kg/h', '', 'KM', strftime('%Y-%m-%dT%H:%M:%S.000+00:00', begun_at, '+' || (round.number * 600 + n * "
        f"18) || "
        f"' seconds') FROM round, n WHERE n <= 9 ORDER BY round.id, n"
    )
    to.execute(
        f"INSERT INTO move (key, payload, seal, visit_id, phase, kind, bank, near, far, amount, leaves, advised, "
        f"after_reading, by, at) SELECT {KEY}, {HASH}, {HASH}, visit_id, '{HEAT_SOAKED.slug}', 'blade', '', 2, "
        f"3, 7.62e-5, "
        f"'7.62e-05', 1, (SELECT max(id) FROM reading WHERE round_id = round.id), 'KM', begun_at FROM round "
        f"WHERE number = 1 AND phase = '{HEAT_SOAKED.slug}' ORDER BY id"
    )
    to.execute(
        f'INSERT INTO "check" (key, payload, seal, visit_id, phase, item, number, text, after_move, by, at) '
        f"SELECT {KEY}, {HASH}, {HASH}, id, '{HEAT_SOAKED.slug}', 'coolant', 84.0, '', 0, 'KM', opened_at FROM visit "
        f"WHERE NOT (engine_id = 2 AND number = {VISITS})"
    )


def questions(shop: Database, rng: random.Random) -> tuple[list[str], list[str]]:
    """What people type: parts of what is known of an engine as the typing goes on, and the same mistyped."""
    plain: list[str] = []
    mistyped: list[str] = []
    with shop.reading() as session:
        ask = session.connection().exec_driver_sql
        count = ask("SELECT count(*) FROM engine").scalar_one()
        while len(plain) < ASKED:
            row = ask(
                "SELECT serial, customer, vehicle, (SELECT job FROM visit WHERE engine_id = engine.id LIMIT 1) "
                "FROM engine WHERE id = ?",
                (rng.randint(1, count),),
            ).one()
            serial, customer, vehicle, job = map(str, row)
            name = customer.split()[1]
            whole = rng.choice((serial, serial[3:], f"{name} {vehicle.split()[1]}", job, f"{vehicle} {job[:3]}", name))
            plain += [whole[: max(2, len(whole) * step // 3)] for step in (1, 2, 3)]
            for right in (serial[3:], name, job):
                at = rng.randrange(1, len(right))
                mistyped.append(right[:at] + rng.choice(("", "x", "7")) + right[at + 1 :])
    return plain[:ASKED], mistyped[:ASKED]


def measure(count: int, kept: Path, work: Path) -> Line:
    """Fill a shop with that many engines, unless ``kept`` has it already, and ask a copy of it made in ``work``."""
    begun = time.perf_counter()
    if not (kept / "shop.db").exists():
        open_shop(kept).close()
        fill(kept / "shop.db", count, random.Random(count))
    filled = time.perf_counter() - begun
    shop = FileDatabase(shutil.copytree(kept, work / "asked"))
    try:
        return _asked(shop, count, filled, random.Random(count))
    finally:
        shop.close()


def _asked(shop: FileDatabase, count: int, filled: float, rng: random.Random) -> Line:
    with shop.reading() as session:
        ask = session.connection().exec_driver_sql
        rounds = int(ask("SELECT count(*) FROM round").scalar_one())
        readings = int(ask("SELECT max(id) FROM reading").scalar_one())
        open_visit = int(ask("SELECT id FROM visit WHERE id NOT IN (SELECT visit_id FROM sign_off)").scalar_one())
    plain, mistyped = questions(shop, rng)
    with TestClient(
        create_app(shop, clock=working_day()), base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False
    ) as client:

        def look_up(words: str) -> None:
            assert client.get("/", params={"find": words}).status_code in (200, 303)  # 303: the one that was found

        def page_of(path: str) -> Callable[[int], None]:
            def ask(_: int) -> None:
                assert client.get(path).status_code == 200

            return ask

        def save(at: int) -> None:
            nth, bore = divmod(at, 9)
            kind = "closing" if bore == 8 else "turn"
            if bore == 0 and nth:
                begun = client.post(f"{there}/rounds", data={"key": str(uuid.uuid4())})
                assert begun.status_code == 303, begun.text
            sent = {"round": str(nth + 1), "bore": str(bore % 8 + 1), "kind": kind, "value": "6.5", "by": "KM"}
            answer = client.post(f"{there}/readings", data={**sent, "key": str(uuid.uuid4())})
            assert answer.status_code == 303, answer.text

        there = f"/visits/{open_visit}/{HEAT_SOAKED.slug}"
        for phase in (FIRST_FIRE, HEAT_SOAKED):
            check_all(shop, open_visit, phase)
        look_up("warm")
        engine_page = page_of("/engines/1")
        first_page = timed(1, engine_page)
        return Line(
            engines=count,
            rounds=rounds,
            readings=readings,
            size=(shop.file.stat().st_size) / 1e6,
            filled=filled,
            search=timed(len(plain), lambda at: look_up(plain[at])),
            mistyped=timed(len(mistyped), lambda at: look_up(mistyped[at])),
            board=timed(SHOWN, page_of("/")),
            listed=timed(SHOWN, page_of("/engines")),
            log=timed(SHOWN, page_of("/audit")),
            page=timed(SHOWN, engine_page),
            first_page=first_page,
            save=timed(SAVED, save),
        )


def printed(lines: list[Line]) -> Iterator[str]:
    """The table. Times in milliseconds: what half, and 95 of 100, stayed within by the clock, and 95 of 100 of the
    processor, which tells a busy machine from a slow program."""
    yield (
        "| engines | rounds | readings | search | mistyped | board | list of engines | activity log "
        "| engine of 40 visits | the same, first time "
        "| save a reading | size MB | filled in s |"
    )
    yield "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
    for one in lines:
        asked = (one.search, one.mistyped, one.board, one.listed, one.log, one.page, one.first_page, one.save)
        times = " | ".join(each.shown() for each in asked)
        yield (f"| {one.engines:,} | {one.rounds:,} | {one.readings:,} | {times} | {one.size:.0f} | {one.filled:.0f} |")


def main() -> None:
    """Measure every size asked for and print the table as it grows."""
    wanted = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    wanted.add_argument("--engines", type=int, nargs="*", default=list(SIZES), help="sizes to measure")
    wanted.add_argument("--folder", type=Path, help="where filled shops are kept for the next time")
    asked = wanted.parse_args()
    lines = []
    for count in asked.engines:
        with tempfile.TemporaryDirectory() as made:
            lines.append(measure(count, (asked.folder or Path(made)) / f"{count}-engines", Path(made)))
        print(f"{count:,} engines done", file=sys.stderr)
    print("\n".join(printed(lines)))


if __name__ == "__main__":
    with report("memory"):
        main()
