"""A shop as commit 76737f8 left it opens, is whole, and says what it said. ``fixtures/README.md`` tells what is in it.

Nothing recorded there is ever written anew: when one of these tests fails, the program has broken with what is in use.
"""

import gzip
import json
import lzma
import re
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest
from sqlmodel import Session
from starlette.testclient import TestClient

from app.shop.commands import engines, people
from app.shop.errors import RejectedError
from app.shop.exchange.exports import engine_file, written
from app.shop.exchange.imports import bring_in, read
from app.shop.reasons import because
from app.shop.store import health
from app.shop.store.codes import Damage
from app.shop.store.database import Database, FileDatabase
from app.shop.store.integrity import examine, orphan_rows, read_only
from app.shop.store.upgrade import open_shop
from app.web.application import create_app
from tests.shop.since import Json, lost, no_longer_described
from tests.shop.yard import V8

FIXTURES = Path(__file__).parent / "fixtures"
FILES = {path.name.removesuffix(".json.gz"): path for path in sorted((FIXTURES / "engines-76737f8").glob("*.json.gz"))}
"""The exported engines, by serial."""

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
"""When the shop was left: the answers were taken at this moment."""

FILE_MAY_SAY_OTHERWISE = frozenset({"version"})
JUDGED = frozenset({"done", "missing", "current", "waits_for", "evenness", "preset", "hot", "lacks", "lack_codes"})
"""What is not recorded but worked out, and may be another once the program judges better."""

JUDGED_THERE = {
    "/slipped": frozenset({"verdict", "any_slip", "named", "odds", "reread", "misread_odds", "change_percent"}),
    "/banks": frozenset(
        {"odds", "cause", "offset_deg", "offset_sd_deg", "ratio_percent", "ratio_sd_percent", "bank", "or_bank"}
        | {"flats", "flats_sd", "extra", "extra_sentence", "sd"}
    ),
    "/advice": frozenset({"kind", "turns", "why", "readings", "about", "expected", "then"}),
}
"""The same at paths that end like this."""

REASONS = """
after-move again balanced both_ways bypass-end close-round coarse coarse-bank disagree doubtful even finest first-round
flow_meter follows free_play idle in-question last-round link no-adjuster no-answer none nothing-read opening preset
signed-off single skipped slop stop-bank stop-speed stopped then tight tightening unread way wide wider_opening
"""
"""The reasons of an advice that the program of 76737f8 could tell, when its description named none."""

ORIGIN = "http://127.0.0.1:8000"
SIGNER, PIN = "Foreman of the yard", "2580"


@cache
def recorded() -> Json:
    """What 76737f8 said of the shop: rows by table, rows sealed, and its answer at every path."""
    return json.loads(lzma.decompress((FIXTURES / "answers-76737f8.json.xz").read_bytes()))


def unpacked(path: Path) -> str:
    return gzip.decompress(path.read_bytes()).decode()


def opened(folder: Path) -> Database:
    """A copy of the old shop in ``folder``, opened as it is opened at the start of the program."""
    folder.mkdir()
    (folder / "shop.db").write_bytes(gzip.decompress((FIXTURES / "shop-76737f8.db.gz").read_bytes()))
    return open_shop(folder)


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """The old shop, to be looked at."""
    shop = opened(tmp_path_factory.mktemp("old") / "shop")
    yield shop
    shop.close()


@pytest.fixture(scope="module")
def client(old: Database) -> Iterator[TestClient]:
    with TestClient(create_app(old, clock=lambda: NOW), base_url=ORIGIN, headers={"Origin": ORIGIN}) as one:
        yield one


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Database]:
    """The old shop, to be written to."""
    shop = opened(tmp_path / "own")
    yield shop
    shop.close()


def exported(session: Session, engine_id: int, at: str) -> Json:
    return json.loads(written(engine_file(session, engine_id, at)))


def engine_of(session: Session, serial: str) -> int:
    (one,) = (e.ident for e in engines.find(session, serial) if e.serial == serial)
    return one


def assert_nothing_lost(was: Json, now: Json, free: frozenset[str] = frozenset()) -> None:
    assert list(lost(was, now, free))[:20] == []


def test_the_old_shop_is_of_its_time() -> None:
    """So that nobody replaces it by a newer one: the file names the migration that was the newest at 76737f8."""
    assert recorded()["commit"] == "76737f8"
    assert recorded()["revision"] == "0012"


def test_it_is_whole_and_up_to_date_and_no_row_went_missing(old: FileDatabase) -> None:
    found = examine(old.file)
    assert found.damage is None
    assert found.revision == health.known_revision()
    assert found.sealed >= recorded()["sealed"]
    assert found.unsealed == 0
    assert health.look(old.folder).orphans == {}
    with closing(read_only(old.file)) as connection:
        assert orphan_rows(connection) == {}
        for table, rows in recorded()["rows"].items():
            assert connection.execute(f'SELECT count(*) FROM "{table}"').fetchone()[0] >= rows, table


def test_it_is_the_same_when_it_is_opened_again(own: FileDatabase) -> None:
    own.close()
    before = own.file.read_bytes()
    open_shop(own.folder).close()
    assert own.file.read_bytes() == before


def test_a_changed_figure_in_it_is_still_seen(own: FileDatabase) -> None:
    """Its seals are looked at: a file that somebody wrote to is not taken for whole."""
    own.close()
    with closing(sqlite3.connect(own.file)) as connection:
        triggers = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = 'reading'")
        for (name,) in triggers.fetchall():
            connection.execute(f'DROP TRIGGER "{name}"')
        connection.execute("UPDATE reading SET value = value + 0.25 WHERE id = 40")
        connection.commit()
    damage = examine(own.file).damage
    assert damage == because(Damage.ROWS_CHANGED, rows=(because(Damage.ROW, table="reading", id=40),))


@pytest.mark.parametrize("serial", FILES)
def test_an_engine_goes_out_as_it_did(old: Database, serial: str) -> None:
    was = json.loads(unpacked(FILES[serial]))
    with old.reading() as session:
        now = exported(session, engine_of(session, serial), was["exported_at"])
    assert_nothing_lost(was, now, FILE_MAY_SAY_OTHERWISE)
    assert now["version"] >= was["version"]


@pytest.mark.parametrize("serial", FILES)
def test_its_file_comes_into_an_empty_shop_and_goes_out_again_as_it_was(shop: FileDatabase, serial: str) -> None:
    held = unpacked(FILES[serial])
    was = json.loads(held)
    engine_id = bring_in(shop, read(held), {})
    with shop.reading() as session:
        now = exported(session, engine_id, was["exported_at"])
    assert_nothing_lost(was, now, FILE_MAY_SAY_OTHERWISE)
    assert examine(shop.file).damage is None


def test_every_engine_that_may_leave_the_shop_has_its_file(old: Database) -> None:
    with old.reading() as session:
        for engine in engines.newest(session, 50):
            if engine.serial not in FILES:
                with pytest.raises(RejectedError):
                    engine_file(session, engine.ident, "")
    assert len(FILES) == 11


@pytest.mark.slow
def test_programs_are_told_what_they_were_told(client: TestClient) -> None:
    for path, was in recorded()["answers"].items():
        answer = client.get(path)
        now = {"status": answer.status_code, "body": answer.json()}
        free = JUDGED.union(*(fields for end, fields in JUDGED_THERE.items() if path.endswith(end)))
        assert list(lost(was, now, free, at=path))[:20] == []


def test_the_interface_is_described_with_everything_it_had(client: TestClient) -> None:
    was = json.loads(unpacked(FIXTURES / "openapi-76737f8.json.gz"))
    assert list(no_longer_described(was, client.get("/api/openapi.json").json()))[:20] == []


def test_every_reason_of_an_advice_that_was_told_is_among_those_named(client: TestClient) -> None:
    advice = client.get("/api/openapi.json").json()["components"]["schemas"]["AdviceTold"]
    told = {answer["body"]["why"] for path, answer in recorded()["answers"].items() if path.endswith("/advice")}
    assert told
    assert {*told, *REASONS.split()} <= set(advice["properties"]["why"]["enum"])


def test_every_path_that_was_read_is_on_record() -> None:
    described = json.loads(unpacked(FIXTURES / "openapi-76737f8.json.gz"))
    asked = {path.partition("?")[0] for path in recorded()["answers"]}
    for path in (path for path, operations in described["paths"].items() if "get" in operations):
        pattern = re.sub(r"\{\w+\}", "[^/]+", path)
        assert any(re.fullmatch(pattern, one) for one in asked), path


@pytest.mark.slow
def test_its_pages_open(client: TestClient) -> None:
    answers = recorded()["answers"]
    for engine in answers["/api/engines"]["body"]:
        shown = answers[f"/api/engines/{engine['id']}"]["body"]
        paths = [f"/engines/{engine['id']}", *(f"/visits/{one['id']}" for one in shown["visits"])]
        paths += [f"/visits/{one['id']}/sheet" for one in shown["visits"] if one["signed_off"]]
        for path in paths:
            assert client.get(path).status_code == 200, path


def test_the_pin_is_still_that_persons(own: Database) -> None:
    at = NOW.isoformat(timespec="milliseconds")
    assert people.prove(own, SIGNER, PIN, at) == SIGNER
    with pytest.raises(RejectedError):
        people.prove(own, SIGNER, "2581", at)


def test_work_goes_on_where_it_stopped(own: FileDatabase) -> None:
    """A round half read at 76737f8 is read to its end by the advice, a minute after its newest reading."""
    minute = datetime(2026, 11, 24, 8, 43, tzinfo=UTC)
    with TestClient(create_app(own, clock=lambda: minute), base_url=ORIGIN) as bench:
        here = "/api/visits/3/phases/heat-soaked-recheck"
        advice = bench.get(f"{here}/advice").json()
        assert advice["readings"] == recorded()["answers"][f"{here}/advice"]["body"]["readings"]
        for number in range(len(V8.bores)):
            if bench.get("/api/visits/3/rounds").json()[-1]["closed"]:
                break
            for one in advice["readings"]:
                sent = {**one, "key": str(uuid.uuid4()), "value": 7.0, "by": "KM", "sure": True}
                assert bench.post(f"{here}/readings", json=sent).status_code == 201, number
            advice = bench.get(f"{here}/advice").json()
        else:
            pytest.fail("the round was never closed")
    assert examine(own.file).damage is None
