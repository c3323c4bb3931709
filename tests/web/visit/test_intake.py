"""What sits on the intakes while they are read: asked once a visit, shown, set against the visit before."""

import json
import math
import re

import pytest
from starlette.testclient import TestClient

from app.shop.assessment.since_left import Change
from app.shop.commands import visits
from app.shop.commands.visits import NewVisit
from app.shop.errors import RejectedError
from app.shop.exchange.imports import bring_in, read
from app.shop.procedure.recheck import same_air
from app.shop.queries import history_cache
from app.shop.queries.engine_history import changes
from app.shop.record.intake import Intake, IntakeState, differs
from app.shop.rejections import Rejection
from app.shop.store import row_hashes
from app.shop.store.database import Database, raw_connection
from app.shop.store.tables import Visit
from tests.shop.exchange.files import out
from tests.shop.past import Past
from tests.shop.rejections import codes_of, on_page
from tests.shop.yard import AT, FOUR, engine, key, visit_record

OFF, RUNS, ADAPTER, OTHER = (
    IntakeState.FILTER_OFF,
    IntakeState.AS_IT_RUNS,
    IntakeState.ADAPTER,
    IntakeState.OTHER,
)
EVEN = [6.5] * 8
ALL_MORE = [7.25] * 8
AIR = {"air-pressure": 101.3, "air-temperature": 20.0, "idle-speed": 850.0}
DIFFERENT = (
    "The intakes were different: as it runs then, filter off now. A change of all bores together says nothing about "
    "the engine."
)


def form(**changes: str) -> dict[str, str]:
    return {"key": key(), "place": "vehicle", "by": "KM", "meter": "1", "intake": OFF, **changes}


def newest_change(past: Past) -> Change:
    with past.shop.reading() as session:
        return list(changes(history_cache.of_engine(session, past.engine_id).visits).values())[-1]


def test_it_is_asked_when_a_visit_is_opened_and_kept_with_it(client: TestClient, shop: Database) -> None:
    engine_id = engine(shop, FOUR)
    page = client.get(f"/engines/{engine_id}/visits/new").text
    for words in ("On the intakes while you read", "As it runs", "Filter off", "Adapter or trumpet fitted for reading"):
        assert words in page
    assert 'name="intake" value="filter-off" checked' not in page
    assert "Last visit:" not in page
    answer = client.post(f"/engines/{engine_id}/visits", data=form(intake_note=" green panel "))
    assert answer.status_code == 303
    assert visit_record(shop, 1).intake == Intake(OFF, "green panel")
    with shop.reading() as session:
        assert row_hashes.check(raw_connection(session)).broken == ()


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"intake": ""}, "intake", on_page(Rejection.INTAKE_MISSING)),
        ({"intake": OTHER}, "intake_note", on_page(Rejection.INTAKE_NOTE_MISSING)),
        ({"intake_note": "x" * 121}, "intake_note", on_page(Rejection.TOO_LONG, most=120)),
    ],
)
def test_what_is_missing_is_said_beside_its_field(
    client: TestClient, shop: Database, changes: dict[str, str], field: str, said: str
) -> None:
    answer = client.post(f"/engines/{engine(shop, FOUR)}/visits", data=form(**changes))
    assert answer.status_code == 422
    assert re.search(rf'id="{field}-message">[^<]*{re.escape(said)}', answer.text)
    with shop.reading() as session:
        assert session.get(Visit, 1) is None


@pytest.mark.parametrize(
    ("then", "now", "expected"),
    [
        (Intake(RUNS), Intake(OFF), True),
        (Intake(OFF), Intake(OFF), False),
        (Intake(ADAPTER, "45 mm"), Intake(ADAPTER, "60 mm"), True),
        (Intake(ADAPTER, "45 mm"), Intake(ADAPTER, "45MM"), False),
        (Intake(ADAPTER, "45 mm"), Intake(ADAPTER), False),
        (None, Intake(OFF), False),
        (Intake(OFF), None, False),
        (None, None, False),
    ],
)
def test_two_visits_differ_only_where_both_were_told(then: Intake | None, now: Intake | None, expected: bool) -> None:
    assert differs(then, now) is expected


def test_in_another_state_all_bores_together_say_nothing_and_in_the_same_they_do(shop: Database) -> None:
    told = {}
    for state in (RUNS, OFF, None):
        past = Past(shop, serial=f"31-{state}")
        past.visit(EVEN, EVEN, air=AIR, intake=RUNS)
        past.visit(ALL_MORE, air=AIR, signed=False, intake=state)
        told[state] = newest_change(past)
        assert same_air(visit_record(shop, past.visits[-1])) is False  # from the test cell into the vehicle
    assert [told[state].other_intake for state in (RUNS, OFF, None)] == [False, True, False]
    assert told[RUNS].common == told[None].common == pytest.approx(0.0)
    assert told[OFF].common is None
    other, same = told[OFF].assessment, told[RUNS].assessment
    assert other is not None
    assert same is not None
    assert other.any_slip < same.any_slip
    assert other.changes[1] == pytest.approx(math.log(7.25 / 6.5), rel=0.02)


def test_a_new_state_is_other_air_to_what_was_learned(shop: Database) -> None:
    past = Past(shop)
    for state in (RUNS, RUNS, OFF):
        past.visit(EVEN, EVEN, intake=state)
    assert [same_air(visit_record(shop, one)) for one in past.visits[1:]] == [False, False]
    third = past.visit(EVEN, intake=OFF, signed=False)
    assert same_air(visit_record(shop, third))


def test_pages_and_paper_show_it_and_say_that_it_was_different(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN, air=AIR, intake=RUNS)
    second = past.visit(ALL_MORE, EVEN, air=AIR, intake=OFF)
    history = client.get(f"/engines/{past.engine_id}").text
    assert "Intakes: as it runs" in history
    assert "Intakes: filter off" in history
    assert DIFFERENT in history
    assert "other filter, trumpets or adapter" in history
    sheet = client.get(f"/visits/{second}/sheet").text
    assert f"Intakes: filter off. {DIFFERENT}" in sheet
    assert DIFFERENT in client.get(f"/visits/{second}/heat-soaked-recheck").text
    before = client.get(f"/engines/{past.engine_id}/visits/new").text
    assert "Last visit: filter off. If it is different now, only single bores can be compared." in before


def test_where_it_was_not_told_nothing_is_said_of_it(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    first, second = past.visit(EVEN, EVEN, air=AIR), past.visit(ALL_MORE, EVEN, air=AIR, intake=OFF)
    assert "Intakes:" not in client.get(f"/visits/{first}/sheet").text
    assert "intakes were different" not in client.get(f"/visits/{second}/sheet").text
    assert "intakes were different" not in client.get(f"/engines/{past.engine_id}").text


def test_programs_tell_and_are_told(client: TestClient, shop: Database) -> None:
    engine_id = engine(shop, FOUR)
    sent = {"key": key(), "place": "vehicle", "by": "KM", "meter_id": 1}
    there = f"/api/engines/{engine_id}/visits"
    answer = client.post(there, json={**sent, "intake": "other"})
    assert answer.status_code == 422
    assert Rejection.INTAKE_NOTE_MISSING in answer.text
    assert client.post(there, json={**sent, "intake": "bare"}).status_code == 422
    told = client.post(there, json={**sent, "intake": "other", "intake_note": "one trumpet missing"}).json()
    assert (told["intake"], told["intake_note"]) == ("other", "one trumpet missing")
    past = Past(shop, serial="another")
    past.visit(EVEN, EVEN, air=AIR, intake=RUNS)
    second = past.visit(ALL_MORE, air=AIR, signed=False, intake=OFF)
    said = client.get(f"/api/visits/{second}/slipped").json()
    assert said["intake_differs"] is True
    assert any(DIFFERENT in sentence for sentence in said["sentences"])


def test_a_visit_from_before_and_its_key_are_still_the_same(shop: Database) -> None:
    engine_id, same = engine(shop, FOUR), key()
    untold = NewVisit("vehicle", "", "", "KM", 1)
    first = visits.open_visit(shop, engine_id, same, untold, AT)
    assert "intake" not in str(untold)  # what the fingerprints of older programs were made of
    assert visits.open_visit(shop, engine_id, same, untold, AT) == first
    assert visit_record(shop, first).intake is None


def test_a_state_that_is_none_is_refused(shop: Database) -> None:
    with pytest.raises(RejectedError) as refused:
        visits.open_visit(shop, engine(shop, FOUR), key(), NewVisit("vehicle", "", "", "KM", 1, intake="bare"), AT)
    assert codes_of(refused) == {"intake": Rejection.NOT_ONE_OF}


def test_it_travels_with_the_engine_and_is_left_out_where_it_was_not_told(shop: Database, other: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    past.visit(EVEN, EVEN, intake=ADAPTER, intake_note="45 mm")
    file = out(shop, past.engine_id)
    first, second = json.loads(file)["visits"]
    assert not {"intake", "intake_note"} & first.keys()
    assert (second["intake"], second["intake_note"]) == ("adapter", "45 mm")
    there = bring_in(other, read(file), {})
    assert out(other, there) == file
