"""Heat soak is a gate: no fine round before it holds, or before somebody opened it for a reason."""

import pytest

from app.shop.assessment.progress import progress
from app.shop.commands import checks
from app.shop.errors import RejectedError
from app.shop.procedure.heat import lacks_of
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.procedure.requirements import Requirement
from app.shop.reasons import because
from app.shop.record.measures import RECORDED, Amount
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from tests.shop.rejections import codes_of
from tests.shop.yard import AT, FOUR, before, check_all, engine, heat_soaked, key, read, read_round, visit, visit_record


def warming(shop: Database, place: str = "test cell") -> int:
    """A first visit at the begin of its heat soak."""
    visit_id = visit(shop, engine(shop, FOUR), place)
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_round(shop, visit_id, FIRST_FIRE)
    return visit_id


def gauges(shop: Database, visit_id: int, minutes_ago: float, **values: float) -> None:
    at = before(minutes_ago) if minutes_ago else ""
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, dict(values), "KM", AT, at)


def test_the_fine_round_waits_for_heat(shop: Database) -> None:
    visit_id = warming(shop)
    gauges(shop, visit_id, 20, coolant=30, oil=25)
    with pytest.raises(RejectedError, match="not-heat-soaked"):
        read(shop, visit_id, HEAT_SOAKED)
    gauges(shop, visit_id, 8, coolant=84, oil=80)
    gauges(shop, visit_id, 0, coolant=85, oil=81)
    assert lacks_of(visit_record(shop, visit_id)) == (because(Requirement.PULLS, count=3),)
    gauges(shop, visit_id, 0, pulls=3)
    assert lacks_of(visit_record(shop, visit_id)) == ()
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"leak-checked": None}, "KM", AT)
    read(shop, visit_id, HEAT_SOAKED)


def test_the_same_temperature_read_again_is_a_figure_of_its_own(shop: Database) -> None:
    visit_id = warming(shop)
    for ago in (20, 10, 0):
        gauges(shop, visit_id, ago, coolant=84, oil=84)
    told = visit_record(shop, visit_id)
    assert len(told.series(HEAT_SOAKED.slug, "coolant")) == 3
    assert Requirement.HEAT_MOVING not in {lack.code for lack in lacks_of(told)}


def test_a_mistyped_temperature_taken_back_leaves_the_curve(shop: Database) -> None:
    visit_id = warming(shop)
    for ago, oil in ((20, 80), (10, 81), (0, 18)):
        gauges(shop, visit_id, ago, coolant=84, oil=oil)
    colder = Amount(47, RECORDED.of("temperature"), difference=True)
    assert because(Requirement.HEAT_LOW, what="oil", by=colder) in lacks_of(visit_record(shop, visit_id))
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "oil", "KM", AT)
    gauges(shop, visit_id, 0, oil=81, pulls=3)
    assert lacks_of(visit_record(shop, visit_id)) == ()


def test_the_round_opens_early_only_for_a_reason(shop: Database) -> None:
    visit_id = warming(shop)
    with pytest.raises(RejectedError) as refusal:
        checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, " ", "KM", AT, "heat")
    assert codes_of(refusal) == {"why": Rejection.REASON_MISSING}
    checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, "Rain; the cell is needed", "KM", AT, "heat")
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"leak-checked": None}, "KM", AT)
    read(shop, visit_id, HEAT_SOAKED)
    told = visit_record(shop, visit_id)
    assert "heat-soak" in told.overrides[0].missing
    assert lacks_of(told) == ()
    heat = next(s for s in progress(told) if s.phase is HEAT_SOAKED)
    assert not heat.done  # the gate alone was passed over: the round itself is still wanted
    assert "round" in {m.slug for m in heat.missing}


def test_a_round_already_read_waits_for_heat_once_the_pulls_are_taken_back(shop: Database) -> None:
    """The round is even and stands, but nothing says any more that the engine was hot through."""
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    (phase,) = [one for one in progress(visit_record(shop, visit_id)) if one.phase is HEAT_SOAKED]
    assert phase.done
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "pulls", "KM", AT)
    (phase,) = [one for one in progress(visit_record(shop, visit_id)) if one.phase is HEAT_SOAKED]
    assert [missing.slug for missing in phase.missing] == ["pulls", "heat"]


def test_an_open_gate_is_not_opened_again(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    with pytest.raises(RejectedError) as refusal:
        checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, "For good measure", "KM", AT, "heat")
    assert codes_of(refusal) == {"why": Rejection.NOTHING_MISSING}


def test_in_the_vehicle_nobody_waits_for_an_oil_gauge(shop: Database) -> None:
    visit_id = warming(shop, "vehicle")
    for ago in (20, 10, 0):
        gauges(shop, visit_id, ago, coolant=84)
    gauges(shop, visit_id, 0, pulls=3)
    assert lacks_of(visit_record(shop, visit_id)) == ()
    lacks = next(s for s in progress(visit_record(shop, visit_id)) if s.phase is HEAT_SOAKED).missing
    assert "oil" not in {m.slug for m in lacks}


def test_figures_entered_later_keep_when_they_were_read(shop: Database) -> None:
    told = visit_record(shop, heat_soaked(shop, FOUR))
    times = [at for at, _ in told.series(HEAT_SOAKED.slug, "oil")]
    assert [at - times[0] for at in times] == [0, 600, 1200]


def test_a_form_sent_again_leaves_one_figure(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    before_it = len(visit_record(shop, visit_id).all_checks)
    sent, values = key(), {"coolant": 84.0, "idle-speed": 850.0}  # the idle speed is recorded already
    for _ in range(2):
        checks.record(shop, visit_id, sent, HEAT_SOAKED.slug, dict(values), "KM", AT)
    assert len(visit_record(shop, visit_id).all_checks) == before_it + 1


def cycled(shop: Database, *coolant: float) -> tuple[Requirement, ...]:
    """What is lacking of an engine whose fan cycles, its coolant read every four minutes."""
    visit_id = warming(shop, "vehicle")
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"fans": 2, "pulls": 3}, "KM", AT)
    for place, value in enumerate(coolant):
        gauges(shop, visit_id, 4 * (len(coolant) - 1 - place), coolant=value)
    return tuple(Requirement(lack.code) for lack in lacks_of(visit_record(shop, visit_id)))


@pytest.mark.parametrize(
    ("coolant", "lacks"),
    [
        ((60, 80, 95, 88, 95), ()),  # the fan starts at 95 and stops at 88
        ((60, 95, 88, 95, 88), ()),
        ((95, 67, 95, 67, 95), ()),  # below 70 at the foot, 81 in the mean
        ((60, 70, 80, 88, 95), (Requirement.HEAT_CYCLE,)),
        ((60, 80, 88, 82, 95), (Requirement.HEAT_RISING,)),
        ((60, 61, 75, 60, 75), (Requirement.HEAT_LOW,)),
    ],
)
def test_a_cycling_fan_passes_by_the_mean_of_its_cycle(
    shop: Database, coolant: tuple[float, ...], lacks: tuple[Requirement, ...]
) -> None:
    assert cycled(shop, *coolant) == lacks


def test_without_word_of_a_cycling_fan_a_swing_is_a_swing(shop: Database) -> None:
    visit_id = warming(shop, "vehicle")
    for place, value in enumerate((60, 80, 95, 88, 95)):
        gauges(shop, visit_id, 16 - 4 * place, coolant=value)
    gauges(shop, visit_id, 0, pulls=3)
    moved = Amount(95 - 88, RECORDED.of("temperature"), difference=True)  # over the last five minutes
    assert lacks_of(visit_record(shop, visit_id)) == (
        because(Requirement.HEAT_MOVING, what="coolant", by=moved, count=5),
    )


def test_by_how_much_the_mean_of_a_cycle_rose_is_a_difference_of_two_temperatures(shop: Database) -> None:
    visit_id = warming(shop, "vehicle")
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"fans": 2, "pulls": 3}, "KM", AT)
    for place, value in enumerate((60, 80, 88, 82, 95)):
        gauges(shop, visit_id, 16 - 4 * place, coolant=value)
    (rising,) = lacks_of(visit_record(shop, visit_id))
    assert rising.values["by"] == Amount(rising.values["by"].figure, RECORDED.of("temperature"), difference=True)
    assert 0 < rising.values["by"].figure < 95 - 80


@pytest.mark.parametrize("number", [-1, 0.5, 3])
def test_a_fan_does_one_of_three_things(shop: Database, number: float) -> None:
    visit_id = warming(shop)
    with pytest.raises(RejectedError) as refusal:
        checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"fans": number}, "KM", AT)
    assert codes_of(refusal) == {"fans": Rejection.NOT_ONE_OF}
