"""Tablets: let in, named, shut out."""

from datetime import datetime, timedelta

from app.shop.commands.access import tablets
from app.shop.commands.access.tablets import LASTS, Admission
from app.shop.errors import ConflictError, NotFoundError
from app.shop.rejections import Rejection
from app.shop.store.database import Database, FileDatabase
from tests.shop.rejections import rejects
from tests.shop.yard import AT, key

NOW = datetime.fromisoformat(AT)


def admission(shop: Database) -> Admission:
    with shop.reading() as session:
        return Admission.of(tablets.let_in(session))


def test_a_paired_tablet_is_let_in_until_it_is_removed(shop: Database) -> None:
    first = tablets.pair(shop, key(), "test cell", "a token", AT)
    tablets.pair(shop, key(), "office", "another", AT)
    renamed = tablets.rename(shop, key(), first, "test cell 2", AT)
    assert admission(shop).admits("a token", NOW)
    assert not admission(shop).admits("a guess", NOW)
    with shop.reading() as session:
        assert [row.name for row in tablets.let_in(session)] == ["office", "test cell 2"]
    with rejects(Rejection.CHANGED_BY_ANOTHER_TABLET, kind=ConflictError):
        tablets.remove(shop, key(), first, AT)
    tablets.remove(shop, key(), renamed, AT)
    assert not admission(shop).admits("a token", NOW)
    assert admission(shop).admits("another", NOW)


def test_a_pairing_ends_after_a_year_and_no_clock_shuts_everybody_out(shop: Database) -> None:
    tablets.pair(shop, key(), "test cell", "a token", AT)
    found = admission(shop)
    assert found.admits("a token", NOW + LASTS - timedelta(seconds=1))
    assert not found.admits("a token", NOW + LASTS)
    assert found.admits("a token", NOW - timedelta(hours=1))


def test_the_token_itself_is_nowhere_in_the_file(shop: FileDatabase) -> None:
    tablets.pair(shop, key(), "test cell", "a token of 256 bits", AT)
    shop.close()
    assert b"a token of 256 bits" not in shop.file.read_bytes()


def test_what_cannot_be_is_refused(shop: Database) -> None:
    with rejects(Rejection.NAME_MISSING):
        tablets.pair(shop, key(), " ", "a token", AT)
    with rejects(Rejection.NO_SUCH_TABLET, kind=NotFoundError):
        tablets.remove(shop, key(), 7, AT)
