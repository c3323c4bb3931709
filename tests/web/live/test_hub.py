"""What instruments send is shown for as long as it is fresh, by a clock that cannot be set, and never guessed."""

import json
import math
from dataclasses import dataclass
from typing import Any

import pytest

from app.live.channels import Channel
from app.shop.store.live import traces
from app.web.live.channels import KEPT
from app.web.live.hub import EVERY, Hub, LookDiffersError, written
from tests.web.live.pushes import Bench, probe

FLOW = Channel("flow", "kg/h", high=60.0)


class Clock:
    """A clock in the hand of the test [s]."""

    now = 50.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def hub(clock: Clock) -> Hub:
    return Hub(clock)


def send(hub: Hub, clock: Clock, bench: "Bench | Array", seconds: float, late: float = 0.0) -> None:
    """Push for so long, ten times a second, each ``late`` after it was sent."""
    for _ in range(round(seconds * 10)):
        sent = bench.push()
        clock.now += 0.1
        channels = {name: Channel(**one) for name, one in bench.channels.items()}
        rows = {name: [(at, value) for at, value in samples] for name, samples in sent["rows"].items()}
        clock.now += late
        hub.receive("feed", sent["epoch"], sent["sent"], rows, channels)
        clock.now -= late


def told(hub: Hub, name: str = "probe") -> dict[str, Any]:
    return dict(json.loads(hub.event())["channels"][name])


def test_pulses_are_taken_out_of_the_value(hub: Hub, clock: Clock) -> None:
    send(hub, clock, probe(6.5), 4.0)
    now = told(hub)
    assert float(now["value"]) == pytest.approx(6.5, rel=0.005)
    assert (now["state"], now["missing"], now["unit"]) == ("live", "", "kg/h")


def test_a_value_that_moves_is_not_settled(hub: Hub, clock: Clock) -> None:
    bench = probe(5.0)
    send(hub, clock, bench, 4.0)
    bench.levels["probe"] = 6.5
    send(hub, clock, bench, 1.0)
    assert told(hub)["missing"]
    send(hub, clock, bench, 3.0)
    assert told(hub)["missing"] == ""


def test_what_stops_coming_is_stale_at_once_and_carries_no_value(hub: Hub, clock: Clock) -> None:
    send(hub, clock, probe(), 4.0)
    clock.now += 0.45
    assert "value" in told(hub)
    clock.now += 0.2  # stale after 0.5 s, looked at every 0.2 s
    assert told(hub)["state"] == "stale"
    assert "value" not in told(hub)


def test_the_very_same_number_for_long_is_frozen(hub: Hub, clock: Clock) -> None:
    bench = probe()
    bench.modulation = 0.0
    send(hub, clock, bench, 4.0)
    assert told(hub)["state"] == "live"
    send(hub, clock, bench, 2.0)
    assert told(hub)["state"] == "frozen"
    assert "value" not in told(hub)


def test_what_is_out_of_range_is_counted_and_never_clipped(hub: Hub, clock: Clock) -> None:
    bench = probe(6.5)
    send(hub, clock, bench, 3.0)
    bench.levels["probe"] = 900.0
    send(hub, clock, bench, 1.0)
    assert told(hub)["state"] == "refused"
    assert hub.channels()["probe"]["refused"] == 200


def test_a_late_push_neither_overlaps_nor_is_dropped(hub: Hub, clock: Clock) -> None:
    """Dated by its age on arrival, a late batch would overlap the prompt one after it."""
    bench = probe()
    for late in (0.0, 0.35, 0.0, 0.05, 0.2):
        send(hub, clock, bench, 1.0, late)
    assert hub.channels()["probe"]["refused"] == 0
    assert hub.channels()["probe"]["found_rate"] == pytest.approx(200.0, rel=0.02)


def test_a_clock_that_jumps_back_begins_afresh(hub: Hub, clock: Clock) -> None:
    bench = probe()
    send(hub, clock, bench, 3.0)
    bench.clock -= 500.0
    send(hub, clock, bench, 0.5)
    assert told(hub)["missing"] == "too-soon"
    send(hub, clock, bench, 2.5)
    assert float(told(hub)["value"]) == pytest.approx(6.5, rel=0.005)


def test_samples_from_the_future_and_out_of_order_are_dropped(hub: Hub) -> None:
    rows = [(1.0, 6.0), (0.5, 6.1), (3.0, 6.2), (1.5, 6.3)]
    assert hub.receive("feed", "one", 2.0, {"probe": rows}, {"probe": FLOW}) == []
    assert hub.channels()["probe"]["refused"] == 2


def test_a_flood_is_turned_away(hub: Hub) -> None:
    rows = [(n * 1e-4, 6.5) for n in range(3000)]
    hub.receive("feed", "one", 1.0, {"probe": rows}, {"probe": FLOW})
    assert hub.channels()["probe"]["turned_away"] == 3000 - 2 * 200 * 0.1


def test_what_was_not_declared_is_asked_for(hub: Hub) -> None:
    assert hub.receive("feed", "one", 1.0, {"b3": [(0.5, 6.5)]}, {}) == ["b3"]
    assert hub.channels() == {}


def test_no_more_than_a_minute_is_kept(hub: Hub, clock: Clock) -> None:
    bench = probe()
    bench.rate = 20.0
    send(hub, clock, bench, KEPT + 10.0)
    (sender,) = hub._senders.values()
    samples = sender.rings["probe"].samples
    assert samples[-1][0] - samples[0][0] <= KEPT + 0.1


def test_a_tap_finds_the_trace_behind_the_value_that_it_saw(hub: Hub, clock: Clock) -> None:
    send(hub, clock, probe(), 4.0)
    event = json.loads(hub.event())
    look, value = f"{event['epoch']}:{event['number']}", float(event["channels"]["probe"]["value"])
    send(hub, clock, probe(9.0), 1.0)  # what is shown meanwhile is another
    seen = hub.seen(look, {"probe": value})
    assert seen is not None
    assert seen.window == 2.0
    assert seen.rate == pytest.approx(200.0, rel=0.01)
    values = [one for _, one in traces.unpack(seen.packed)["probe"]]
    assert sum(values) / len(values) == pytest.approx(6.5, rel=0.01)
    with pytest.raises(LookDiffersError):
        hub.seen(look, {"probe": value + 0.1})
    assert hub.seen(f"other:{event['number']}", {"probe": value}) is None
    assert hub.seen(f"{event['epoch']}:999", {"probe": value}) is None
    assert hub.seen("", {"probe": value}) is None


def test_the_speed_beside_it_is_kept_with_the_look(hub: Hub, clock: Clock) -> None:
    bench = probe()
    bench.levels["tacho"] = 900.0
    bench.channels = bench.channels | {"tacho": {"quantity": "speed", "unit": "rpm", "high": 8000.0}}
    send(hub, clock, bench, 4.0)
    event = json.loads(hub.event())
    seen = hub.seen(f"{event['epoch']}:{event['number']}", {"probe": float(event["channels"]["probe"]["value"])})
    assert seen is not None
    assert seen.speed == pytest.approx(15.0, rel=0.01)


@dataclass
class Array:
    """A bench with pulses of its own strength at each bore; the tachometer has none."""

    levels: dict[str, float]
    channels: dict[str, dict[str, Any]]
    modulations: dict[str, float]
    clock: float = 1000.0

    def push(self, seconds: float = 0.1) -> dict[str, Any]:
        times = [self.clock + (n + 1) / 200 for n in range(round(seconds * 200))]
        self.clock += seconds
        rows = {}
        for n, (name, level) in enumerate(self.levels.items()):
            left = self.modulations.get(name, 0.3 if name != "tacho" else 0.0)
            rows[name] = [[at, level * (1 + left * math.sin(2 * math.pi * (7.5 * at + n / 4)))] for at in times]
        return {"epoch": "one", "sent": self.clock, "rows": rows}


def array(modulations: dict[str, float], rpm: float = 900.0) -> Array:
    """Sensors at four bores whose pulses come in turn, and the speed that a channel tells."""
    flow = {"quantity": "flow", "unit": "kg/h", "high": 60.0, "lag": 0.0}
    declared = {f"b{bore}": {**flow, "bore": bore} for bore in range(1, 5)}
    tacho = {"tacho": {"quantity": "speed", "unit": "rpm", "high": 8000.0, "frozen": 600.0}}
    return Array({**dict.fromkeys(declared, 6.5), "tacho": rpm}, declared | tacho, modulations)


def test_a_hose_that_lets_no_pulse_through_does_not_settle(hub: Hub, clock: Clock) -> None:
    send(hub, clock, array({"b3": 0.02}), 6.0)
    found = {name: one["missing"] for name, one in json.loads(hub.event())["channels"].items()}
    assert found == {"b1": "", "b2": "", "b3": "blocked", "b4": "", "tacho": ""}


def test_a_stroke_that_does_not_draw_is_told_at_its_bore(hub: Hub, clock: Clock) -> None:
    bench = array({})
    send(hub, clock, bench, 5.0)
    bench.modulations["b2"] = 0.0
    send(hub, clock, bench, 0.2)  # one cycle and a half
    bench.modulations["b2"] = 0.3
    send(hub, clock, bench, 1.0)
    assert hub.pulses()[0].missed.keys() == {"b2"}
    assert hub.pulses()[0].missed["b2"] in (1, 2)
    assert told(hub, "b2")["missing"] == "missed"
    assert told(hub, "b1")["missing"] == ""
    clock.now += EVERY
    send(hub, clock, bench, 2.5)  # what a value is the mean of has all of its strokes again
    assert told(hub, "b2")["missing"] == ""


@pytest.mark.parametrize("order", [(1, 2, 3, 4), (1, 3, 2, 4)])
def test_swapped_channels_are_told_where_the_file_says_the_firing_order(
    hub: Hub, clock: Clock, order: tuple[int, ...]
) -> None:
    bench = array({})
    for name, place in zip(bench.levels, order[::-1], strict=False):  # the bench's last one draws first
        bench.channels[name] = {**bench.channels[name], "draws": place}
    send(hub, clock, bench, 6.0)
    assert hub.pulses()[0].out_of_turn == (set() if order == (1, 2, 3, 4) else {"b2", "b3"})


def test_the_root_of_a_pressure_drop_comes_before_the_mean(hub: Hub, clock: Clock) -> None:
    """A drop of (1 + m sin)^2 has the root 1 + m sin, whose mean is 1; the root of its mean is sqrt(1 + m^2 / 2)."""
    channel = Channel("flow", "kg/h", high=60.0, root=6.5)
    for push in range(40):
        at = [1000 + push / 10 + (n + 1) / 200 for n in range(20)]
        drops = [(one, (1 + 0.5 * math.sin(2 * math.pi * 7.5 * one)) ** 2) for one in at]
        clock.now += 0.1
        hub.receive("feed", "one", at[-1], {"probe": drops}, {"probe": channel})
    assert float(told(hub)["value"]) == pytest.approx(6.5, rel=0.003)
    assert hub.channels()["probe"]["value"] == float(told(hub)["value"])


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (6.0, "6.000"),
        (5.48, "5.480"),
        (0.05, "0.05000"),
        (9.9996, "10.00"),
        (1013.2, "1013"),
        (0.0, "0"),
        (-6.5, "-6.500"),
    ],
)
def test_a_value_is_shown_with_the_same_digits_whatever_they_are(value: float, shown: str) -> None:
    assert written(value) == shown
    assert float(shown) == pytest.approx(value, rel=5e-4)


def test_what_pulsates_is_listed_by_its_mean_not_by_the_middle_of_its_pulses(hub: Hub, clock: Clock) -> None:
    """A cylinder that draws for a third of its cycle shows less than its mean for most of the time."""
    channel = Channel("flow", "kg/h", high=60.0)
    for push in range(40):
        at = [1000 + push / 10 + (n + 1) / 200 for n in range(20)]
        turned = [one * 7.5 % 1 for one in at]
        rows = [(one, 6.5 * (math.pi / 2 * 3 * math.sin(3 * math.pi * part) if part < 1 / 3 else 0.0))
                for one, part in zip(at, turned, strict=True)]  # fmt: skip
        clock.now += 0.1
        hub.receive("feed", "one", at[-1], {"probe": rows}, {"probe": channel})
    assert hub.channels()["probe"]["value"] == pytest.approx(6.5, rel=0.015)


def test_a_speed_that_the_pulses_deny_is_told_and_not_kept(hub: Hub, clock: Clock) -> None:
    send(hub, clock, array({}), 6.0)
    event = json.loads(hub.event())
    assert event["speed"] == {"told": 900, "pulses": pytest.approx(900, abs=5), "agrees": True}
    assert hub.speed() == pytest.approx(15.0, rel=0.01)
    other = Hub(clock)
    send(other, clock, array({}, rpm=1800.0), 6.0)
    event = json.loads(other.event())
    assert (event["speed"]["told"], event["speed"]["agrees"]) == (1800, False)
    assert other.speed() is None
    seen = other.seen(f"{event['epoch']}:{event['number']}", {"b1": float(event["channels"]["b1"]["value"])})
    assert seen is not None
    assert seen.speed is None


def test_one_event_serves_all_who_ask_at_once(hub: Hub, clock: Clock) -> None:
    send(hub, clock, probe(), 3.0)
    first = hub.event()
    assert hub.event() is first
    clock.now += EVERY
    assert json.loads(hub.event())["number"] == json.loads(first)["number"] + 1


def test_a_feed_that_was_withdrawn_is_shown_no_more(hub: Hub, clock: Clock) -> None:
    send(hub, clock, probe(), 3.0)
    assert hub.active
    hub.forget(lambda feed: False)
    assert not hub.active
    clock.now += EVERY
    assert json.loads(hub.event())["channels"] == {}
