"""Seals of the parts of an engine file: they travel, and show what changed or went missing on the way."""

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from app.shop.commands import settings_versions
from app.shop.errors import RejectedError
from app.shop.exchange.imports import bring_in, read
from app.shop.exchange.sealing import parts, unsealed
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.reasons import because
from app.shop.record import loader, stored_settings
from app.shop.record.settings import DEFAULTS
from app.shop.rejections import Rejection
from app.shop.store.database import Database, FileDatabase
from app.shop.store.upgrade import open_shop
from tests.shop.exchange.files import EVEN, SLIPPED, out
from tests.shop.past import Past
from tests.shop.yard import AT, FOUR, check_all, heat_soaked, key, visit_record

FIXTURES = Path(__file__).parent
LISTS = {"rounds", "readings", "speeds", "moves", "checks", "overrides", "sign_off", "corrections", "findings"}
LISTS |= {"engine_events", "stop_ends", "hours_corrections"}


def by_the_description(file: Any) -> dict[str, str]:
    """The seals of a file made by what its schema says of them, with nothing of the program's."""
    entries = [*file["meters"], *file["settings"], *file["fittings"]]
    for visit in file["visits"]:
        entries.append({n: v for n, v in visit.items() if n not in LISTS and v is not None})
        entries += [row for name in sorted(LISTS - {"sign_off"}) for row in visit.get(name, ())]
        entries += [visit["sign_off"]] if visit["sign_off"] else []
    return {e["key"]: hashlib.sha256(json.dumps(e, sort_keys=True).encode()).hexdigest() for e in entries}


def test_every_entry_has_the_seal_that_the_description_says(shop: Database) -> None:
    Past(shop).visit(SLIPPED, EVEN)
    file = json.loads(out(shop))
    assert {one["key"]: one["seal"] for one in file["seals"]} == by_the_description(file)
    assert len(file["seals"]) > 20


def test_another_shop_makes_the_same_seals(shop: Database, other: Database) -> None:
    Past(other, serial="in the way").visit(EVEN, EVEN)
    Past(shop).visit(SLIPPED, EVEN)
    there = bring_in(other, read(out(shop)), {})
    assert there != 1
    assert json.loads(out(other, there))["seals"] == json.loads(out(shop))["seals"]


def _dropped(file: Any) -> str:
    return str(file["visits"][0]["readings"].pop()["key"])


def _altered(file: Any) -> str:
    file["visits"][0]["readings"][3]["value"] += 0.25
    return str(file["visits"][0]["readings"][3]["key"])


def _meter_swapped(file: Any) -> str:
    file["meters"][0]["step"] = 0.5
    return str(file["meters"][0]["key"])


def _other_job(file: Any) -> str:
    file["visits"][0]["job"] = "another"
    return str(file["visits"][0]["key"])


@pytest.mark.parametrize("change", [_dropped, _altered, _meter_swapped, _other_job])
def test_what_changed_on_the_way_is_named_and_nothing_comes_in(
    shop: Database, other: Database, change: Callable[[Any], str]
) -> None:
    Past(shop).visit(EVEN)
    file = json.loads(out(shop))
    changed = change(file)
    with pytest.raises(RejectedError) as refusal:
        read(json.dumps(file))
    assert refusal.value.problems == {"file": because(Rejection.FILE_SEALS, keys=(changed[:8],))}


def test_a_row_that_was_changed_behind_the_program_goes_out_without_a_seal(shop: FileDatabase) -> None:
    Past(shop).visit(EVEN, EVEN)
    with shop.writing() as session:
        session.execute(text("DROP TRIGGER reading_no_update"))
        session.execute(text("UPDATE reading SET value = 9.5 WHERE id = 3"))
    file = read(out(shop))
    told = {one.key for one in file.seals}
    assert [part.key for part in parts(file) if part.key not in told] == [file.visits[0].readings[2].key]
    assert unsealed(file) == 1


def test_a_visit_is_judged_by_the_settings_it_was_opened_under_in_another_shop_too(
    shop: Database, other: Database
) -> None:
    strict = replace(DEFAULTS, fine_window=0.02, people=(("KM", "Kim of the yard"),), shop_name="North yard")
    settings_versions.change(shop, key(), 0, strict, "Closer work", "KM", AT)
    visit_id = heat_soaked(shop, FOUR)
    check_all(shop, visit_id, HEAT_SOAKED)
    assert visit_record(shop, visit_id).settings.fine_window == 0.02
    sent = out(shop)
    assert "Kim of" not in sent
    assert "North yard" not in sent
    engine_id = bring_in(other, read(sent), {})
    with other.reading() as session:
        (there,) = loader.of_engine(session, engine_id)
        assert stored_settings.now(session) == (0, DEFAULTS), "its own settings stay"
        assert stored_settings.history(session) == []
        kept = loader.load(session, there.visit.ident)
    assert there.settings == replace(strict, people=(), shop_name="")
    with other.reading() as session:
        assert loader.load(session, there.visit.ident) is kept, "it is kept in mind"
    assert out(other, engine_id) == sent


@pytest.mark.parametrize("said", [{"fine_window": 7.0}, {"fine_window": "wide"}, {"openings": 3}])
def test_settings_that_no_shop_can_have_are_refused(said: dict[str, Any]) -> None:
    file = json.loads((FIXTURES / "engine-6.json").read_text())
    file["settings"][0]["said"] = said
    with pytest.raises(RejectedError) as refusal:
        read(json.dumps(file))
    assert refusal.value.problems["file"].code == Rejection.FILE_CONTRADICTS_ITSELF


def test_two_new_shops_begin_with_two_meters(tmp_path: Path) -> None:
    keys = set()
    for name in ("one", "two"):
        opened = open_shop(tmp_path / name)
        with opened.reading() as session:
            keys.add(session.execute(text("SELECT key FROM meter")).scalar_one())
        opened.close()
    assert len(keys) == 2
