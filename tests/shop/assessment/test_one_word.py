"""Card, verdict and phase agree: while a reading is asked for, nothing is called even and the phase is not done."""

import pytest

from app.shop.assessment import verdicts
from app.shop.assessment.assessment import Assessment, assess
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.sync.estimation.conformity import Conformity
from app.sync.planning import planner
from app.sync.planning.advice import AdviceKind, AdviceReason
from app.wording.quantities import unit_of
from app.wording.work.verdicts import verdict_sentence, verdict_title
from tests.shop.yard import heat_soaked, read, read_round, visit_record


@pytest.fixture
def doubting(monkeypatch: pytest.MonkeyPatch) -> None:
    """An adviser who is never sure by what was read before."""
    monkeypatch.setattr(planner, "SURE_TO_LEAVE", 1.01)
    verdicts._next_move.cache_clear()
    monkeypatch.setattr(verdicts, "_next_move", planner.next_move)


def judged(shop: Database, visit_id: int) -> Assessment:
    return assess(visit_record(shop, visit_id))


def test_what_the_adviser_leaves_is_even_and_done(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    found = judged(shop, visit_id)
    of_phase = found.of(HEAT_SOAKED)
    assert of_phase.step.kind is AdviceKind.DONE
    assert of_phase.round is not None
    assert of_phase.round.verdict is Conformity.EVEN
    assert found.as_left is not None
    assert found.as_left.verdict is Conformity.EVEN
    assert not [one for one in of_phase.status.missing if "round" in one.slug]


@pytest.mark.usefixtures("doubting")
def test_while_a_reading_is_asked_for_it_is_undecided_everywhere(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    found = judged(shop, visit_id)
    of_phase = found.of(HEAT_SOAKED)
    assert (of_phase.step.kind, of_phase.step.why) == (AdviceKind.MEASURE, AdviceReason.DOUBTFUL)
    assert of_phase.round is not None
    assert found.as_left is not None
    for said in (of_phase.round, found.as_left):
        assert said.verdict is Conformity.UNDECIDED
        assert said.decision.read_next == of_phase.step.bores
    assert verdict_title(of_phase.round) == "Undecided"
    most = of_phase.round.decision.readings
    assert most is not None
    assert most > 1
    sentence = verdict_sentence(of_phase.round, unit_of(found.record.meter))
    assert sentence.endswith(f"At most {most} more readings decide it.")
    assert not of_phase.status.done
    read(shop, visit_id, HEAT_SOAKED, bore=of_phase.step.bores[0])
    again = judged(shop, visit_id).of(HEAT_SOAKED).round
    assert again is not None
    assert again.decision.readings == most - 1
