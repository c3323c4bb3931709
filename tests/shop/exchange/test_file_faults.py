"""A text that is no engine's file, or one that no shop can have written: why it is rejected, as a code."""

import json
from collections.abc import Callable
from typing import Any

import pytest

from app.shop.errors import RejectedError
from app.shop.exchange import imports
from app.shop.exchange.codes import FileFault
from app.shop.exchange.import_work import packed, unpacked
from app.shop.exchange.imports import read
from app.shop.reasons import Reason, because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.layout import LayoutFault
from tests.shop.exchange.files import EVEN, SLIPPED, out
from tests.shop.past import Past
from tests.shop.rejections import codes_of, rejects

NO_KEY = "00000000-0000-0000-0000-000000000000"


def in_visit(number: int, code: FileFault, **values: int) -> Reason:
    return because(FileFault.VISIT, visit=number, fault=because(code, **values))


def _set(*path: str | int, to: object) -> Callable[[Any], None]:
    def change(file: Any) -> None:
        for step in path[:-1]:
            file = file[step]
        file[path[-1]] = to

    return change


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (_set("format", to="other"), because(Rejection.FILE_NOT_AN_ENGINE)),
        (_set("version", to=7), because(Rejection.FILE_VERSION, version="7", newest=6)),
        (
            _set("fittings", 0, "layout", "banks", 0, "joints", to=["shaft"]),
            because(FileFault.LAYOUT, fitting=1, fault=LayoutFault.JOINT_COUNT),
        ),
        (_set("visits", 0, "moves", 0, "kind", to="screw"), in_visit(1, FileFault.NO_COUPLER_SCREW, near=2, far=3)),
        (_set("visits", 0, "moves", 0, "taken_back", to=True), in_visit(1, FileFault.TAKES_BACK_NOTHING)),
        (_set("visits", 0, "rounds", 0, "from_above", to=True), in_visit(1, FileFault.IDLE_FROM_ABOVE)),
        (_set("more", to=1), because(Rejection.FILE_NOT_BY_SCHEMA, fields=("more",))),
        (
            _set("engine", "serial", to=""),
            because(FileFault.ENGINE_FIELD, field="serial", fault=Rejection.SERIAL_MISSING),
        ),
        (
            _set("engine", "displacement", to="3.9"),
            because(Rejection.FILE_NOT_BY_SCHEMA, fields=("engine.displacement",)),
        ),
        (
            _set("engine", "displacement", to=9.0),
            because(FileFault.ENGINE_FIELD, field="displacement", fault=Rejection.OUT_OF_RANGE),
        ),
        (
            _set("visits", 0, "readings", 0, "value", to=-1),
            because(Rejection.FILE_NOT_BY_SCHEMA, fields=("visits.0.readings.0.value",)),
        ),
        (_set("visits", 0, "readings", 0, "bore", to=99), in_visit(1, FileFault.NO_SUCH_BORE, bore=99)),
        (_set("visits", 0, "readings", 0, "unit", to="kPa"), in_visit(1, FileFault.READING_UNIT)),
        (_set("visits", 0, "readings", 0, "kind", to="skip"), in_visit(1, FileFault.SKIP_WITH_VALUE)),
        (_set("visits", 0, "readings", 0, "supersedes", to=None), None),
        (_set("visits", 0, "readings", 1, "round", to=NO_KEY), in_visit(1, FileFault.READING_WITHOUT_ROUND)),
        (
            _set("visits", 0, "opened_at", to="yesterday"),
            because(Rejection.FILE_NOT_BY_SCHEMA, fields=("visits.0.opened_at",)),
        ),
        (_set("visits", 0, "fitting", to=NO_KEY), in_visit(1, FileFault.FITTING_OR_METER)),
        (_set("visits", 0, "sign_off", to=None), because(FileFault.OPEN_BEFORE_LAST)),
        (_set("visits", 1, "number", to=1), because(FileFault.NUMBER_ORDER)),
        (
            _set("fittings", 0, "layout", "banks", 0, "stop", to=7),
            because(FileFault.LAYOUT, fitting=1, fault=LayoutFault.STOP_ELSEWHERE),
        ),
        (_set("fittings", 0, "hardware", to={}), because(FileFault.HARDWARE_FIGURES, fitting=1)),
    ],
)
def test_a_file_that_makes_no_sense_says_why(
    shop: Database, change: Callable[[Any], None], reason: Reason | None
) -> None:
    past = Past(shop)
    past.visit(SLIPPED, EVEN)
    past.visit(SLIPPED, EVEN)
    file = json.loads(out(shop))
    change(file)
    if reason is None:
        read(json.dumps(file))
        return
    with pytest.raises(RejectedError) as refusal:
        read(json.dumps(file))
    found = refusal.value.problems["file"]
    assert found == reason or reason in found.values["faults"]


def test_a_key_that_is_there_twice_is_named(shop: Database) -> None:
    Past(shop).visit(EVEN, EVEN)
    file = json.loads(out(shop))
    one, other, *_ = file["visits"][0]["readings"]
    other["key"] = one["key"]
    with pytest.raises(RejectedError) as refusal:
        read(json.dumps(file))
    assert because(FileFault.KEY_TWICE, key=one["key"]) in refusal.value.problems["file"].values["faults"]


@pytest.mark.parametrize(
    "typed", ["", "{", "[]", "null", '{"format": 1}', "[" * 100_000, '{"format": "evenbore-engine"}']
)
def test_what_is_no_file_is_refused(typed: str) -> None:
    with pytest.raises(RejectedError) as refusal:
        read(typed)
    assert codes_of(refusal)["file"] in (Rejection.FILE_NOT_AN_ENGINE, Rejection.FILE_VERSION)


def test_a_file_that_waited_in_a_page_comes_back_whole_or_is_lost() -> None:
    whole = bytes(range(256)) * 8
    held = packed(whole)
    assert unpacked(held) == whole
    for cut in (4, 40, 400):  # of base64, in steps of its four characters
        with rejects(Rejection.FILE_LOST):
            unpacked(held[:-cut])


def test_a_file_longer_than_any_engine_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(imports, "LARGEST", 100)
    with rejects(Rejection.FILE_TOO_LARGE):
        read(" " * 101)
    with rejects(Rejection.FILE_NOT_AN_ENGINE):
        read(" " * 100)  # it is looked into
