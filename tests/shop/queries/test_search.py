"""Finding an engine by any part of what is known of it, in any order, typing errors forgiven."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.shop.commands import engines
from app.shop.queries.search import Hits, find, neighbors, spellings, tag_of
from app.shop.store.database import Database
from app.shop.store.tables import Engine, Visit
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.units import LITER
from tests.shop.yard import AT, FACTS, FOUR, key, visit

HARDWARE = likely_hardware(FACTS.displacement, 4)


def serials(shop: Database, ids: tuple[int, ...]) -> list[str]:
    with shop.reading() as session:
        return [one.serial for one in engines.among(session, ids)]


def hits(shop: Database, typed: str) -> Hits:
    with shop.reading() as session:
        return find(session, typed)


def found(shop: Database, typed: str) -> list[str]:
    """Serials found as typed and then those found nearly so."""
    both = hits(shop, typed)
    return serials(shop, (*both.exact, *both.near))


def register(shop: Database, serial: str, **known: str | float) -> int:
    facts = replace(FACTS, **{"description": "", "customer": "", "vehicle": "", "serial": serial, **known})  # type: ignore[arg-type]
    return engines.register(shop, key(), facts, FOUR, HARDWARE, AT)


@pytest.fixture
def yard(shop: Database) -> Database:
    """Three engines that have little in common."""
    visit(
        shop, register(shop, "31-0217", description="Eight", customer="C-104 Hafen", vehicle="Blue coupe"), job="1184"
    )
    register(shop, "22-0098", description="Four, hill engine", vehicle="Club racer", displacement=2.0 * LITER)
    register(shop, "18-0264", customer="Élan & Söhne", vehicle="Touring estate", displacement=2.68 * LITER)
    return shop


@pytest.mark.parametrize(
    ("typed", "serial"),
    [
        ("0217", "31-0217"),
        ("1-02", "31-0217"),
        ("BLUE coup", "31-0217"),
        ("coupe blue 118", "31-0217"),
        ("hafen", "31-0217"),
        ("3.9", "31-0217"),
        ("238cu", "31-0217"),
        ("2.0l", "22-0098"),
        ("racer hill", "22-0098"),
        ("elan", "18-0264"),
        ("sohne 02", "18-0264"),
        ("2.68 touring", "18-0264"),
    ],
)
def test_any_part_in_any_order_finds_the_engine(yard: Database, typed: str, serial: str) -> None:
    assert found(yard, typed) == [serial]


@pytest.mark.parametrize(
    ("typed", "serial"),
    [
        ("310217", "31-0217"),
        ("10217", "31-0217"),
        ("31/02.17", "31-0217"),
        ("v12äö773", "V12-ÄÖ 77/3"),
        ("äö 77", "V12-ÄÖ 77/3"),
        ("Äö", "V12-ÄÖ 77/3"),
        ("жк", "ЖК 5"),
    ],
)
def test_a_serial_is_found_however_it_is_parted_and_in_any_case(yard: Database, typed: str, serial: str) -> None:
    for other in ("V12-ÄÖ 77/3", "ЖК 5"):
        register(yard, other)
    assert found(yard, typed) == [serial]


@pytest.mark.parametrize(
    "typed",
    ["cuope", "couppe", "cope blue", "cxupe", "blye coupe", "0271", "0317", "02127", "31-0218", "1194", "coup3 118"],
)
def test_one_letter_wrong_in_a_word_is_forgiven(yard: Database, typed: str) -> None:
    both = hits(yard, typed)
    assert serials(yard, both.near) == ["31-0217"]
    assert both.exact == ()


@pytest.mark.parametrize("typed", ["cxxpe", "xlu", "coupe estate", "nothing of that kind", "'\"", "\0", "0217 zzz"])
def test_what_is_further_off_is_not_found(yard: Database, typed: str) -> None:
    assert found(yard, typed) == []


def test_the_beginning_of_a_mistyped_word_is_enough(yard: Database) -> None:
    assert found(yard, "tourn") == ["18-0264"]
    assert found(yard, "twuri") == ["18-0264"]


def test_the_engine_of_that_serial_comes_first_then_serials_then_the_newest(shop: Database) -> None:
    register(shop, "217")
    register(shop, "31-2170")
    register(shop, "9", description="engine 217 of the club")
    visit(shop, register(shop, "8"), job="1217")
    assert found(shop, "217") == ["217", "31-2170", "8", "9"]


def test_correcting_an_engine_moves_it_in_the_index(yard: Database) -> None:
    engines.change(yard, 1, 1, replace(FACTS, vehicle="Green launch"))
    assert found(yard, "launch") == ["31-0217"]
    assert found(yard, "blue") == []
    assert found(yard, "1184 launch") == ["31-0217"]


def test_every_job_of_an_engine_finds_it_once(yard: Database) -> None:
    with yard.writing() as session:
        for number, job in enumerate(("2250", "2251", "2250"), 2):
            row = Visit(
                key=key(), payload="", engine_id=1, fitting_id=1, meter_id=1, number=number, place="vehicle", job=job,
                why="", by="KM", opened_at=AT,
            )  # fmt: skip
            session.add(row)
    for job in ("1184", "2250", "2251", "2250 1184"):
        assert found(yard, job) == ["31-0217"], job


def test_a_removed_engine_is_no_longer_found(yard: Database) -> None:
    with yard.writing() as session:
        row = {
            **engines.get(session, 2).model_dump(),
            "id": None,
            "key": key(),
            "serial": "9-9",
            "serial_folded": "9-9",
        }
        session.add(Engine(**row))
        session.flush()
        assert len(find(session, "racer").exact) == 2
        session.connection().exec_driver_sql("DELETE FROM engine WHERE serial = '9-9'")
    assert found(yard, "racer") == ["22-0098"]


def of_sheet(tag: str) -> str:
    """The code of a handover sheet, whose serial is that of another engine."""
    return f"EVENBORE 1 TAG {tag.upper()} ENGINE 31-0217 / LEFT 2026-11-25 VISIT 1 ISSUE 1 / KG/H 1-2 6.50 6.50"


def test_a_tag_finds_its_engine_typed_or_scanned(yard: Database) -> None:
    with yard.reading() as session:
        tag = tag_of(engines.get(session, 2).key)
    for typed in (tag, tag.upper(), tag.replace("-", ""), f"http://192.168.1.20:8000/tag/{tag}", of_sheet(tag)):
        assert found(yard, typed)[0] == "22-0098", typed
    assert hits(yard, "http://192.168.1.20:8000/tag/0000-0000") == Hits((), ())


@pytest.mark.slow
@given(st.text(max_size=60))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_anything_may_be_typed(yard: Database, typed: str) -> None:
    both = hits(yard, typed)
    assert len(both.exact) + len(both.near) <= 3


def test_no_sign_of_the_query_language_has_a_meaning(yard: Database) -> None:
    for typed in (
        '"',
        "a*",
        "serial:x",
        "(NEAR",
        "AND OR",
        "blue OR racer",
        "{serial}",
        "^blue",
        "%",
        "_",
        "\\",
        "'; DROP",
    ):
        assert hits(yard, typed).exact == (), typed


def test_neighbors_are_one_letter_away() -> None:
    assert "coupe" not in neighbors("coupe")
    assert {"oupe", "ccoupe", "coupes", "ocupe", "coupf"} <= neighbors("coupe")
    assert not {"cope s", "cupoe", "upe"} & neighbors("coupe")


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("smiths", {"smiths", "s miths", "smith s"}),
        ("smith's", {"smith s", "smiths"}),
        ("dangelo", {"dangelo", "d angelo"}),
        ("ab", {"ab"}),
    ],
)
def test_a_name_is_found_with_its_apostrophe_and_without(typed: str, found: set[str]) -> None:
    assert spellings(typed) == found


def test_one_engine_that_has_all_of_several_words_is_told_alone(shop: Database) -> None:
    """With one word, what is spelled nearly so is told beside it."""
    first, second = (
        register(shop, f"{number}", vehicle=f"{name} launch") for number, name in enumerate(("Harbor", "Harbour"))
    )
    several, one = hits(shop, "harbor launch"), hits(shop, "harbor")
    assert (several.exact, several.near) == ((first,), ())
    assert (one.exact, one.near) == ((first,), (second,))
