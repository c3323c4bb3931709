"""Plates set cold: in which order and under which conditions, corrected, told to the estimate, and no hot moves."""

from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from app.shop.assessment.assessment import assess
from app.shop.assessment.cold_setting import ColdWork, has_run
from app.shop.commands import checks, cold_settings, moves
from app.shop.commands.cold_settings import NewSetting
from app.shop.errors import ConflictError
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.queries.assessed import phase_seen
from app.shop.record.visit_record import made_cold
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.events import ColdSetting
from app.sync.engine.units import THOU
from tests.shop.rejections import rejects
from tests.shop.yard import AT, TWINS, check_all, engine, key, read_round, visit, visit_record

OUTWARD = (1, 2, 3, 4, 5, 6, 7, 8)


def begun(shop: Database, *items: str, place: str = "test cell") -> int:
    """A visit whose plates may be set cold, with those of the optional items recorded."""
    visit_id = visit(shop, engine(shop), place)
    check_all(shop, visit_id, COLD_PRESET)
    record_items(shop, visit_id, "cold-and-off", *items)
    return visit_id


def record_items(shop: Database, visit_id: int, *items: str) -> None:
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, dict.fromkeys(items), "KM", AT)


def work(shop: Database, visit_id: int) -> ColdWork:
    found = assess(visit_record(shop, visit_id)).of(COLD_PRESET).cold
    assert found is not None
    return found


def setting(bore: int, *thou: float, supersedes: int | None = None) -> NewSetting:
    return NewSetting(bore, tuple(t * THOU for t in thou or (3.5,)), "KM", supersedes)


def set_all(shop: Database, visit_id: int, bores: Sequence[int] = OUTWARD) -> list[int]:
    return [cold_settings.set_plate(shop, visit_id, key(), setting(bore), AT) for bore in bores]


def test_a_plate_set_before_the_engine_ran_is_told_from_one_set_hot(shop: Database) -> None:
    visit_id = begun(shop)
    set_all(shop, visit_id)
    (first, *_) = visit_record(shop, visit_id).cold_settings
    assert made_cold(first)
    assert not made_cold(replace(first, phase=HEAT_SOAKED.slug))
    assert not made_cold(replace(first, leaves=""))  # a screw that was turned cold


def test_every_plate_is_set_outward_and_told_to_the_estimate_first(shop: Database) -> None:
    visit_id = begun(shop)
    for done, bore in enumerate(OUTWARD):
        found = work(shop, visit_id)
        assert found.next is not None
        assert found.next.bore == bore
        assert sum(step.stands for step in found.steps) == done
        set_all(shop, visit_id, [bore])
    assert work(shop, visit_id).next is None
    events = visit_record(shop, visit_id).events()
    assert [type(event) for event in events] == [ColdSetting] * 8
    made = [event for event in events if isinstance(event, ColdSetting)]
    assert [(one.bore, one.gauged) for one in made] == [(bore, False) for bore in OUTWARD]
    assert [one.gap for one in made] == pytest.approx([3.5 * THOU] * 8)


def test_a_setting_is_a_row_of_the_table_of_moves_that_says_what_set_it(shop: Database) -> None:
    visit_id = begun(shop)
    set_all(shop, visit_id, (1, 2))
    stop, coupler = visit_record(shop, visit_id).all_moves
    assert (stop.phase, stop.kind, stop.bank, stop.near, stop.far, stop.amount) == (
        COLD_PRESET.slug, "stop", "A", None, None, 0.0,
    )  # fmt: skip
    assert (coupler.kind, coupler.near, coupler.far) == ("blade", 1, 2)
    assert coupler.amount == pytest.approx(3.5 * THOU)
    assert [float(row.leaves) for row in (stop, coupler)] == pytest.approx([3.5 * THOU] * 2)


def test_the_same_setting_sent_twice_is_stored_once(shop: Database) -> None:
    visit_id, sent = begun(shop), key()
    first = cold_settings.set_plate(shop, visit_id, sent, setting(1), AT)
    assert cold_settings.set_plate(shop, visit_id, sent, setting(1), AT) == first
    assert len(visit_record(shop, visit_id).cold_settings) == 1


def test_work_broken_off_goes_on_where_it_stopped_on_the_same_feeler(shop: Database) -> None:
    visit_id = begun(shop)
    cold_settings.set_plate(shop, visit_id, key(), setting(1, 3, 1.5), AT)
    found = work(shop, visit_id)
    assert found.begun
    assert found.next is not None
    assert found.next.bore == 2
    assert found.leaves == pytest.approx((3 * THOU, 1.5 * THOU))


def test_the_feeler_offered_is_the_leaf_nearest_to_the_gap_of_the_preset(shop: Database) -> None:
    found = work(shop, begun(shop))
    leaves = found.record.settings.blades
    assert abs(found.leaves[0] - found.preset.gap) == min(abs(leaf - found.preset.gap) for leaf in leaves)


def test_a_plate_set_anew_leaves_what_hangs_on_it_to_be_set_again(shop: Database) -> None:
    visit_id = begun(shop)
    set_all(shop, visit_id)
    set_all(shop, visit_id, (2,))
    assert [step.bore for step in work(shop, visit_id).steps if not step.stands] == [3, 4]
    set_all(shop, visit_id, (3, 4))
    assert work(shop, visit_id).next is None


def test_a_corrected_feeler_keeps_the_place_of_the_one_told_wrongly(shop: Database) -> None:
    visit_id = begun(shop)
    rows = set_all(shop, visit_id)
    fixed = cold_settings.set_plate(shop, visit_id, key(), setting(2, 4, supersedes=rows[1]), AT)
    told = visit_record(shop, visit_id)
    assert work(shop, visit_id).next is None
    assert [made.bore for made in told.set_cold] == list(OUTWARD)
    assert told.set_cold[1].gap == pytest.approx(4 * THOU)
    assert len(told.all_moves) == 9
    with rejects(Rejection.CHANGED_BY_ANOTHER_TABLET, kind=ConflictError):
        cold_settings.set_plate(shop, visit_id, key(), setting(2, 5, supersedes=rows[1]), AT)
    cold_settings.set_plate(shop, visit_id, key(), setting(2, 3.5, supersedes=fixed), AT)


def test_a_setting_that_was_not_made_is_taken_back_as_a_move_is(shop: Database) -> None:
    visit_id = begun(shop)
    rows = set_all(shop, visit_id)
    moves.take_back(shop, visit_id, key(), COLD_PRESET.slug, rows[5], "KM", AT)
    told = visit_record(shop, visit_id)
    assert [made.bore for made in told.set_cold] == [1, 2, 3, 4, 5, 7, 8]
    assert told.moves == ()
    found = work(shop, visit_id)
    assert [step.bore for step in found.steps if not step.stands] == [6, 7, 8]


def test_a_plate_waits_for_the_one_that_carries_it(shop: Database) -> None:
    visit_id = begun(shop)
    with rejects(Rejection.SET_BEFORE):
        set_all(shop, visit_id, (2,))
    set_all(shop, visit_id, (5, 6))  # the other bank first
    with rejects(Rejection.SET_BEFORE):
        set_all(shop, visit_id, (8,))


@pytest.mark.parametrize("bore", [9, 0])
def test_a_bore_that_is_not_there_is_refused(shop: Database, bore: int) -> None:
    visit_id = begun(shop)
    with rejects(Rejection.NOT_SET_COLD):
        set_all(shop, visit_id, (bore,))


def test_plates_on_one_shaft_are_set_together(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, TWINS))
    check_all(shop, visit_id, COLD_PRESET)
    record_items(shop, visit_id, "cold-and-off")
    assert [step.bore for step in work(shop, visit_id).steps] == [2, 3]
    with rejects(Rejection.NOT_SET_COLD):
        set_all(shop, visit_id, (1,))
    set_all(shop, visit_id, (2, 3))
    made = visit_record(shop, visit_id).all_moves[1]
    assert (made.kind, made.amount) == ("screw", 0.0)


@pytest.mark.parametrize(
    ("leaves", "code"),
    [
        ((), Rejection.FEELER_COUNT),
        ((1, 2, 3), Rejection.FEELER_COUNT),
        ((0.1,), Rejection.FEELERS_OUT_OF_RANGE),
    ],
)
def test_a_feeler_that_cannot_be_laid_is_refused(shop: Database, leaves: tuple[float, ...], code: Rejection) -> None:
    visit_id, new = begun(shop), NewSetting(1, tuple(t * THOU for t in leaves), "KM")
    with rejects(code):
        cold_settings.set_plate(shop, visit_id, key(), new, AT)


def test_nothing_is_set_before_plates_close_and_the_engine_cannot_start(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    with rejects(Rejection.PRESET_FIRST):
        set_all(shop, visit_id, (1,))
    record_items(shop, visit_id, "closed-contact")
    with rejects(Rejection.PRESET_FIRST):  # turns made after it would move every plate again
        set_all(shop, visit_id, (1,))
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"preset-turns": 1.0}, "KM", AT)
    with rejects(Rejection.COLD_SETTING_UNSAFE):
        set_all(shop, visit_id, (1,))
    record_items(shop, visit_id, "cold-and-off")
    set_all(shop, visit_id, (1,))


def test_nothing_is_set_cold_once_the_engine_ran(shop: Database) -> None:
    visit_id = begun(shop)
    check_all(shop, visit_id, FIRST_FIRE)
    assert assess(visit_record(shop, visit_id)).of(COLD_PRESET).cold is None
    with rejects(Rejection.ENGINE_HAS_RUN):
        set_all(shop, visit_id, (1,))


def test_nothing_is_set_cold_by_telephone(shop: Database) -> None:
    visit_id = visit(shop, engine(shop), "telephone")
    assert phase_seen(shop, visit_id, COLD_PRESET.slug).judged.cold is None
    with rejects(Rejection.NOT_SET_COLD):
        set_all(shop, visit_id, (1,))


def test_it_is_never_demanded(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    check_all(shop, visit_id, COLD_PRESET)
    assert assess(visit_record(shop, visit_id)).current is FIRST_FIRE


def test_a_setting_is_no_move_of_the_engine_as_it_runs(shop: Database) -> None:
    """As found is the first hot round, nothing was moved since it, and what is judged is the same as without."""
    visit_id = begun(shop)
    set_all(shop, visit_id)
    for phase in (FIRST_FIRE, HEAT_SOAKED):
        check_all(shop, visit_id, phase)
        read_round(shop, visit_id, phase)
    told = visit_record(shop, visit_id)
    found, left = told.as_found(), told.as_left()
    assert told.moves == ()
    assert found is not None
    assert found.row.phase == HEAT_SOAKED.slug
    assert left is not None
    assert left.row.number == found.row.number
    assert isinstance(told.events()[0], ColdSetting)


def test_a_gauged_hand_is_told_to_the_estimate_and_saves_more(shop: Database) -> None:
    visit_id = begun(shop)
    usual = work(shop, visit_id).foreseen
    record_items(shop, visit_id, "hand-gauged")
    gauged = work(shop, visit_id).foreseen
    assert gauged.saved > usual.saved > 0
    set_all(shop, visit_id, (1,))
    assert visit_record(shop, visit_id).set_cold[0].gauged


@pytest.mark.parametrize(("reading", "checked", "ran"), [(0, "", False), (1, "", True), (0, "oil-pressure", True)])
def test_an_engine_has_run_once_it_was_read_or_its_oil_was_seen_to(reading: int, checked: str, ran: bool) -> None:
    """Readings are numbered from 1."""
    record: Any = SimpleNamespace(last_reading=reading, checks={(FIRST_FIRE.slug, checked): 1})
    assert has_run(record) is ran
