"""Moves that were corrected, from one shop to another, and files that say nothing of such."""

import json
from dataclasses import replace
from pathlib import Path

from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.exchange.imports import bring_in, read
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from tests.shop.exchange.files import out
from tests.shop.yard import AT, heat_soaked, key, visit_record
from tests.shop.yard import read as read_next

FIXTURES = Path(__file__).parent


def test_moves_corrected_are_so_in_the_other_shop(shop: Database, other: Database) -> None:
    visit_id = heat_soaked(shop)
    read_next(shop, visit_id, HEAT_SOAKED)
    turn = NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.25, (), True, "KM")
    stray, wrong = (moves.make(shop, visit_id, key(), turn, AT) for _ in range(2))
    moves.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, stray, "KM", AT)
    moves.change(shop, visit_id, key(), wrong, replace(turn, amount=-0.5), AT)
    sent = out(shop)
    assert out(other, bring_in(other, read(sent), {})) == sent
    here, there = visit_record(shop, visit_id), visit_record(other, 1)
    assert [m.amount for m in there.moves] == [-0.5]
    assert there.events() == here.events()
    told = json.loads(sent)["visits"][0]["moves"]
    assert [m["taken_back"] for m in told] == [False, False, True, False]


def test_a_file_may_leave_out_what_was_taken_back(shop: Database) -> None:
    file = json.loads((FIXTURES / "engine-5.json").read_text())
    assert all("taken_back" not in move for visit in file["visits"] for move in visit["moves"])
    assert not any(move.taken_back for visit in read(json.dumps(file)).visits for move in visit.moves)
