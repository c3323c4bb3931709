"""The time of a job: worked out by hand from the times of its entries, corrected, and beside like ones."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from app.shop.commands import checks, hours, visits
from app.shop.commands.hours import NewTime
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.queries.hours import LikeJobs, by_visit, compared, of_job, worked
from app.shop.record.visit_record import PHASE_ORDER
from app.shop.rejections import Rejection
from app.shop.store.database import Database, raw_connection
from app.sync.engine.units import MINUTE
from app.wording.office.hours import job_time, like_jobs
from tests.shop.rejections import rejects
from tests.shop.yard import AT, FOUR, V8, after, check_all, engine, key, ready_to_sign, visit

GAP = 30 * MINUTE
NEW = NewTime("cold-preset", 75, "Plates were set at the bench, before the visit was opened", "KM")


def a_job(shop: Database, serial: str = "31-0217") -> int:
    """Opened at 0; ticks after 10 and 25 min, then dinner, then two after 100 and 104 min in the next phase."""
    visit_id = visit(shop, engine(shop, FOUR, serial))
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"wide-open": None}, "KM", after(10))
    check_all(shop, visit_id, COLD_PRESET, after(25))
    for minutes, item in ((100, "kill-switch"), (104, "throttle-returns")):
        checks.record(shop, visit_id, key(), FIRST_FIRE.slug, {item: None}, "KM", after(minutes))
    return visit_id


def spent(shop: Database, visit_id: int, gap: float = GAP) -> dict[str, float]:
    """The minutes of each phase."""
    with shop.reading() as session:
        return {one.phase: one.spent / MINUTE for one in by_visit(session, {visit_id: gap})[visit_id]}


def test_an_idle_gap_is_cut(shop: Database) -> None:
    visit_id = a_job(shop)
    assert spent(shop, visit_id) == {"cold-preset": 25, "first-fire": 4}
    assert spent(shop, visit_id, gap=75 * MINUTE) == {"cold-preset": 25, "first-fire": 79}
    assert spent(shop, visit_id, gap=5 * MINUTE) == {"cold-preset": 0, "first-fire": 4}


def test_readings_and_moves_count_up_to_the_sign_off(shop: Database) -> None:
    """Everything in that visit is recorded at one time; the sign-off comes twelve minutes later."""
    visit_id = ready_to_sign(shop)
    before = spent(shop, visit_id)
    visits.sign_off(shop, visit_id, key(), "K. Meier", after(12))
    assert spent(shop, visit_id)["lock-down"] == before["lock-down"] + 12


def test_a_correction_counts_and_what_was_recorded_stays(shop: Database) -> None:
    visit_id = a_job(shop)
    assert hours.correct(shop, visit_id, sent := key(), NEW, AT) == 1
    assert hours.correct(shop, visit_id, sent, NEW, AT) == 1  # sent again by a tablet
    hours.correct(shop, visit_id, key(), replace(NEW, phase="lock-down", minutes=20), AT)
    hours.correct(shop, visit_id, key(), replace(NEW, minutes=60, by="JB"), AT)
    assert spent(shop, visit_id) == {"cold-preset": 60, "first-fire": 4, "lock-down": 20}
    with shop.reading() as session:
        job = of_job(session, visit_id, GAP)
    cold = job.phases[0]
    assert cold.correction is not None
    assert (cold.recorded / MINUTE, cold.correction.by, cold.correction.why) == (25, "JB", NEW.why)
    assert job.total / MINUTE == 84
    assert [one.recorded for one in job.phases if one.phase == "lock-down"] == [0.0]
    assert job_time(job).replace("\u00a0", " ") == (
        "Cold preset 1 h 00 min (corrected by JB), First fire 4 min and Lock-down 20 min (corrected by KM). "
        "In all 1 h 24 min."
    )


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"why": " "}, Rejection.REASON_MISSING),
        ({"by": ""}, Rejection.INITIALS_MISSING),
        ({"minutes": -1}, Rejection.OUT_OF_RANGE),
        ({"minutes": float("nan")}, Rejection.OUT_OF_RANGE),
        ({"phase": "paint"}, Rejection.NOT_ONE_OF),
        ({"why": "x" * 2001}, Rejection.TOO_LONG),
    ],
)
def test_a_correction_that_cannot_be_is_refused(shop: Database, change: dict[str, object], code: Rejection) -> None:
    visit_id = a_job(shop)
    with rejects(code):
        hours.correct(shop, visit_id, key(), replace(NEW, **change), AT)  # type: ignore[arg-type]


def test_a_visit_that_is_not_there_is_refused(shop: Database) -> None:
    with rejects(Rejection.NO_SUCH_VISIT):
        hours.correct(shop, 99, key(), NEW, AT)


@pytest.mark.parametrize("statement", ["UPDATE hours_correction SET seconds = 1", "DELETE FROM hours_correction"])
def test_a_correction_is_only_ever_added(shop: Database, statement: str) -> None:
    hours.correct(shop, a_job(shop), key(), NEW, AT)
    with pytest.raises(IntegrityError), shop.writing() as session:
        session.connection().exec_driver_sql(statement)


def signed(shop: Database, serial: str, minutes: float) -> int:
    """A job that was signed off and took so many minutes."""
    visit_id = a_job(shop, serial)
    hours.correct(shop, visit_id, key(), replace(NEW, minutes=minutes - 4), AT)
    with shop.writing() as session:
        _sign(session, visit_id)
    return visit_id


def _sign(session: Session, visit_id: int) -> None:
    raw_connection(session).execute(
        "INSERT INTO sign_off (key, payload, seal, visit_id, name, at) VALUES (?, '', '', ?, 'KM', ?)",
        (key(), visit_id, after(105)),
    )


def test_like_jobs_are_those_signed_off_on_the_same_layout(shop: Database) -> None:
    """Of 30, 40, 50, 60 and 100 minutes the median is 50. From the last tick to the sign-off is one more."""
    for number, minutes in enumerate((100, 30, 60, 40)):
        signed(shop, f"4-{number}", minutes)
    mine = a_job(shop, "mine")
    visit(shop, engine(shop, V8, "eight"))
    with shop.reading() as session:
        few = of_job(session, mine, GAP).like
    assert few == LikeJobs(4)
    assert like_jobs(few) == "4 other jobs here on engines of this layout: too few to say what one takes."
    signed(shop, "4-9", 50)
    with shop.reading() as session:
        like = of_job(session, mine, GAP).like
    assert [like.count, *(one / MINUTE for one in (like.least, like.median, like.most) if one)] == [5, 31, 51, 101]
    said = like_jobs(like).replace("\u00a0", " ")
    assert said == "5 jobs here on engines of this layout took 31 min to 1 h 41 min, half of them up to 51 min."


def test_four_are_too_few_and_five_are_enough() -> None:
    assert compared([1.0, 2.0, 3.0, 4.0]) == LikeJobs(4)
    assert compared([5.0, 1.0, 3.0, 2.0, 9.0]) == LikeJobs(5, 3.0, 1.0, 9.0)


stamps = st.lists(st.tuples(st.integers(0, 100_000).map(float), st.sampled_from(("", *PHASE_ORDER))), max_size=40)


@given(stamps, st.integers(1, 10_000).map(float))
def test_time_is_never_more_than_from_the_first_entry_to_the_last(of: list[tuple[float, str]], gap: float) -> None:
    times = [at for at, _ in of]
    whole = max(times) - min(times) if times else 0
    assert 0 <= sum(worked(of, gap).values()) <= whole
    if any(phase for _, phase in of):
        assert sum(worked(of, 100_000.0).values()) == whole
