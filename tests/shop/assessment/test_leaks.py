"""The vacuum at a bore that resists tells a leak from a plate that is too far closed."""

from collections.abc import Callable
from math import sqrt

import pytest
from scipy.optimize import brentq

from app.shop.assessment.assessment import assess
from app.shop.assessment.leaks import MARGIN, LeakSign, leak_to_find, leaks_told
from app.shop.commands import checks
from app.shop.commands.moves import NewMove, make
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from app.wording.work.next_step import leak_words, step_words
from tests.shop.yard import AT, FOUR, heat_soaked, key, read, visit_record

GAMMA = 1.4


def passed(ratio: float) -> float:
    """Mass flow through an opening over the one at rest pressure and sonic speed, from the ratio of the pressures
    behind and before it. The isentropic orifice, as every textbook of compressible flow has it (from memory)."""
    critical = (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1))
    r = max(ratio, critical)
    return sqrt(2 * GAMMA / (GAMMA - 1) * (r ** (2 / GAMMA) - r ** ((GAMMA + 1) / GAMMA)))


def idling(area: float, leak: float = 0.0) -> tuple[float, float]:
    """What a meter at the intake and a vacuum gauge behind the plate show, in ambient pressure and the flow of an
    opening of 1: a cylinder takes a volume each cycle, whatever its pressure, two thirds of ambient where that is 1."""
    takes = passed(2 / 3) / (2 / 3)
    solved: Callable[[float], float] = lambda p: (area + leak) * passed(p) - takes * p  # noqa: E731
    pressure = brentq(solved, 0.2, 0.999)
    return area * passed(pressure), 1 - pressure


@pytest.mark.parametrize("leak", [0.08, 0.13, 0.2])
def test_a_leak_lowers_meter_and_vacuum_by_more_than_the_margin(leak: float) -> None:
    (meter, vacuum), (sound, others) = idling(1.0, leak), idling(1.0)
    assert meter < sound
    assert vacuum / others - 1 < -MARGIN


@pytest.mark.parametrize("area", [0.85, 0.9, 0.95])
def test_a_plate_too_far_closed_lowers_the_meter_and_raises_the_vacuum(area: float) -> None:
    (meter, vacuum), (sound, others) = idling(area), idling(1.0)
    assert meter < sound
    assert vacuum / others - 1 > MARGIN


def reset_twice(shop: Database, *shown: float) -> int:
    """A visit whose bore 3 read so much before each of two resets and after them, beside others at 6.5."""
    visit_id = heat_soaked(shop, FOUR)
    for number, value in enumerate(shown):
        if number:
            new = NewMove(HEAT_SOAKED.slug, "blade", "", 2, 3, 0.0, (4 * THOU,), False, "KM")
            make(shop, visit_id, key(), new, AT)
        assert "leak-checked" not in assess(visit_record(shop, visit_id)).of(HEAT_SOAKED).stale
        for bore in (1, 2, 3, 4, 1):
            read(shop, visit_id, HEAT_SOAKED, value if bore == 3 else 6.5, bore)
    return visit_id


def resisting(shop: Database, low: float = 5.0) -> int:
    """A visit whose bore 3 reads ``low`` whatever is done to it, and was looked at for a leak."""
    visit_id = reset_twice(shop, low, low, low)
    resists = "leak-checked" in assess(visit_record(shop, visit_id)).of(HEAT_SOAKED).stale
    assert resists is (low < 6.5)
    enter(shop, visit_id, **{"leak-checked": None})
    return visit_id


@pytest.mark.parametrize("shown", [(8.0, 5.0, 5.0), (5.0, 8.0, 5.0), (8.0, 8.0, 5.0)])
def test_a_bore_that_once_read_high_does_not_resist(shop: Database, shown: tuple[float, ...]) -> None:
    """Its coupler had slipped open, or a feeler missed: air behind a plate makes a meter read low at every plate."""
    visit_id = reset_twice(shop, *shown)
    assert "leak-checked" not in assess(visit_record(shop, visit_id)).of(HEAT_SOAKED).stale


def enter(shop: Database, visit_id: int, **values: float | None) -> None:
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, values, "KM", AT)


def asked(shop: Database, visit_id: int) -> set[str]:
    return {item.slug for item in assess(visit_record(shop, visit_id)).of(HEAT_SOAKED).items}


def test_the_vacuum_may_be_typed_once_a_bore_resists_and_is_never_missed(shop: Database) -> None:
    fresh = heat_soaked(shop, FOUR)
    assert not [slug for slug in asked(shop, fresh) if slug.startswith("vacuum-")]


def test_both_figures_are_asked_beside_the_flow(shop: Database) -> None:
    visit_id = resisting(shop)
    assert {"vacuum-3", "vacuum-beside-3"} <= asked(shop, visit_id)
    assert "leak-checked" not in assess(visit_record(shop, visit_id)).of(HEAT_SOAKED).stale
    lacks = {m.slug for m in assess(visit_record(shop, visit_id)).status(HEAT_SOAKED).missing}
    assert not lacks & {"vacuum-3", "vacuum-beside-3"}
    assert leaks_told(visit_record(shop, visit_id)) == ()


@pytest.mark.parametrize(
    ("here", "low", "sign"),
    [
        (16.0, 5.0, LeakSign.LEAK),
        (17.4, 5.0, LeakSign.LEAK),
        (18.1, 5.0, LeakSign.UNDECIDED),
        (17.9, 5.0, LeakSign.UNDECIDED),
        (20.0, 5.0, LeakSign.CLOSED),
        (16.0, 8.0, None),  # the meter is high there: its plate is open, and nothing is said of a leak
    ],
)
def test_meter_and_vacuum_are_told_together(shop: Database, here: float, low: float, sign: LeakSign | None) -> None:
    visit_id = resisting(shop, low)
    enter(shop, visit_id, **{"vacuum-3": here, "vacuum-beside-3": 18.0})
    told = leaks_told(visit_record(shop, visit_id))
    assert [one.sign for one in told] == ([sign] if sign else [])
    assert all("Bore 3: meter low" in leak_words(one) for one in told)


def test_a_leak_that_was_told_comes_before_the_next_feeler_until_it_was_looked_for(shop: Database) -> None:
    visit_id = resisting(shop)
    enter(shop, visit_id, **{"vacuum-3": 15.0, "vacuum-beside-3": 18.0})
    told = leak_to_find(visit_record(shop, visit_id))
    assert told is not None
    judged = assess(visit_record(shop, visit_id)).of(HEAT_SOAKED)
    assert (judged.step.kind, judged.step.about) == ("cannot", (3,))
    assert step_words(judged)[0] == "Find the air leak at bore 3"
    assert "leak-checked" in judged.stale  # so that its line is open again
    enter(shop, visit_id, **{"leak-checked": None})
    assert leak_to_find(visit_record(shop, visit_id)) is None


def test_a_vacuum_read_before_the_last_adjustment_says_nothing(shop: Database) -> None:
    visit_id = resisting(shop)
    enter(shop, visit_id, **{"vacuum-3": 15.0, "vacuum-beside-3": 18.0})
    make(shop, visit_id, key(), NewMove(HEAT_SOAKED.slug, "blade", "", 2, 3, 0.0, (5 * THOU,), False, "KM"), AT)
    assert leaks_told(visit_record(shop, visit_id)) == ()
