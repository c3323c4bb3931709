"""An engine from one shop to another: nothing changed, all or nothing, twice is once, a conflict is for a person."""

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel
from sqlalchemy import text
from sqlmodel import Session

from app.places import static
from app.shop.apart import DiedError, GivenUpError, Talk
from app.shop.commands import engines
from app.shop.commands.corrections import NewCorrection, correct
from app.shop.exchange import imports
from app.shop.exchange import rows as drafts
from app.shop.exchange.exports import engine_file, written
from app.shop.exchange.imports import bring_in, carry_on, drafted, plan, read
from app.shop.exchange.sealing import unsealed
from app.shop.exchange.versions import v1, v2, v3, v4, v5, v6
from app.shop.exchange.versions.v6 import EngineFile, from_v1, from_v2, from_v3, from_v4, from_v5
from app.shop.procedure.codes import SetAside, SkipReason
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.fittings import FittingReason, hardware_from_json, layout_from_json
from app.shop.record.stored_reasons import stored
from app.shop.record.visit_record import move_of
from app.shop.rejections import Rejection
from app.shop.stopwatch import Allowance
from app.shop.store import tables
from app.shop.store.database import Database
from app.shop.store.row_hashes import check, store_prepared
from app.shop.store.tables import Evidence, Fitting, ReadingRow
from app.sync.engine.events import BypassTurn, ScrewTurn
from app.wording.stored import codes_of
from tests.faults.bench import rows_of
from tests.shop.exchange.files import EVEN, SLIPPED, out, with_codes
from tests.shop.past import Past
from tests.shop.rejections import rejects
from tests.shop.yard import AT, V8, engine, key, visit_record

FIXTURES = Path(__file__).parent
TABLES = (
    "engine",
    "fitting",
    "meter",
    "visit",
    "round",
    "reading",
    "opening_speed",
    "move",
    "check",
    "override",
    "sign_off",
    "correction",
)


def with_past(shop: Database) -> int:
    """An engine with three visits, one of them corrected, one still open; a refit in between."""
    past = Past(shop)
    first = past.visit(SLIPPED, EVEN)
    left = visit_record(shop, first).as_left()
    assert left is not None
    correct(shop, first, key(), NewCorrection("Typed in the wrong row", "KM", {left.latest[3].ident: 6.75}), AT)
    with shop.reading() as session:
        fitted = engines.fitting_now(session, past.engine_id)
    engines.fit(shop, past.engine_id, key(), V8, hardware_from_json(fitted.hardware), "=Plates measured", AT)
    past.visit(SLIPPED, EVEN)
    past.visit(EVEN, signed=False)
    return past.engine_id


def rows(shop: Database) -> dict[str, int]:
    with shop.reading() as session:
        return {t: int(session.execute(text(f'SELECT count(*) FROM "{t}"')).scalar_one()) for t in TABLES}


def asked(shop: Database, file: EngineFile, **choices: str) -> list[str]:
    with shop.reading() as session:
        return [one.name.partition("-")[0] for one in plan(session, file, choices).conflicts]


def test_a_round_trip_between_two_folders_changes_nothing(shop: Database, other: Database) -> None:
    sent = out(shop, with_past(shop))
    brought = bring_in(other, read(sent), {})
    assert out(other, brought) == sent
    assert rows(other) == {**rows(shop), "meter": 2}, "each shop begins with a meter of its own"
    with other.reading() as session:
        driver = session.connection().connection.driver_connection
        assert driver is not None
        assert check(driver).broken == ()


def test_what_the_engine_was_reads_the_same_in_the_other_shop(shop: Database, other: Database) -> None:
    engine(other, serial="in the way")
    engine_id = bring_in(other, read(out(shop, with_past(shop))), {})
    assert engine_id == 2
    with other.reading() as session:
        there = list(reversed(loader.of_engine(session, engine_id)))
    with shop.reading() as session:
        here = list(reversed(loader.of_engine(session, 1)))
    for one, two in zip(here, there, strict=True):
        for ours, theirs in ((one.as_found(), two.as_found()), (one.as_left(), two.as_left())):
            assert (ours is None) == (theirs is None)
            if ours and theirs:
                assert ours.in_base_units == theirs.in_base_units
        assert one.events() == two.events()


def test_twice_is_once(shop: Database, other: Database) -> None:
    file = read(out(shop, with_past(shop)))
    first = bring_in(other, file, {})
    before = rows(other)
    assert bring_in(other, file, {}) == first
    assert rows(other) == before
    with other.reading() as session:
        assert sum(plan(session, file, {}).adds.values()) == 0


def test_a_later_file_adds_what_is_new(shop: Database, other: Database) -> None:
    past = Past(shop)
    past.visit(SLIPPED, EVEN)
    bring_in(other, read(out(shop)), {})
    past.visit(SLIPPED, EVEN)
    later = out(shop)
    with other.reading() as session:
        meter = plan(session, read(later), {}).conflicts
    assert [one.name.partition("-")[0] for one in meter] == ["meter"]
    bring_in(other, read(later), {meter[0].name: "same"})
    assert out(other) == later


def test_what_fails_half_way_leaves_nothing(shop: Database, other: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    file = read(out(shop, with_past(shop)))
    before = rows(other)

    def breaks(session: Session, table: type[Evidence], some: Sequence[Mapping[str, Any]]) -> None:
        store_prepared(session, table, some)
        if table is ReadingRow:
            raise OSError("the power went")

    monkeypatch.setattr("app.shop.exchange.rows.store_prepared", breaks)
    with pytest.raises(OSError, match="power"):
        bring_in(other, file, {})
    assert rows(other) == before


def test_what_is_saved_while_an_import_is_drafted_stays_in_its_place(
    shop: Database, other: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent, real, fitted = out(shop, with_past(shop)), other.writing, list[bool]()
    here = engine(other, serial="in the way")

    @contextmanager
    def late() -> Iterator[Session]:
        monkeypatch.setattr(other, "writing", real)
        with real() as session:
            session.add(Fitting(key=key(), payload="", engine_id=here, number=9, layout="", hardware="", why="", at=AT))
        with real() as session:
            yield session

    def noted(draft: drafts.Draft, session: Session) -> bool:
        fitted.append(fits(draft, session))
        return fitted[-1]

    fits = drafts.Draft.fits
    monkeypatch.setattr(drafts.Draft, "fits", noted)
    monkeypatch.setattr(other, "writing", late)
    assert out(other, bring_in(other, read(sent), {})) == sent
    assert fitted == [False], "nothing came between"


@pytest.mark.parametrize("error", [GivenUpError, DiedError, None])
def test_a_talk_that_ends_among_its_rows_leaves_nothing(
    shop: Database, other: Database, error: type[Exception] | None
) -> None:
    """Where the process was ended, died, or broke its word and just stopped."""
    whole, before = drafted(other.reading, read(out(shop, with_past(shop))), {}, Allowance()), rows_of(other.folder)

    def breaks_off() -> Talk:
        yield next(whole)
        yield next(whole)
        if error is not None:
            raise error

    with pytest.raises(error or RuntimeError):
        carry_on(other, breaks_off())
    assert rows_of(other.folder) == before


@pytest.mark.parametrize("free", [0, 5])
def test_an_import_of_many_rows_leaves_ids_to_those_who_go_on(
    shop: Database, other: Database, monkeypatch: pytest.MonkeyPatch, free: int
) -> None:
    sent = out(shop, with_past(shop))
    monkeypatch.setattr(drafts, "MANY", 1)
    monkeypatch.setattr(drafts, "LEFT_FREE", free)
    engine_id = bring_in(other, read(sent), {})
    assert out(other, engine_id) == sent
    with other.reading() as session:
        record = loader.of_engine(session, engine_id)[-1]
    assert min(row.ident for one in record.rounds for row in one.entered) == 1 + free
    assert record.visit.ident == 1


@pytest.mark.parametrize(("choice", "engines_after", "visits_after"), [("join", 1, 2), ("apart", 2, 1)])
def test_an_engine_of_the_same_serial_may_be_the_same_or_another(
    shop: Database, other: Database, choice: str, engines_after: int, visits_after: int
) -> None:
    Past(shop).visit(EVEN, EVEN)
    Past(other).visit(EVEN, EVEN)
    file = read(out(shop))
    assert "same" in asked(other, file)
    choices = {"same": choice, "numbers": "append", **{f"meter-{m.key}": "apart" for m in file.meters}}
    engine_id = bring_in(other, file, choices)
    assert rows(other)["engine"] == engines_after
    assert rows(other)["meter"] == 2
    with other.reading() as session:
        there = loader.of_engine(session, engine_id)
        assert len(there) == visits_after
        assert {s.engine.serial for s in there} == {"31-0217" if choice == "join" else "31-0217 (2)"}
        assert sorted(s.visit.number for s in there) == list(range(1, visits_after + 1))


def test_two_open_visits_do_not_go_together(shop: Database, other: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    bring_in(other, read(out(shop)), {})
    past.visit(EVEN, signed=False)
    apart = Past.__new__(Past)
    apart.shop, apart.layout, apart.engine_id, apart.visits = other, V8, 1, [1]
    apart.visit(EVEN, signed=False)
    with rejects(Rejection.FILE_OPEN_VISITS):
        asked(other, read(out(shop)))


def test_evidence_that_says_something_else_is_refused(shop: Database, other: Database) -> None:
    Past(shop).visit(EVEN, EVEN)
    bring_in(other, read(out(shop)), {})
    forged = json.loads(out(shop))
    forged["visits"][0]["readings"][2]["value"] = 6.25
    before = rows(other)
    with rejects(Rejection.FILE_SEALS):
        bring_in(other, read(json.dumps(forged)), {})
    forged["seals"] = []
    with rejects(Rejection.FILE_ENTRY_DIFFERS):
        bring_in(other, read(json.dumps(forged)), {})
    assert rows(other) == before


@pytest.mark.parametrize(
    ("version", "model"),
    list(enumerate((v1.EngineFile, v2.EngineFile, v3.EngineFile, v4.EngineFile), 1)),
)
def test_the_schema_that_is_handed_out_is_the_one_that_is_checked(version: int, model: type[BaseModel]) -> None:
    handed_out = json.loads((static() / "exchange" / f"engine-{version}.schema.json").read_text())
    assert handed_out == model.model_json_schema()


LEFT_OUT = {
    "site_id",
    "id",
    "seal",
    "serial_folded",
    "version",
    "setup",
    "after_study",
    "engine_id",
    "visit_id",
    "look_id",
}
"""Made anew in the other shop, or the shop's own: its ids, its settings, its studies, its traces."""
OTHERWISE = {"supersedes_id", "round_id", "fitting_id", "meter_id"}
"""Named by key instead."""


@pytest.mark.parametrize(
    ("table", "part"),
    [
        (tables.Engine, v6.Engine),
        (tables.Fitting, v6.Fitting),
        (tables.MeterRow, v6.Meter),
        (tables.Visit, v6.Visit),
        (tables.RoundRow, v6.Round),
        (tables.ReadingRow, v6.Reading),
        (tables.OpeningSpeed, v6.Speed),
        (tables.MoveRow, v6.Move),
        (tables.CheckRow, v6.Check),
        (tables.Override, v6.Override),
        (tables.SignOff, v6.SignOff),
        (tables.Correction, v6.Correction),
    ],
)
def test_no_column_is_forgotten(table: type[tables.Row], part: type[v6.Part]) -> None:
    """A column that is added later needs a newer version of the file, or word that it stays with the shop."""
    assert set(table.model_fields) - LEFT_OUT - OTHERWISE <= set(part.model_fields)


@pytest.mark.parametrize("fixture", sorted(FIXTURES.glob("engine-*.json")), ids=lambda path: path.name)
def test_a_file_of_every_version_still_comes_in(shop: Database, fixture: Path) -> None:
    """Written when its version was the newest, and never again."""
    held = fixture.read_text()
    engine_id = bring_in(shop, read(held), {})
    with shop.reading() as session:
        file = json.loads(held)
        assert len(loader.of_engine(session, engine_id)) == len(file["visits"])
        goes_out = engine_file(session, engine_id, file["exported_at"])
        assert unsealed(goes_out) == 0
        if file["version"] < imports.NEWEST:
            goes_out = goes_out.model_copy(update={"seals": []})
    match file["version"]:
        case 1:
            assert goes_out == from_v1(v1.EngineFile.model_validate_json(held))
        case 2:
            assert goes_out == from_v2(v2.EngineFile.model_validate_json(held))
        case 3:
            assert goes_out == from_v3(v3.EngineFile.model_validate_json(held))
        case 4:
            assert goes_out == from_v4(v4.EngineFile.model_validate_json(held))
        case 5:
            assert goes_out == from_v5(v5.EngineFile.model_validate_json(held))
        case _:
            assert written(goes_out) == held


def test_there_is_a_file_of_this_version() -> None:
    assert (FIXTURES / f"engine-{imports.NEWEST}.json").exists()


def test_a_file_of_version_1_is_one_with_couplers_on_blades() -> None:
    file = read((FIXTURES / "engine-1.json").read_text())
    layout = layout_from_json(file.fittings[0].layout.model_dump_json())
    assert layout.blades_alone
    assert not layout.plenum


def test_codes_come_through_and_words_stay_words(shop: Database, other: Database) -> None:
    engine_id = with_codes(shop)
    file = json.loads(out(shop, engine_id))
    assert file["fittings"][0]["why"] == stored([because(FittingReason.AS_REGISTERED)])
    assert [meter["repeatability_from"][:6] for meter in file["meters"]] == ["this p", "codes:"]
    reasons = [one["why"] for one in file["visits"][0]["readings"] if one["kind"] == "skip"]
    assert reasons == [
        stored([because(SkipReason.OUT_OF_REACH)]),
        "No adapter fits",
        stored([because(SetAside.OTHER_VALUE_COUNTS)]),
    ]
    assert codes_of(file["visits"][0]["overrides"][0]["missing"]) == ("round-after-adjustment",)
    assert file["visits"][1]["changed"] == "exhaust"
    bring_in(other, read(json.dumps(file)), {})
    assert json.loads(out(other)) == file


def test_a_file_of_version_3_whose_rows_are_here_adds_nothing(shop: Database) -> None:
    held = (FIXTURES / "engine-3.json").read_text()
    bring_in(shop, read(held), {})
    before = rows(shop)
    with shop.reading() as session:
        found = plan(session, read(held), {})
    assert (found.adds, found.conflicts) == ({}, ())
    bring_in(shop, read(held), {})
    assert rows(shop) == before


def test_joints_bypass_screws_and_their_turns_come_through(shop: Database) -> None:
    engine_id = bring_in(shop, read((FIXTURES / "engine-2.json").read_text()), {})
    with shop.reading() as session:
        (one,) = loader.of_engine(session, engine_id)
    assert [bank.joints for bank in one.layout.banks] == [("shaft", "screw-in", "shaft")]
    assert (one.layout.bypass, one.layout.plenum) == (frozenset({1, 4}), True)
    moved = [move_of(move) for move in one.moves]
    assert [replace(move, at=0.0) for move in moved] == [ScrewTurn(2, 3, -0.125, 0.0), BypassTurn(4, 0.5, 0.0)]
