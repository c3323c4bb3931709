"""The page of the instruments: sources with their raw lines, sensors compared, hoses told apart; the same as JSON."""

from typing import Any

import numpy as np
import pytest

from app.live.baud import Crowded
from app.live.channels import InstrumentSource
from app.live.feed import Feed
from app.live.process import Running
from app.live.sources.source import Reader
from app.web.presenters.instruments import POINTS, _strip
from tests.shop.yard import key
from tests.web.live.pushes import FEED, let_in
from tests.web.security.bench import Bench

VACUUM = {"quantity": "vacuum", "unit": "kPa", "high": 100.0, "frozen": 60.0, "stale": 20.0, "rate": 50.0, "lag": 0.3}

SLOW_PORT = {"baud": 9600, "baud_needed": 34_000}


class Sensors:
    """Four vacuum sensors of a feed, on a clock of its own; ``levels`` are what they show."""

    def __init__(self, bench: Bench, *levels: float) -> None:
        self.bench, self.token, self.clock = bench, let_in(bench.here), 100.0
        self.levels = {f"b{n + 1}": level for n, level in enumerate(levels)}
        self.channels = {name: {**VACUUM, "bore": n + 1} for n, name in enumerate(self.levels)}

    def send(self, seconds: int, **other: Any) -> None:
        """Show these levels for so long."""
        levels = self.levels | {name: one for name, one in other.items() if name != "sources"}
        for _ in range(seconds):
            times = [self.clock + (n + 1) / 50 for n in range(50)]
            self.clock += 1.0
            rows = {
                name: [[at, level + 0.001 * (n % 3)] for n, at in enumerate(times)] for name, level in levels.items()
            }
            sent = {"epoch": "one", "sent": self.clock, "rows": rows, "channels": self.channels}
            sent |= {"sources": other["sources"]} if "sources" in other else {}
            head = {"Authorization": f"Bearer {self.token}"}
            self.bench.here.headers.pop("Origin", None)
            answer = self.bench.here.post(FEED, json=sent, headers=head)
            assert answer.status_code == 202, answer.text

    def submit(self, path: str, **fields: str) -> Any:
        self.bench.here.headers["Origin"] = "http://127.0.0.1:8000"
        return self.bench.here.post(path, data={"key": key(), "by": "KM", **fields}, headers=self.origin)

    @property
    def origin(self) -> dict[str, str]:
        return {"Origin": str(self.bench.here.base_url).rstrip("/")}

    def page(self) -> str:
        return str(self.bench.here.get("/live").text)


@pytest.fixture
def sensors(bench: Bench) -> Sensors:
    return Sensors(bench, 30.0, 30.05, 29.95, 30.02)


def test_a_source_shows_its_last_raw_lines_and_what_is_wrong(sensors: Sensors) -> None:
    told = {"kind": "serial", "lines": ["B3=06.521,N=0850", "B3=<b>"], "spoilt": 3, "restarts": 1}
    sensors.send(1, sources={"bench": {**told, "problem": "no such port", "loose": True, **SLOW_PORT}})
    page = sensors.page()
    assert "B3=06.521,N=0850" in page
    assert "B3=&lt;b&gt;" in page
    assert "Lines that fit nothing: 3. Begun again: 1." in page
    assert "no such port" in page
    assert "A line that lost a digit may fit its pattern" in page
    assert "at least 34000 baud" in page
    assert "its port has 9600" in page
    (source,) = sensors.bench.here.get("/api/live/sources").json().values()
    assert (source["lines"], source["spoilt"], source["baud_needed"]) == (told["lines"], 3, 34_000)


def test_what_a_source_is_told_as_is_short_and_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    reader = Reader(lambda *_: None)
    for line in ("x" * 5000, "tab\there", "snow \u2603"):
        reader.take(None, line)
    running = Running(InstrumentSource("bench", "serial"), reader)
    running.problem = OSError("no\nport")
    told = running.told(2, loose=False)
    assert told["lines"] == ["tab?here", "snow ?"]
    assert told["problem"] == "no?port"
    assert running.told(2, loose=False, port=Crowded("bench", 9600, 34_000)) == told | SLOW_PORT
    feed, sent = Feed("http://127.0.0.1:1", "t", {}), list[Any]()

    def send(body: Any) -> dict[str, Any]:
        sent.append(body)
        return {}

    monkeypatch.setattr(feed, "_send", send)
    feed.tell({"bench": running.told(20, loose=True)})
    assert len(sent[0]["sources"]["bench"]["lines"][0]) <= 100


def test_a_channel_has_its_value_and_a_strip(sensors: Sensors) -> None:
    sensors.send(3)
    page = sensors.page()
    assert page.count("live-strip") == 4
    assert sensors.bench.here.get("/api/live/channels").json()["b1"]["value"] == pytest.approx(30.0, abs=0.01)


def test_sensors_are_compared_on_the_page_and_what_follows_is_said(sensors: Sensors) -> None:
    sensors.send(5)
    assert "were not compared on a tee" in sensors.page()
    assert sensors.submit("/live/checks", held="tee").status_code == 303
    page = sensors.page()
    assert "they differ by 0.04" in page
    assert "They may prove a round for a day" in page
    assert "b2&nbsp;+0.045&nbsp;±0.001" in page
    sensors.send(5, b1=29.0)
    assert sensors.submit("/live/checks", held="tee").status_code == 303
    assert "That is too much to prove a round" in sensors.page()


@pytest.mark.parametrize(
    ("levels", "fields", "said"),
    [
        ({}, {"held": "ambient"}, "does not show the pressure of the open air"),
        ({"b1": 5.0, "b2": 5.0, "b3": 5.0, "b4": 5.0}, {"held": "tee"}, "at least 15"),
        ({}, {"held": "tee", "by": ""}, "initials"),
        ({}, {"held": "somehow"}, "Choose one of these"),
    ],
)
def test_what_cannot_be_compared_is_said_and_the_initials_stay(
    sensors: Sensors, levels: dict[str, float], fields: dict[str, str], said: str
) -> None:
    sensors.send(5, **levels)
    answer = sensors.submit("/live/checks", **({"by": "QX"} | fields))
    assert answer.status_code == 422
    assert said in answer.text
    assert fields.get("by") == "" or 'value="QX"' in answer.text


def test_a_hose_taken_off_tells_its_channel(sensors: Sensors) -> None:
    sensors.send(4)
    assert sensors.submit("/live/wiggles", bore="3").status_code == 303
    assert "Hose of bore 3" in sensors.page()
    sensors.send(2, b1=0.0)
    wrong = sensors.submit("/live/wiggles/done")
    assert (wrong.status_code, "b1 moved, which the channel file puts at bore 1" in wrong.text) == (422, True)
    sensors.submit("/live/wiggles", bore="")
    assert "Hose of bore 3" not in sensors.page()
    assert sensors.submit("/live/wiggles/done").status_code == 422
    sensors.send(4)
    sensors.submit("/live/wiggles", bore="3")
    sensors.send(2, b3=0.0)
    assert sensors.submit("/live/wiggles/done").status_code == 303
    assert "The channel of bore 3 was seen to be its own." in sensors.page()


def test_programs_compare_sensors_too(sensors: Sensors) -> None:
    sensors.send(5)
    sensors.bench.here.headers.pop("Origin", None)
    answer = sensors.bench.here.post("/api/live/checks", json={"key": key(), "held": "tee", "by": "KM"})
    assert answer.status_code == 201
    assert answer.json()["spread_kpa"] == pytest.approx(0.042, abs=0.005)
    assert answer.json()["sensors"]["b3"]["offset_kpa"] == pytest.approx(-0.055, abs=0.003)
    assert sensors.bench.here.get("/api/live/checks").json() == [answer.json()]
    refused = sensors.bench.here.post("/api/live/checks", json={"key": key(), "held": "ambient", "by": "KM"})
    assert (refused.status_code, refused.json()["code"]) == (422, "sensors-not-ambient")


def test_a_strip_shows_no_waves_that_pulses_make_of_its_points() -> None:
    """Ten seconds at 100 values a second of pulses at 7.08 Hz: the line lies within a hundredth of the mean."""
    times = np.arange(1000) / 100
    pulses = 6.5 * (1 + 0.5 * np.sin(2 * np.pi * 7.08 * times))
    places = [float(one.split(",")[1]) for one in _strip(pulses).split()]
    assert len(places) == POINTS
    assert max(places) - min(places) < 10
    risen = [float(one.split(",")[1]) for one in _strip(pulses * np.where(times < 5, 1.0, 1.5)).split()]
    assert max(risen) - min(risen) > 17


def test_what_tablets_do_not_do_by_themselves_is_said(bench: Bench) -> None:
    page = str(bench.here.get("/live").text)
    assert "evenbore serve --lan --tls" in page
    assert all(said in page for said in ("sleep late", "do not vibrate", "own keyboard may stay away"))
