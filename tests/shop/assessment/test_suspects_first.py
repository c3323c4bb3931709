"""The first move of a return, and a bore that does not answer: what comes before another adjustment."""

from app.shop.assessment.assessment import assess
from app.shop.assessment.verdicts import next_of
from app.shop.commands import checks, moves
from app.shop.commands.moves import NewMove
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice
from app.wording.quantities import unit_named
from app.wording.work.advice import reason, title
from tests.shop.past import Past
from tests.shop.yard import AT, FOUR, heat_soaked, key, read, visit_record


def step(shop: Database, visit_id: int) -> Advice:
    return assess(visit_record(shop, visit_id)).of(HEAT_SOAKED).step


def test_the_first_move_of_a_return_is_at_what_slipped(shop: Database) -> None:
    """Bore 8 alone fell; the bank's other bores stand where they were left, a little uneven."""
    left = [6.5, 6.5, 6.5, 6.5, 6.75, 7.0, 7.0, 7.0]
    past = Past(shop)
    past.visit(left, left, rounds=2)
    returned = past.visit([*left[:7], 5.5], signed=False, rounds=2)
    advice = next_of(visit_record(shop, returned), HEAT_SOAKED)
    assert advice is not None
    assert (advice.kind, advice.near, advice.far) == ("blade", 7, 8)


def test_a_bore_that_stays_low_after_two_feelers_is_checked_for_a_leak(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    for _ in range(2):
        for bore in (1, 2, 3, 4, 1):
            read(shop, visit_id, HEAT_SOAKED, 5.0 if bore == 4 else 6.5, bore)
        assert step(shop, visit_id).why != "leak-check"
        new = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (6 * THOU,), False, "KM")
        moves.make(shop, visit_id, key(), new, AT)
    for bore in (1, 2, 3, 4, 1):
        read(shop, visit_id, HEAT_SOAKED, 5.0 if bore == 4 else 6.5, bore)
    advice = step(shop, visit_id)
    assert (advice.kind, advice.why, advice.about) == ("cannot", "leak-check", (4,))
    record = visit_record(shop, visit_id)
    assert title(advice, FOUR, record.units) == "Check for an air leak before you adjust again"
    assert "No flammable spray: hot parts, moving fan." in reason(advice, FOUR, unit_named("kg/h", 0.25))
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"leak-checked": None}, "KM", AT)
    assert step(shop, visit_id).why != "leak-check"
