"""What an engine's visits say together, on engines whose past is known because the test wrote it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from app.shop.assessment.since_left import Change, NotComparable, change
from app.shop.assessment.visit_summary import VisitSummary
from app.shop.commands import engines
from app.shop.queries import history_cache
from app.shop.queries.engine_history import changes, creep
from app.shop.record.fittings import hardware_from_json
from app.shop.store.database import Database, raw_connection
from app.shop.store.tables import ReadingRow, SignOff
from app.sync.engine.events import Meter
from app.sync.engine.layout import Coupler
from app.sync.engine.units import KG_PER_HOUR, REV_PER_MIN
from app.sync.slips.slip_detection import Pooled, pool
from tests.shop.past import Past
from tests.shop.yard import AT, FOUR, V8, key, visit

EVEN = [6.5] * 8
SLIPPED = [6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5]


def remembered(past: Past) -> tuple[VisitSummary, ...]:
    with past.shop.reading() as session:
        return history_cache.of_engine(session, past.engine_id).visits


def changed(past: Past) -> list[Change]:
    return list(changes(remembered(past)).values())


def test_each_visit_is_remembered_as_found_and_as_left(shop: Database) -> None:
    past = Past(shop)
    past.visit(SLIPPED, EVEN)
    (visit,) = remembered(past)
    assert visit.found is not None
    assert visit.left is not None
    assert visit.found.spread == pytest.approx(1.25 * KG_PER_HOUR)
    assert visit.left.spread == pytest.approx(0)
    assert [(m.kind, m.near, m.far) for m in visit.moves] == [("blade", 2, 3)]
    assert visit.rounds == 2


def test_all_rounds_that_nothing_moved_between_are_taken_together(shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN, rounds=3)
    (visit,) = remembered(past)
    assert visit.left is not None
    assert {p.n for p in visit.left.pooled.values()} == {3, 6}  # the first bore closes each round as well
    assert visit.left.pooled[4].mean == pytest.approx(6.5 * KG_PER_HOUR)


def test_a_slipped_coupler_is_named(shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    past.visit(SLIPPED, EVEN)
    (one,) = changed(past)
    assert one.assessment is not None
    assert one.assessment.named is not None
    assert one.assessment.named.suspect == Coupler(2, 3)


def test_an_engine_that_was_left_alone_shows_no_slip(shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    past.visit([6.5, 6.25, 6.5, 6.5, 6.75, 6.5, 6.5, 6.5], EVEN)
    (one,) = changed(past)
    assert one.assessment is not None
    assert one.assessment.verdict == "quiet"


def test_a_visit_that_was_not_read_is_passed_over(shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    visit(shop, past.engine_id, "telephone")
    with shop.writing() as session:
        session.add(SignOff(key=key(), payload="", visit_id=2, name="Foreman of the yard", at=AT))
    past.visits.append(2)
    past.visit(SLIPPED, signed=False)
    (one,) = changed(past)
    assert (one.before.number, one.after.number) == (1, 3)
    assert one.after.left is None


def test_another_layout_cannot_be_set_beside_it(shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    with shop.reading() as session:
        facts = engines.fitting_now(session, past.engine_id)
    engines.fit(shop, past.engine_id, key(), FOUR, hardware_from_json(facts.hardware), "Rebuilt", AT)
    past.layout = FOUR
    past.visit([6.5] * 4)
    (one,) = changed(past)
    assert one.assessment is None
    assert one.why_not is NotComparable.LAYOUT


AIR = {"air-pressure": 101.3, "air-temperature": 20.0, "idle-speed": 850.0}


def test_thin_air_is_no_slip(shop: Database) -> None:
    """Ten per cent less air pressure takes ten per cent off every bore: the flow law's own proportion."""
    past = Past(shop)
    past.visit(EVEN, EVEN, air=AIR)
    past.visit([5.75] * 8, EVEN, air={**AIR, "air-pressure": 90.0})
    (one,) = changed(past)
    assert one.common == pytest.approx(-0.118, abs=0.003)  # ln(90 / 101.3)
    assert one.assessment is not None
    assert one.assessment.verdict == "quiet"


def test_the_speed_as_left_is_the_one_typed_after_the_last_move(shop: Database) -> None:
    """Typed before a move, a speed tells nothing of how the engine was left: the bores may have changed together."""
    past = Past(shop)
    past.visit(EVEN, EVEN, air={**AIR, "idle-speed": 644.0}, left_speed=900.0)
    past.visit([7.0] * 8, EVEN, air={**AIR, "idle-speed": 900.0}, left_speed=None)
    first, second = remembered(past)
    assert first.air_found is not None
    assert first.air_left is not None
    assert first.air_found.speed == pytest.approx(644 * REV_PER_MIN)
    assert first.air_left.speed == pytest.approx(900 * REV_PER_MIN)
    assert second.air_left is None
    assert changed(past)[0].common == pytest.approx(0.0)
    past.visit([7.0] * 8, EVEN, air=AIR)
    assert changed(past)[1].common is None


def test_without_the_air_all_bores_together_say_nothing(shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    past.visit([8.0] * 8, EVEN)
    (one,) = changed(past)
    assert one.common is None
    assert one.assessment is not None
    assert one.assessment.verdict == "quiet"


def scattered(flows: NDArray[np.float64], draw: np.random.Generator) -> dict[int, Pooled]:
    """Three readings of each bore [kg/h] with 2 % of scatter in steps of 0.25, as they are pooled."""
    read = np.round(flows * (1 + 0.02 * draw.standard_normal((3, 8))) / 0.25) * 0.25 * KG_PER_HOUR
    return {bore: pool(read[:, at].tolist(), Meter()) for at, bore in enumerate(V8.bores)}


@pytest.mark.parametrize("typed", [560.0, 644.0])
def test_a_slipped_coupler_is_named_whatever_was_typed_before_the_moves(shop: Database, typed: float) -> None:
    """One coupler let the bores beyond it open or close by 10 to 18 %, the engine left at 900 rev/min.

    The engine here knows no law of flow: bores within 3 % of one another, of which those beyond the coupler change.
    """
    past = Past(shop)
    past.visit(EVEN, EVEN, air={**AIR, "idle-speed": typed}, left_speed=None)
    past.visit(EVEN, signed=False, air={**AIR, "idle-speed": 900.0})
    before, after = remembered(past)
    assert before.left is not None
    assert after.found is not None
    draw, right, trials = np.random.default_rng(2027), 0, 100
    for _ in range(trials):
        even = 6.5 * (1 + 0.03 * draw.uniform(-1, 1, 8))
        slipped = V8.couplers()[draw.integers(6)]
        beyond = np.array([slipped.far <= bore <= (4 if slipped.far <= 4 else 8) for bore in V8.bores])
        found = np.where(beyond, even * math.exp(draw.choice([-1, 1]) * draw.uniform(0.10, 0.18)), even)
        told = change(
            replace(before, left=replace(before.left, pooled=scattered(even, draw))),
            replace(after, found=replace(after.found, pooled=scattered(found, draw))),
        ).assessment
        assert told is not None
        right += max(told.odds, key=lambda suspect: told.odds[suspect]) == slipped
    assert right >= 0.85 * trials


def test_what_is_added_to_a_visit_is_seen_the_next_time(shop: Database) -> None:
    past = Past(shop, V8)
    past.visit(EVEN, EVEN)
    visit_id = past.visit(EVEN, signed=False)
    assert changed(past)[0].assessment.verdict == "quiet"  # type: ignore[union-attr]
    with shop.writing() as session:
        for bore in (3, 4):
            round_id, old = raw_connection(session).execute(
                "SELECT round_id, reading.id FROM reading JOIN round ON round.id = round_id "
                "WHERE visit_id = ? AND bore = ? AND kind = 'turn'", (visit_id, bore),
            ).fetchone()  # fmt: skip
            row = ReadingRow(
                key=key(), payload="", round_id=round_id, bore=bore, kind="turn", value=7.75, unit="kg/h", by="KM",
                at="2027-05-26T10:20:00.000+00:00", supersedes_id=old,
            )  # fmt: skip
            session.add(row)
    assert changed(past)[0].assessment.verdict == "slipped"  # type: ignore[union-attr]


def test_creep_is_seen_over_visits_that_each_look_quiet(shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN, rounds=3)
    for _ in range(8):
        past.visit([6.5, 6.5, 6.75, 6.75, 6.5, 6.5, 6.5, 6.5], EVEN, rounds=3)
    found = changed(past)
    assert all(one.assessment is not None and one.assessment.verdict != "slipped" for one in found)
    crept = creep(tuple(found))
    assert crept is not None
    assert crept.adjuster == Coupler(2, 3)
    assert crept.opening
