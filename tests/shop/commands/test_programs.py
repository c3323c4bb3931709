"""Programs of others: a token that is shown once, what it may do, until when, and which rows carry its name."""

from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from app.server.cli import cli
from app.shop.commands import meters
from app.shop.commands.access import programs, sites
from app.shop.commands.access.programs import THROUGH, Program, Programs, let_one_in, naming, shut_out
from app.shop.commands.access.scopes import MOST_DAYS, AccessScope
from app.shop.commands.meters import NewMeter
from app.shop.errors import ConflictError, NotFoundError, RejectedError
from app.shop.queries.changes import changes_after, newest_change
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.database import Database, FileDatabase, raw_connection
from app.shop.store.upgrade import open_shop
from app.wording.reasons import in_words
from tests.clock import working_day
from tests.shop.yard import AT, key

NOW = working_day()()
METER = NewMeter("Second meter", "kg/h", 0.1, 1, 30)


def known(shop: Database) -> Programs:
    with shop.reading() as session:
        return Programs.of(programs.let_in(session))


def let(shop: Database, **other: Any) -> str:
    said = {"key": key(), "name": "Bench 2", "scopes": {AccessScope.READ, AccessScope.RECORD}, "days": 30, "now": NOW}
    return let_one_in(shop, **{**said, **other})


def test_a_token_names_its_program_until_its_time_is_over(shop: Database) -> None:
    token = let(shop)
    found = known(shop).named_by(token, NOW)
    assert isinstance(found, Program)
    assert (found.name, sorted(found.scopes)) == ("Bench 2", [AccessScope.READ, AccessScope.RECORD])
    assert known(shop).named_by(token, NOW + timedelta(days=29.9)) is not None
    assert known(shop).named_by(token, NOW + timedelta(days=30)) is None
    assert known(shop).named_by(token + "x", NOW) is None


def test_a_token_may_be_good_for_a_day(shop: Database) -> None:
    token = let(shop, days=1)
    assert known(shop).named_by(token, NOW + timedelta(days=0.9)) is not None
    assert known(shop).named_by(token, NOW + timedelta(days=1)) is None


def test_a_token_is_kept_nowhere(shop: FileDatabase) -> None:
    token = let(shop)
    shop.close()
    assert token.encode() not in shop.file.read_bytes()


def test_a_token_is_given_out_once(shop: Database) -> None:
    """The same form sent again would have to show another token, and the first one would be good unseen."""
    again = key()
    let(shop, key=again)
    with pytest.raises(ConflictError) as refused:
        let(shop, key=again)
    assert refused.value.problems[""].code is Rejection.TOKEN_SHOWN
    assert len(known(shop).known) == 1


@pytest.mark.parametrize(
    ("other", "field", "code"),
    [
        ({"name": " "}, "name", Rejection.NAME_MISSING),
        ({"name": "x" * 300}, "name", Rejection.TOO_LONG),
        ({"name": "BENCH 1"}, "name", Rejection.NAME_TAKEN),
        ({"scopes": set()}, "scopes", Rejection.SCOPES_MISSING),
        ({"days": 0}, "days", Rejection.TOKEN_DAYS),
        ({"days": MOST_DAYS + 1}, "days", Rejection.TOKEN_DAYS),
    ],
)
def test_what_is_not_given_out(shop: Database, other: dict[str, Any], field: str, code: Rejection) -> None:
    let(shop, name="Bench 1")
    with pytest.raises(RejectedError) as refused:
        let(shop, **other)
    assert refused.value.problems[field].code is code


def test_access_ends_when_it_is_removed(shop: Database) -> None:
    token, again = let(shop), key()
    (one,) = known(shop).known.values()
    shut_out(shop, again, one.ident, NOW.isoformat())
    shut_out(shop, again, one.ident, NOW.isoformat())
    assert known(shop).named_by(token, NOW) is None
    with pytest.raises(ConflictError):
        shut_out(shop, key(), one.ident, NOW.isoformat())
    with pytest.raises(NotFoundError):
        shut_out(shop, key(), 99, NOW.isoformat())
    assert let(shop)  # its name is free again


def test_rows_written_through_a_program_carry_its_name(shop: Database) -> None:
    let(shop)
    (one,) = known(shop).known.values()
    shop.around_writes = naming
    with shop.reading() as session:
        before = newest_change(session)
    meters.register(shop, key(), METER)
    through = THROUGH.set(one.ident)
    try:
        second = meters.register(shop, key(), NewMeter("Other", "kg/h", 0.1, 1, 30))
    finally:
        THROUGH.reset(through)
    with shop.reading() as session:
        found = changes_after(session, before, 10)
    assert [(row.table, row.program) for row in found] == [("meter", ""), ("meter", "Bench 2")]
    assert found[1].row_id == second


def test_a_write_that_is_refused_names_nothing(shop: Database) -> None:
    let(shop)
    shop.around_writes = naming
    through = THROUGH.set(1)
    try:
        with pytest.raises(RejectedError):
            meters.register(shop, key(), NewMeter("", "kg/h", 0.1, 1, 30))
    finally:
        THROUGH.reset(through)
    with shop.reading() as session:
        assert raw_connection(session).execute("SELECT count(*) FROM program_write").fetchone() == (0,)


def test_the_command_gives_a_program_access_for_one_site(tmp_path: Path) -> None:
    with closing(open_shop(tmp_path / "shop")) as shop:
        site = sites.add(shop, key(), "North", "KM", AT)
    line = ["program", "Bench 3", "--scope", "record", "--days", "9", "--data", str(tmp_path / "shop"), "--site"]
    refused = CliRunner().invoke(cli, [*line, "West"])
    assert refused.exit_code == 1
    assert in_words(because(Rejection.NO_SUCH_SITE)) in refused.stderr
    token = CliRunner().invoke(cli, [*line, "north"]).stdout.strip()
    with closing(open_shop(tmp_path / "shop")) as shop:
        found = known(shop).named_by(token, datetime.now(UTC))
    assert isinstance(found, Program)
    assert found.site == site
