"""Comparisons of sensors are kept as they are, and what is known by them goes with the look and its readings."""

from dataclasses import replace

import numpy as np
import pytest
from sqlmodel import select

from app.shop.assessment.round_results import newest_evenness
from app.shop.commands import meters, readings, visits
from app.shop.commands.live import channel_checks
from app.shop.commands.live.channel_checks import HOLDS, Array
from app.shop.commands.live.looks import Seen
from app.shop.commands.meters import NewMeter
from app.shop.commands.readings import NewLook
from app.shop.commands.visits import NewVisit
from app.shop.errors import ConflictError
from app.shop.exchange.exports import engine_file
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.rejections import Rejection
from app.shop.store import row_hashes
from app.shop.store.database import Database, raw_connection
from app.shop.store.live import traces
from app.shop.store.live.tables import ChannelCheckRow, LookRow
from app.sync.estimation.conformity import Conformity
from app.sync.signals.comparison import Incomparable
from tests.shop.rejections import rejects
from tests.shop.yard import AT, FOUR, after, check_all, engine, key, read_round, visit_record

CHANNELS = "c" * 64
SEEN = Seen(2.0, 200.0, 15.0, CHANNELS, traces.pack({"b1": [(0.0, 33.0), (0.1, 33.2)]}), fixed=True)


def array(*means: float, channels: str = CHANNELS, **other: object) -> Array:
    """Vacuum sensors that show so many kPa each."""
    rng, times = np.random.default_rng(3), np.arange(800) / 200
    shown = {f"b{n + 1}": (times, 1e3 * mean + 10 * rng.standard_normal(800)) for n, mean in enumerate(means)}
    made = Array(channels, {name: n + 1 for n, name in enumerate(shown)}, shown, absolute=False)
    return replace(made, **other)  # type: ignore[arg-type]


LIKE = array(30.00, 30.05, 29.95, 30.02)


def at_the_recheck(shop: Database) -> int:
    """A visit read by vacuum in kPa, as far as the fine round."""
    meter = meters.register(shop, key(), NewMeter("Columns", "kPa", 0.1, 0.0, 90.0))
    visit_id = visits.open_visit(shop, engine(shop, FOUR), key(), NewVisit("test cell", "1", "Sync", "KM", meter), AT)
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_round(shop, visit_id, FIRST_FIRE, 33.0)
    check_all(shop, visit_id, HEAT_SOAKED)
    return visit_id


def look_at_all(shop: Database, visit_id: int) -> None:
    values = {bore: (33.0 + 0.01 * bore, 0.004) for bore in FOUR.bores}
    readings.add_look(shop, visit_id, key(), NewLook(HEAT_SOAKED.slug, 2, values, "KM", "e:1"), AT, seen=SEEN)


def test_a_comparison_is_stored_once_with_every_sensors_figures_under_a_seal(shop: Database) -> None:
    sent = key()
    first = channel_checks.compare(shop, sent, LIKE, "tee", "KM", AT)
    assert channel_checks.compare(shop, sent, LIKE, "tee", "KM", AT) == first
    with rejects(Rejection.KEY_REUSED, kind=ConflictError):
        channel_checks.compare(shop, sent, LIKE, "ambient", "KM", AT)
    with shop.reading() as session:
        (row,) = session.exec(select(ChannelCheckRow)).all()
        seals = row_hashes.check(raw_connection(session))
    assert row.spread == pytest.approx(1e3 * float(np.std([0, 0.05, -0.05, 0.02], ddof=1)), rel=0.05)
    assert (row.kind, row.by, row.channels) == ("tee", "KM", CHANNELS)
    assert seals.broken == ()


@pytest.mark.parametrize(
    ("given", "code"),
    [
        (None, Incomparable.TOO_FEW),
        (array(30.0), Incomparable.TOO_FEW),
        (replace(LIKE, silent=("b2",)), Incomparable.NOT_LIVE),
        (replace(LIKE, speed=14.0), Incomparable.ENGINE_RUNS),
        (array(3.0, 3.0), Incomparable.TOO_SHALLOW),
    ],
)
def test_what_cannot_be_compared_stores_nothing(shop: Database, given: Array | None, code: Incomparable) -> None:
    with rejects(code):
        channel_checks.compare(shop, key(), given, "tee", "KM", AT)
    with rejects(Rejection.INITIALS_MISSING):
        channel_checks.compare(shop, key(), LIKE, "tee", " ", AT)
    with shop.reading() as session:
        assert session.exec(select(ChannelCheckRow)).all() == []


def known(shop: Database, at: str = AT, channels: str = CHANNELS) -> float | None:
    with shop.reading() as session:
        found = channel_checks.in_force(session, channels, at)
    return None if found is None else found.spread


def test_only_a_tee_counts_for_a_day_for_the_same_channels_and_the_open_air_can_only_spoil_it(shop: Database) -> None:
    channel_checks.compare(shop, key(), array(0.0, 0.01, 0.02, 0.0), "ambient", "KM", AT)
    assert known(shop) is None
    channel_checks.compare(shop, key(), LIKE, "tee", "KM", AT)
    spread = known(shop)
    assert spread is not None
    assert known(shop, after(HOLDS / 60 + 1)) is None
    assert known(shop, channels="d" * 64) is None
    channel_checks.compare(shop, key(), array(0.0, 0.01, 0.02, 0.0), "ambient", "KM", after(1))
    assert known(shop, after(2)) == spread
    channel_checks.compare(shop, key(), array(0.0, 0.9, 0.02, 0.0), "ambient", "KM", after(3))
    assert known(shop, after(4)) == pytest.approx(1e3 * float(np.std([0, 0.9, 0.02, 0], ddof=1)), rel=0.02)


def test_a_look_names_the_comparison_and_its_readings_say_what_sensors_differ_by(shop: Database) -> None:
    visit_id = at_the_recheck(shop)
    check = channel_checks.compare(shop, key(), LIKE, "tee", "KM", AT)
    look_at_all(shop, visit_id)
    with shop.reading() as session:
        (look,) = session.exec(select(LookRow)).all()
        file = engine_file(session, 1, AT)
    assert look.check_id == check
    spread = known(shop)
    assert spread is not None
    last = visit_record(shop, visit_id).rounds[-1].readings
    assert [row.alike for row in last] == [pytest.approx(spread / 1e3 / (row.value or 0.0)) for row in last]
    assert [one.alike for one in file.visits[0].readings if one.fixed] == [row.alike for row in last]


def test_without_a_comparison_a_look_says_nothing_of_it(shop: Database) -> None:
    visit_id = at_the_recheck(shop)
    look_at_all(shop, visit_id)
    with shop.reading() as session:
        assert [look.check_id for look in session.exec(select(LookRow)).all()] == [None]
    assert {row.alike for row in visit_record(shop, visit_id).rounds[-1].readings} == {None}


@pytest.mark.parametrize("compared", [False, True])
def test_an_array_that_nobody_compared_proves_no_round_and_a_compared_one_does(shop: Database, compared: bool) -> None:
    visit_id = at_the_recheck(shop)
    if compared:
        channel_checks.compare(shop, key(), LIKE, "tee", "KM", AT)
    look_at_all(shop, visit_id)
    for number in (3, 4):
        readings.begin_round(shop, visit_id, key(), HEAT_SOAKED.slug, AT)
        values = {bore: (33.0 + 0.01 * bore, 0.004) for bore in FOUR.bores}
        look = NewLook(HEAT_SOAKED.slug, number, values, "KM", f"e:{number}")
        readings.add_look(shop, visit_id, key(), look, AT, seen=SEEN)
    record = visit_record(shop, visit_id)
    found = newest_evenness(record, HEAT_SOAKED)
    assert found is not None
    assert (found.decision.unproved == ()) is compared
    assert (found.verdict in (Conformity.EVEN, Conformity.LIMIT)) is compared
    assert (found.window < record.settings.fine_window) is compared


def test_a_hose_is_its_bores_only_where_its_own_channel_moved_alone(shop: Database) -> None:
    times = np.arange(0.0, 10.0, 0.005)
    off = np.where((times > 5) & (times < 8), 0.0, 33e3)
    still = np.full(len(times), 33e3)
    seen = Array(CHANNELS, {"b1": 1, "b2": 2}, {"b1": (times, still), "b2": (times, off)}, absolute=False)
    with rejects(Incomparable.OTHER_MOVED):
        channel_checks.wiggle(shop, key(), seen, 1, 4.0, "KM", AT)
    channel_checks.wiggle(shop, key(), seen, 2, 4.0, "KM", AT)
    with shop.reading() as session:
        assert channel_checks.wiggled(session, CHANNELS) == {2}
        assert channel_checks.wiggled(session, "d" * 64) == frozenset()
