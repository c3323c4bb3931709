"""A training engine that runs rough: graded by what is drawn, read at its tests, and told apart by a careful hand."""

from itertools import pairwise

import pytest
from starlette.testclient import TestClient

from app.shop.commands.readings import NewReading
from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.cross_check.weighing import cross_check
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.training import rough, training, training_start
from app.shop.training.rough import RoughGrade
from app.shop.training.training_start import NewPractice
from app.sync.diagnosis.measurements import FindingKind
from app.sync.engine.layout import Bank, Coupler, Layout
from app.sync.simulation.rough_engine import GRADES, RoughEngine
from app.sync.simulation.rough_stand import RoughStand, rough_engine
from app.web.application import create_app
from app.wording.office.training import record_texts
from tests.shop.rejections import rejects
from tests.shop.yard import AT, heat_soaked, key, visit_record
from tests.shop.yard import read_round as even_round

EIGHT = Layout((Bank("A", (1, 2, 3, 4), 2, 1), Bank("B", (5, 6, 7, 8), 6, 5)))
CAUSES = {"leak", "lean", "rings", "sticking", "coupler", "slack"}


def begin(shop: Database, grade: str) -> int:
    return training_start.start(shop, key(), NewPractice("8-two", grade, "hot", "KM"), record_texts(), AT)


def read_round(shop: Database, visit_id: int) -> None:
    """A whole round of the training engine."""
    for _ in range(len(EIGHT.bores) + 1):
        now = next_reading(visit_record(shop, visit_id), HEAT_SOAKED)
        new = NewReading(HEAT_SOAKED.slug, now.round_number, now.bore or 0, now.kind, None, "KM")
        training.read(shop, visit_id, key(), new, AT)


def graded(shop: Database, visit_id: int) -> RoughGrade:
    with shop.reading() as session:
        found = rough.grade(session, visit_id)
    assert found is not None
    return found


def repair(shop: Database, visit_id: int, cause: str, bore: int) -> None:
    findings.add(shop, visit_id, key(), NewFindings("repaired", (ShownAt(bore, word=cause),), "", "KM"), AT)


def test_every_cause_is_drawn_and_none_at_a_bore_without_a_coupler() -> None:
    drawn = [rough_engine(EIGHT, seed, grade).drawn for grade in GRADES for seed in range(60)]
    assert {cause for cause, _, _ in drawn} == CAUSES
    assert {bore for _, bore, _ in drawn} == {0, 2, 3, 4, 6, 7}


@pytest.mark.parametrize("cause", sorted(CAUSES - {"sticking"}))
def test_a_harder_grade_has_smaller_causes(cause: str) -> None:
    sizes = [sizes[cause] for sizes in GRADES.values() if cause in sizes]  # type: ignore[index]
    assert len(sizes) >= 2
    assert all(harder[1] < easier[0] for easier, harder in pairwise(sizes))


def test_a_test_shows_the_same_whenever_it_is_made_and_another_reading_the_next_time() -> None:
    engine = RoughEngine(8, 5, "rough-easy")
    assert engine.shows(FindingKind.HEAT, 2, 0) == engine.shows(FindingKind.HEAT, 2, 0)
    assert engine.shows(FindingKind.HEAT, 2, 0) != engine.shows(FindingKind.HEAT, 2, 1)


def test_a_dead_coupler_answers_no_reset_until_it_is_repaired() -> None:
    seed = next(s for s in range(99) if rough_engine(EIGHT, s, "rough-easy").drawn[0] == "coupler")
    stand = RoughStand(EIGHT, seed, trouble="rough-easy")
    assert stand.dead is not None
    before = stand.solve()[0][stand.place[stand.dead]]
    carrier = EIGHT.bank_of(stand.dead).carrier(stand.dead)
    assert isinstance(carrier, Coupler)
    stand.reset(carrier, (0.0001,))
    assert stand.solve()[0][stand.place[stand.dead]] == pytest.approx(before, rel=1e-3)
    off = stand.worst()
    stand.repair()
    assert stand.worst() < 0.02 < 0.1 < off


def test_only_the_repair_of_the_dead_coupler_itself_lets_its_plate_answer(
    shop: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    seed = next(s for s in range(99) if rough_engine(EIGHT, s, "rough-easy").drawn[0] == "coupler")
    monkeypatch.setattr(training_start, "_seed_for", lambda *_: seed)
    visit_id = begin(shop, "rough-easy")
    bore = EIGHT.bores[rough_engine(EIGHT, seed, "rough-easy").drawn[1]]

    def worst() -> float:
        with shop.reading() as session:
            return training.truth(session, visit_id).worst

    off = worst()
    repair(shop, visit_id, "leak", bore)
    repair(shop, visit_id, "coupler", next(other for other in EIGHT.bores if other != bore))
    assert worst() == pytest.approx(off)
    repair(shop, visit_id, "coupler", bore)
    assert worst() < 0.02 < 0.1 < off


@pytest.mark.slow
@pytest.mark.parametrize("grade", GRADES)
def test_following_the_advice_leads_to_the_cause_and_its_repair_is_graded(shop: Database, grade: str) -> None:
    visit_id = begin(shop, grade)
    read_round(shop, visit_id)
    for _ in range(rough.MOST_TESTS):
        with shop.reading() as session:
            following = cross_check(session, loader.load(session, visit_id)).diagnosis.next_test
        if following is None:
            break
        rough.read(shop, visit_id, key(), following.measure, "KM", AT, safe=True)
    told = graded(shop, visit_id)
    assert not told.mine.found
    assert told.mine.tests >= 1
    assert told.mine.minutes > 0
    wrong = next(bore for bore in range(1, 9) if bore != told.bore)
    repair(shop, visit_id, "leak", wrong)
    repair(shop, visit_id, told.cause, told.bore)
    told = graded(shop, visit_id)
    assert told.mine.found
    assert told.needless == 1
    assert len(told.careful.steps) == told.careful.tests


@pytest.mark.slow
def test_an_easy_engine_is_told_by_a_careful_hand() -> None:
    found = 0
    for seed in range(8):
        engine = rough_engine(EIGHT, seed, "rough-easy")
        found += rough.careful_hand((0,) * 4 + (1,) * 4, engine).found
    assert found >= 7


def test_a_real_engine_is_not_read_and_not_graded(shop: Database) -> None:
    visit_id = heat_soaked(shop, EIGHT)
    with rejects(Rejection.REAL_ENGINE):
        rough.read(shop, visit_id, key(), "vacuum", "KM", AT, safe=True)
    with shop.reading() as session:
        assert rough.grade(session, visit_id) is None


def test_the_page_reads_the_engine_and_tells_the_cause_at_the_end(shop: Database) -> None:
    visit_id = begin(shop, "rough-easy")
    read_round(shop, visit_id)
    why = f"/visits/{visit_id}/why"
    home = "http://127.0.0.1"
    with TestClient(create_app(shop), base_url=home, headers={"Origin": home}, client=("127.0.0.1", 9)) as to:
        assert "Read the training engine" in to.get(why).text
        page = to.post(why, data={"test": "vacuum", "practice": "1", "safe": "1", "by": "KM", "key": key()}).text
        assert "Vacuum, bore 1" in page
        told = graded(shop, visit_id)
        assert f"The cause: bore {told.bore}, " in to.get(f"/practice/{visit_id}").text
        assert "What it would have done: Exhaust heat, " in to.get(f"/practice/{visit_id}").text
        assert "You have not repaired it." in to.get(f"/practice/{visit_id}").text
        repair(shop, visit_id, told.cause, told.bore)
        assert "You repaired it." in to.get(f"/practice/{visit_id}").text
        assert "Failed" not in to.get(f"/practice/{visit_id}").text


def test_a_test_begun_without_its_cautions_fails_the_exercise_whatever_the_rest(shop: Database) -> None:
    visit_id = begin(shop, "rough-easy")
    read_round(shop, visit_id)
    home = "http://127.0.0.1"
    with TestClient(create_app(shop), base_url=home, headers={"Origin": home}, client=("127.0.0.1", 9)) as to:
        sent = {"test": "heat", "practice": "1", "by": "KM", "key": key()}
        for _ in range(2):  # sent again, as after an answer that was lost
            page = to.post(f"/visits/{visit_id}/why", data=sent).text
        assert "Exhaust heat" in page
        told = graded(shop, visit_id)
        assert told.unsafe == (FindingKind.HEAT,)
        assert told.mine.tests == 1
        repair(shop, visit_id, told.cause, told.bore)
        assert "Failed: begun without its cautions: Exhaust heat." in to.get(f"/practice/{visit_id}").text


@pytest.mark.parametrize(("grade", "leads"), [("rough-fair", True), ("sound", False)])
def test_a_rough_engine_that_is_even_leads_to_its_cross_check(shop: Database, grade: str, leads: bool) -> None:
    visit_id = begin(shop, grade)
    record = visit_record(shop, visit_id)
    assert (record.simulated, record.rough) == (True, leads)
    even_round(shop, visit_id, HEAT_SOAKED)
    home = "http://127.0.0.1"
    with TestClient(create_app(shop), base_url=home, headers={"Origin": home}, client=("127.0.0.1", 9)) as to:
        readings = to.get(f"/visits/{visit_id}/heat-soaked-recheck/readings").text
        assert "No adjustment needed" in readings
        assert (f'href="/visits/{visit_id}/why"' in readings) is leads


def test_other_training_engines_have_no_cause(shop: Database) -> None:
    visit_id = begin(shop, "sound")
    with shop.reading() as session:
        assert rough.grade(session, visit_id) is None
        assert training.of_engine(session, 1) is not None
