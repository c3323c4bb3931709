"""What earlier visits taught reaches the advice, changes with a correction, and stops where something was changed."""

from dataclasses import replace

import numpy as np

from app.shop.assessment.lessons import visit_prior
from app.shop.assessment.verdicts import next_of
from app.shop.commands.corrections import NewCorrection, correct
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.record import loader
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from app.sync.estimation.posterior import Posterior
from app.sync.planning.planner import next_move
from tests.shop.past import Past
from tests.shop.yard import AT, key, visit_record

FOUND, LEFT = [6.5, 6.25, 9.5, 6.5, 6.75, 6.5, 6.25, 6.5], [6.5] * 8
SCALE, DEMAND = -2, -1


def came_back(shop: Database) -> int:
    """An engine that was evened with one reset, and is read again."""
    past = Past(shop)
    past.visit(FOUND, LEFT, air={"idle-speed": 800})
    return past.visit(FOUND, signed=False)


def taught(told: VisitRecord) -> Posterior:
    lessons = visit_prior(told)
    assert lessons is not None
    return lessons


def test_the_first_visit_starts_from_the_usual_and_the_next_from_what_it_taught(shop: Database) -> None:
    second = visit_record(shop, came_back(shop))
    assert second.before is not None
    assert visit_prior(second.before) is None
    assert next_of(second, HEAT_SOAKED) != next_of(replace(second, before=None), HEAT_SOAKED)
    assert next_of(second, HEAT_SOAKED) == next_move(
        second.layout, second.hardware, second.meter_as_read(), second.events(), second.engine.idle_speed,
        second.settings.blades, second.settings.window(HEAT_SOAKED.slug), second.engine.displacement, taught(second),
    )  # fmt: skip


def test_the_same_lessons_are_handed_out_while_nothing_changed(shop: Database) -> None:
    visit_id = came_back(shop)
    assert taught(visit_record(shop, visit_id)) is taught(visit_record(shop, visit_id))
    with shop.reading() as session:
        (on_the_board,) = loader.in_the_shop(session)
        (of_the_engine, _) = loader.of_engine(session, on_the_board.engine.ident)
    assert taught(on_the_board) is taught(visit_record(shop, visit_id))
    assert next_of(of_the_engine, HEAT_SOAKED) == next_of(on_the_board, HEAT_SOAKED)


def test_a_correction_of_the_earlier_visit_changes_them(shop: Database) -> None:
    visit_id = came_back(shop)
    before = taught(visit_record(shop, visit_id))
    earlier = visit_record(shop, visit_id).before
    assert earlier is not None
    found = earlier.as_found()
    assert found is not None
    wrong = found.latest[3].ident
    correct(shop, earlier.visit.ident, key(), NewCorrection("Misread", "KM", {wrong: 8.0}), AT)
    assert not np.allclose(taught(visit_record(shop, visit_id)).mean, before.mean, rtol=1e-6)


def test_another_meter_and_another_exhaust_are_known_about(shop: Database) -> None:
    known = taught(visit_record(shop, came_back(shop)))
    now = replace(visit_record(shop, 2), place_before="vehicle")
    rebuilt = replace(now, visit=replace(now.visit, changed="exhaust"))
    read_otherwise = replace(now, meter=replace(now.meter, ident=99))
    assert known.mean[SCALE] != 0.0
    assert taught(read_otherwise).mean[SCALE] == 0.0
    assert taught(now).mean[DEMAND] != 0.0
    assert known.mean[DEMAND] == taught(rebuilt).mean[DEMAND] == 0.0  # known went from the test cell into a vehicle


def test_what_is_learned_from_goes_back_three_visits(shop: Database) -> None:
    past = Past(shop)
    for _ in range(5):
        visit_id = past.visit(FOUND, LEFT)
    assert [one.visit.number for one in visit_record(shop, visit_id).back()] == [5, 4, 3, 2]


def test_each_of_three_earlier_visits_teaches_something(shop: Database) -> None:
    past = Past(shop)
    for _ in range(4):
        past.visit(FOUND, LEFT, air={"idle-speed": 800})
    told = visit_record(shop, past.visit(FOUND, signed=False))
    assert visit_prior(told, 0) is None
    usual = taught(told)
    assert np.array_equal(usual.covariance, visit_prior(told, 3).covariance)  # type: ignore[union-attr]
    for back in (1, 2):
        assert not np.array_equal(usual.covariance, visit_prior(told, back).covariance)  # type: ignore[union-attr]
