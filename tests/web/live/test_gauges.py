"""Gauges fill in what a visit asks for and stop the engine beyond a limit; where they are stale a person is asked."""

import json
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from starlette.testclient import TestClient

from app.live.channels import Channel
from app.shop.commands import checks, readings, running
from app.shop.commands.access.tablets import hashed
from app.shop.commands.live import feeds, filling
from app.shop.commands.readings import NewReading
from app.shop.errors import RejectedError
from app.shop.procedure.limits import open_stops
from app.shop.procedure.live.filling import PRESSURE_AFTER, Gauges, due_of
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.requirements import Waiting
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.engine_air import needed
from app.sync.engine.units import KG_PER_HOUR, REV_PER_MIN
from app.web.application import create_app
from app.web.live.gauges import EVERY, WAITS, GaugeWatch
from app.web.live.hub import Hub
from app.web.live.senders import STANDS
from tests.clock import Day
from tests.shop.rejections import rejects
from tests.shop.yard import AT, FOUR, check_all, engine, heat_soaked, key, read_round, start_again, visit, visit_record

TOKEN = "token"
CHANNELS = {
    "tacho": Channel("speed", "rpm", high=9000, frozen=600),
    "water": Channel("temperature", "°C", low=-40, high=200, frozen=600, shows="coolant"),
    "oil": Channel("temperature", "°C", low=-40, high=200, frozen=600, shows="oil"),
    "pressure": Channel("pressure", "kPa", high=1500, frozen=600, shows="oil-pressure"),
    "barometer": Channel("pressure", "mbar", low=500, high=1100, frozen=600, shows="air-pressure"),
    "throttle": Channel("voltage", "V", high=6, frozen=600, shows="throttle-sensor"),
    "intake": Channel("temperature", "°F", low=-40, high=200, frozen=600, shows="air-temperature"),
}
HOT = {"tacho": 850.0, "water": 88.0, "oil": 92.0, "pressure": 250.0}


class Stand:
    """A visit whose gauges a watch looks at, on a clock in the hand of the test."""

    def __init__(self, shop: Database, visit_id: int) -> None:
        self.shop, self.visit_id = shop, visit_id
        self.channels: dict[str, Channel] = CHANNELS
        self.begun, self.ticks = datetime.fromisoformat(AT), 100.0
        shop.clock = lambda: self.now().timestamp()
        self.hub = Hub(lambda: self.ticks)
        self.watch = GaugeWatch(shop, self.hub, self.now, lambda: self.ticks)
        feeds.add(shop, key(), "Bench", TOKEN, AT)
        self.at_this_engine(visit_id)

    def now(self) -> datetime:
        return self.begun + timedelta(seconds=self.ticks - 100.0)

    def at_this_engine(self, visit_id: int, *, active: bool = True) -> None:
        filling.say(self.shop, visit_id, key(), "KM", AT, active=active)
        self.watch.know()

    def show(self, seconds: float = EVERY, **figures: float) -> None:
        """Send these figures at 20 a second for so long, the watch looking in between."""
        for _ in range(round(seconds / EVERY)):
            times = [self.ticks + (n + 1) * EVERY / 4 for n in range(4)]
            self.ticks += EVERY
            rows = {name: [(at, value) for at in times] for name, value in figures.items()}
            self.hub.receive(hashed(TOKEN), "one", self.ticks, rows, self.channels)
            self.watch.look()

    def rows(self, item: str, phase: str = HEAT_SOAKED.slug) -> list[tuple[object, str]]:
        record = visit_record(self.shop, self.visit_id)
        return [(one.number, one.by) for one in record.all_checks if (one.phase, one.item) == (phase, item)]

    def stops(self) -> int:
        return len(open_stops(visit_record(self.shop, self.visit_id)))

    def told(self) -> int | None:
        """The visit that the pages are told is stopped."""
        return self.hub.stopped


@pytest.fixture
def stand(shop: Database) -> Stand:
    return Stand(shop, heat_soaked(shop))


def test_a_gauge_is_recorded_once_a_minute_under_the_name_of_its_feed(stand: Stand) -> None:
    before = len(stand.rows("coolant"))
    stand.show(130.0, **HOT)
    assert stand.rows("coolant")[before:] == [(88.0, "Bench"), (88.0, "Bench")]
    assert stand.rows("oil")[-1] == (92.0, "Bench")


@pytest.mark.parametrize(
    ("beyond", "item"),
    [({"water": 118.0}, "coolant"), ({"oil": 140.0}, "oil"), ({"pressure": 40.0}, "oil-pressure-hot")],
)
def test_a_crossed_limit_stops_the_engine_within_a_second_until_a_person_clears_it(
    stand: Stand, beyond: dict[str, float], item: str
) -> None:
    stand.show(2 * PRESSURE_AFTER, **HOT)
    assert stand.told() is None
    stand.show(1.0 - EVERY, **(HOT | beyond))  # and the pages hear of it with the next event
    assert (stand.stops(), stand.told()) == (1, stand.visit_id)
    assert stand.rows(item)[-1][1] == "Bench"
    kept = len(stand.rows(item))
    stand.show(90.0, **HOT)  # back within the limit
    assert (stand.stops(), stand.told(), len(stand.rows(item))) == (1, stand.visit_id, kept)
    at = stand.now().isoformat(timespec="milliseconds")
    running.end_stop(stand.shop, stand.visit_id, key(), "leak", "", "Hose clamped", "KM", at)
    stand.show(**HOT)
    assert stand.told() is None
    start_again(stand.shop, stand.visit_id, stand.now().isoformat(timespec="milliseconds"))
    stand.show(2 * PRESSURE_AFTER + WAITS, **HOT)
    back = {"coolant": 88.0, "oil": 92.0, "oil-pressure-hot": 250.0}[item]
    assert stand.rows(item)[kept:] == [(back, "Bench")]


def test_one_wrong_value_crosses_no_limit(stand: Stand) -> None:
    stand.show(10.0, **HOT)
    stand.hub.receive(hashed(TOKEN), "one", stand.ticks + 0.02, {"water": [(stand.ticks + 0.01, 190.0)]}, CHANNELS)
    stand.show(2.0, **HOT)
    assert stand.stops() == 0


def test_an_engine_that_stands_may_soak_hot_and_has_no_oil_pressure(stand: Stand) -> None:
    stand.show(10.0, **HOT)
    stand.show(70.0, tacho=0.0, water=118.0, oil=140.0, pressure=0.0)
    assert stand.stops() == 0
    stand.show(3.0, **(HOT | {"tacho": 0.0, "pressure": 0.0}))
    stand.show(PRESSURE_AFTER - 1.0, tacho=850.0, pressure=0.0)  # it was started: the passages fill
    assert stand.stops() == 0


def test_a_stale_gauge_fills_in_nothing_and_the_person_is_asked_as_before(stand: Stand) -> None:
    stand.show(5.0, **HOT)
    kept = len(stand.rows("coolant"))
    for _ in range(20):
        stand.ticks += 120.0
        stand.watch.look()
    assert len(stand.rows("coolant")) == kept
    new, at = NewReading(HEAT_SOAKED.slug, 2, 1, "turn", 6.5, "KM"), stand.now().isoformat(timespec="milliseconds")
    with pytest.raises(RejectedError) as refusal:  # the engine counts as stopped: a person has to say what it did
        readings.add(stand.shop, stand.visit_id, key(), new, at)
    assert refusal.value.has(Waiting.ENGINE_STANDS)


def test_the_air_of_the_day_is_filled_in_once_in_the_units_of_the_record(stand: Stand) -> None:
    stand.show(3.0, barometer=1003.0, intake=68.0)
    stand.show(3.0, barometer=990.0, intake=80.0)
    assert stand.rows("air-pressure") == [(pytest.approx(100.3), "Bench")]
    assert stand.rows("air-temperature") == [(pytest.approx(20.0), "Bench")]


def test_nothing_is_filled_in_before_a_person_says_where_the_instruments_are(shop: Database) -> None:
    stand = Stand(shop, heat_soaked(shop))
    other = visit(shop, engine(shop, serial="31-9999"))
    stand.at_this_engine(other, active=False)
    stand.show(70.0, **(HOT | {"water": 118.0}))
    assert (stand.stops(), stand.told()) == (0, None)
    assert stand.rows("coolant")[-1][1] == "KM"


def test_an_overheated_engine_is_stopped_before_its_heat_is_asked_for(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    stand = Stand(shop, visit_id)
    stand.show(3.0, tacho=1500.0, water=60.0)
    assert stand.rows("coolant") == []  # nothing is asked for yet
    stand.show(1.0, tacho=1500.0, water=118.0)
    assert (stand.stops(), stand.rows("coolant")) == (1, [(118.0, "Bench")])


def test_oil_pressure_at_the_start_is_filled_in_once_the_passages_are(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    check_all(shop, visit_id, COLD_PRESET)
    stand = Stand(shop, visit_id)
    stand.show(PRESSURE_AFTER - 1.0, tacho=900.0, pressure=20.0)
    assert stand.rows("oil-pressure", FIRST_FIRE.slug) == []
    record = visit_record(shop, visit_id)
    (due,) = due_of(record, Gauges({"oil-pressure": 320.0}, 900 * REV_PER_MIN, PRESSURE_AFTER))
    assert (due.phase, due.item, due.beyond) == (FIRST_FIRE.slug, "oil-pressure", False)


def test_the_throttle_sensor_at_rest_is_filled_in_at_idle_once_lock_down_is_under_way(shop: Database) -> None:
    visit_id = heat_soaked(shop, replace(FOUR, sensor=1))
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    checks.take_back(shop, visit_id, key(), LOCK_DOWN.slug, "sensor-closed", "KM", AT)
    stand = Stand(shop, visit_id)
    idle = visit_record(shop, visit_id).engine.idle_speed / REV_PER_MIN

    def rows() -> list[object]:
        return [number for number, by in stand.rows("sensor-closed", LOCK_DOWN.slug) if by == "Bench"]

    stand.show(8.0, tacho=3 * idle, throttle=1.9)
    stand.show(4.0, tacho=0.0, throttle=4.6)
    assert rows() == []
    stand.show(PRESSURE_AFTER + 12.0, tacho=idle, throttle=0.52)
    assert rows() == [0.52]


def test_the_throttle_sensor_is_left_alone_before_lock_down(stand: Stand) -> None:
    idle = visit_record(stand.shop, stand.visit_id).engine.idle_speed / REV_PER_MIN
    stand.show(PRESSURE_AFTER + 12.0, tacho=idle, throttle=0.52)
    assert stand.rows("sensor-closed", LOCK_DOWN.slug) == []


def test_sensors_are_compared_by_themselves_once_each_time_that_the_engine_stands(stand: Stand) -> None:
    vacuum = {f"b{bore}": Channel("vacuum", "kPa", bore, -5, 90, rate=50, frozen=600) for bore in (1, 2)}
    stand.channels = CHANNELS | vacuum
    asked = 'SELECT kind, "by" FROM channel_check'

    def kept() -> list[tuple[object, ...]]:
        with stand.shop.reading() as session:
            return [tuple(row) for row in session.connection().exec_driver_sql(asked).all()]

    stand.show(3.0, tacho=850.0, b1=33.0, b2=33.1)
    stand.show(STANDS + 5.0, tacho=0.0, b1=0.01, b2=-0.02)
    assert kept() == [("ambient", "Bench")]
    stand.show(5.0, tacho=0.0, b1=0.01, b2=-0.02)
    assert len(kept()) == 1
    stand.show(3.0, tacho=850.0, b1=33.0, b2=33.1)
    stand.show(STANDS + 5.0, tacho=0.0, b1=20.0, b2=20.0)  # hoses on a tee
    assert len(kept()) == 1


def test_a_signed_off_visit_and_one_without_initials_are_refused(stand: Stand) -> None:
    with rejects(Rejection.INITIALS_MISSING):
        filling.say(stand.shop, stand.visit_id, key(), " ", AT, active=True)
    sent = key()
    first = filling.say(stand.shop, stand.visit_id, sent, "KM", AT, active=True)
    assert filling.say(stand.shop, stand.visit_id, sent, "KM", AT, active=True) == first


def test_a_typed_reading_keeps_the_speed_that_a_channel_shows(shop: Database) -> None:
    visit_id, day = heat_soaked(shop), Day()
    app = create_app(shop, clock=day)
    token = "x" * 20
    feeds.add(shop, key(), "Bench", token, AT)
    filling.say(shop, visit_id, key(), "KM", AT, active=True)
    app.state.feeders = feeds.feeders(shop)
    app.state.gauges.know()
    origin = "http://127.0.0.1"
    with TestClient(app, base_url=origin, headers={"Origin": origin}, follow_redirects=False) as client:
        rows = [[n * 0.05, 853.0 + n % 2] for n in range(1, 80)]
        channels = {"tacho": {"quantity": "speed", "unit": "rpm", "high": 9000, "stale": 60.0}}
        pushed = {"epoch": "one", "sent": 4.0, "rows": {"tacho": rows}, "channels": channels}
        head = {"Authorization": f"Bearer {token}"}
        assert client.post("/api/live/feed", json=pushed, headers=head).status_code == 202
        form = {"key": key(), "round": "2", "bore": "1", "kind": "turn", "value": "6.5", "by": "KM"}
        answer = client.post(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings", data=form)
    assert answer.status_code == 303
    (reading,) = visit_record(shop, visit_id).rounds[-1].readings
    assert reading.speed == pytest.approx(853.5 * REV_PER_MIN, rel=0.001)


def vacuum(bore: int | None, unit: str = "kPa") -> Channel:
    return Channel("vacuum", unit, bore, low=-50.0, high=500.0, lag=0.0)


def test_open_sensors_off_the_air_are_told_once_the_engine_stood_and_until_it_stands_again(stand: Stand) -> None:
    """The tachometer of a standing engine shows the very same number for long."""
    tacho = replace(CHANNELS["tacho"], frozen=5.0)
    absolute = Channel("pressure", "kPa", 3, low=0.0, high=200.0)
    stand.channels = CHANNELS | {"tacho": tacho, "b1": vacuum(1), "b2": vacuum(None), "b3": absolute}
    shown = {"tacho": 0.0, "barometer": 1000.0, "b1": 1.9, "b2": 2.1, "b3": 97.9}

    def doubted(seconds: float, **figures: float) -> list[str]:
        stand.show(seconds, **figures)
        return list(stand.hub.doubted)

    assert doubted(STANDS - 2 * EVERY, **shown) == []
    (said,) = doubted(1.0, **shown)
    assert said.startswith("b2, b3: more than 2\u00a0kPa off")
    assert doubted(5.0, **(HOT | {"b1": 30.0, "b2": 30.0, "b3": 70.0})) == [said]
    assert doubted(2 * STANDS, **(shown | {"b2": 0.1, "b3": 99.9})) == []


def test_all_bores_flow_is_held_against_the_size_of_the_engine_and_never_refused(stand: Stand) -> None:
    record = visit_record(stand.shop, stand.visit_id)
    bores, wanted = record.layout.bores, record.engine.idle_speed
    stand.channels = CHANNELS | {f"b{bore}": Channel("flow", "kg/h", bore, high=500.0) for bore in bores}
    usual = needed(record.engine.displacement, wanted) / KG_PER_HOUR / len(bores)
    idle = HOT | {"tacho": wanted / REV_PER_MIN}

    def told(times: float, **other: float) -> bool:
        stand.show(4.0, **(idle | {f"b{bore}": times * usual for bore in bores} | other))
        return any("All bores together" in one for one in stand.hub.doubted)

    assert not told(1.0)
    assert told(3.6)  # grams a second taken for kilograms an hour
    assert not told(3.6, tacho=2 * wanted / REV_PER_MIN)  # no idle: nothing is known
    assert told(1 / 3.6)


def test_doubts_work_out_no_event_and_are_looked_at_once_a_second(
    stand: Stand, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = visit_record(stand.shop, stand.visit_id)
    stand.channels = CHANNELS | {f"b{bore}": Channel("flow", "kg/h", bore, high=500.0) for bore in record.layout.bores}
    begun, looks = json.loads(stand.hub.event())["number"], list[float]()
    open_sensors = stand.hub.open_sensors

    def looked() -> dict[str, tuple[bool, float]] | None:
        looks.append(stand.ticks)
        return open_sensors()

    monkeypatch.setattr(stand.hub, "open_sensors", looked)
    stand.show(5.0, **(HOT | {f"b{bore}": 100.0 for bore in record.layout.bores}))
    assert any("All bores together" in one for one in stand.hub.doubted)
    assert 4 <= len(looks) <= 6
    assert json.loads(stand.hub.event())["number"] == begun + 1


def test_what_is_doubted_stands_on_the_page_of_the_instruments_and_before_the_first_reading(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    app = create_app(shop, clock=Day())
    with TestClient(app, base_url="http://127.0.0.1") as client:
        feeds.add(shop, key(), "Bench", TOKEN, AT)
        app.state.feeders = feeds.feeders(shop)
        app.state.live.doubted = ("b2 is off.",)
        pages = ["/live", f"/visits/{visit_id}/{HEAT_SOAKED.slug}", f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"]
        assert ["b2 is off." in client.get(page).text for page in pages] == [True, True, True]
