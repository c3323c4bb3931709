"""How the hand-over is said to stand at the sender: what waits, what the receiver has, and why a turn failed."""

import errno
import os
import threading
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from app.server.handing_over import LineError, one_turn
from app.shop.exchange.handing import sending
from app.shop.exchange.handing.codes import HandOverProblem
from app.shop.exchange.handing.setting import Receiver
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from app.shop.training import training_start
from app.shop.training.training_start import NewPractice
from app.wording.office.training import record_texts
from tests.shop.exchange.two_stores import receiving
from tests.shop.yard import AT, FOUR, engine, key, visit


def standing_of(shop: Database, to: Receiver) -> tuple[int, list[str]]:
    with shop.reading() as session:
        now = sending.standing(session, to.to, 10)
    assert now.count == len(now.waiting)
    return now.whole, [one.serial for one in now.waiting]


def test_what_changed_since_the_last_turn_is_said_to_wait(shop: Database) -> None:
    """Before the first turn every engine waits; after a change that no turn has looked at, that engine does."""
    to = Receiver("http://127.0.0.1:9", "token")
    engine(shop, FOUR)
    engine(shop, FOUR, serial="22-0098")
    assert standing_of(shop, to) == (0, ["31-0217", "22-0098"])
    sending.look(shop, to.to)
    for engine_id in (1, 2):
        with shop.reading() as session:
            parcel = sending.parcel(session, engine_id, AT)
        sending.acknowledged(shop, to.to, parcel, AT)
    assert standing_of(shop, to) == (2, [])
    visit(shop, 1)
    assert standing_of(shop, to) == (1, ["31-0217"])
    sending.look(shop, to.to)
    assert standing_of(shop, to) == (1, ["31-0217"])


def test_an_engine_to_train_on_neither_waits_nor_counts(shop: Database) -> None:
    to = Receiver("http://127.0.0.1:9", "token")
    training_start.start(shop, key(), NewPractice("4-twins", "sound", "hot", "KM"), record_texts(), AT)
    assert standing_of(shop, to) == (0, [])
    sending.look(shop, to.to)
    assert standing_of(shop, to) == (0, [])
    assert one_turn(shop, to, lambda: datetime.fromisoformat(AT), threading.Event()) == 0


def test_a_line_that_is_dead_is_told_without_the_names_of_python(shop: Database) -> None:
    to = Receiver("http://127.0.0.1:9", "token")
    engine(shop, FOUR)
    with pytest.raises(LineError) as cut:
        one_turn(shop, to, lambda: datetime.fromisoformat(AT), threading.Event())
    assert cut.value.problem.values["why"] == os.strerror(errno.ECONNREFUSED)


def test_a_token_that_is_not_known_there_is_told_as_one_to_make_anew(shop: Database, tmp_path: Path) -> None:
    office = open_shop(tmp_path / "office")
    engine(shop, FOUR)
    with receiving(office) as to, pytest.raises(LineError) as refused:
        one_turn(shop, replace(to, token="another"), lambda: datetime.fromisoformat(AT), threading.Event())
    office.close()
    assert refused.value.problem.code == HandOverProblem.TOKEN_UNKNOWN
