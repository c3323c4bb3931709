"""A bench program and the small engine on its stand. It knows of the shop only what the JSON interface tells it."""

import math
import random
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx2

from app.shop.demo.engine_model import GAP, NOISE, STEP, DemoEngineModel
from app.shop.training.typical import TYPICAL
from app.sync.engine.layout import Bank, Coupler, Layout
from app.sync.engine.units import THOU

V8 = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)), sensor=8)
FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))

FLAT = 4.4
"""What one flat of a link does, in thousandths of an inch under the central lever: a rod of 0.8 mm pitch on a lever of
30 mm beside one of an inch."""

RISE = 0.016
"""Rise of the logarithm of a bore's flow with each of them, beyond the free play: the usual engine of the estimate."""

PLAY = 3.0
"""Free play of the links, in the same thousandths."""


@dataclass
class Clock:
    """The time at the bench, which goes on a little with every request."""

    now: datetime = datetime(2026, 11, 25, 10, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=18)
        return self.now

    def wait(self, minutes: float) -> None:
        """Let time pass."""
        self.now += timedelta(minutes=minutes)


@dataclass
class Engine(DemoEngineModel):
    """The engine of the demonstration, with links that can be turned."""

    def read(self, bore: int, opening: float) -> float:
        """What the meter shows at a bore, the central lever on a blade of that thickness [m]."""
        late = self.link_late if bore in self.layout.banks[-1].bores else 0.0
        lifted = max(0.0, opening / THOU - PLAY - late)
        true: float = self.flow * (self.gaps[bore] / GAP) ** 0.85 * math.exp(RISE * lifted)
        return STEP * round(true * self.rng.gauss(1, NOISE) / STEP)

    def turn_link(self, bank: str, flats: float) -> None:
        """Turn the link of a bank; positive makes it open earlier."""
        self.link_late -= flats * FLAT if bank == self.layout.banks[1].name else -flats * FLAT


@dataclass
class Program:
    """Runs an engine from register to sign-off, following the advice. ``write`` sends one request that stores."""

    client: httpx2.Client
    bench: Engine
    clock: Clock
    write: Callable[[httpx2.Client, str, dict[str, Any]], dict[str, Any]]
    kinds: list[str] = field(default_factory=list)
    looked: datetime = datetime.max.replace(tzinfo=UTC) - timedelta(days=1)

    def ask(self, path: str) -> Any:
        """What the interface answers at ``path``."""
        answer = self.client.get(path)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def post(self, path: str, **body: Any) -> dict[str, Any]:
        """Store something under a new key."""
        return self.write(self.client, path, {"key": str(uuid.uuid4()), **body})

    def register(self) -> int:
        """Register the engine on the stand."""
        layout = self.bench.layout
        banks = [{"bores": list(bank.bores), "stop": bank.stop, "drive": bank.drive} for bank in layout.banks]
        engine = self.post(
            "/api/engines",
            serial="31-0217",
            displacement=3.9,
            idle_speed_rpm=850,
            layout={"banks": banks, "sensor": layout.sensor},
        )
        return int(engine["id"])

    def run(self, engine_id: int) -> int:
        """One visit from the opening to the sign-off."""
        meter = self.ask("/api/meters")[0]["id"]
        opened = self.post(f"/api/engines/{engine_id}/visits", place="test cell", job="1184", by="KM", meter_id=meter)
        visit_id = int(opened["id"])
        here = f"/api/visits/{visit_id}"
        for _ in range(10):
            current = self.ask(here)["current"]
            if current == "sign-off":
                break
            self.phase(here, current)
        self.post(f"{here}/sign-off", name="Foreman of the yard")
        return visit_id

    def phase(self, here: str, slug: str) -> None:
        """Record what the phase asks for, follow its advice, and pass it with a reason when something is left."""
        path = f"{here}/phases/{slug}"
        self.check(path)
        if slug == "heat-soaked-recheck":
            self.looked = self.clock.now
        for _ in range(90):
            advice = self.ask(f"{path}/advice")
            if advice["waits_for_code"] == "heat-ran-out" or self.clock.now > self.looked + timedelta(minutes=10):
                self.look(here)
                continue
            if advice["kind"] in ("done", "cannot"):
                break
            self.follow(path, advice)
        self.kinds.append(advice["kind"])
        self.check(path)
        if self.ask(path)["standing"]["missing"]:
            self.post(f"{path}/overrides", why="As near as it comes today.", by="KM")

    def look(self, here: str) -> None:
        """Read the gauges once more: a look counts for half an hour."""
        gauges = {item: TYPICAL[item] for item in ("coolant", "oil")}
        self.post(f"{here}/phases/heat-soaked-recheck/checks", numbers=gauges, by="KM")
        self.looked = self.clock.now

    def check(self, path: str) -> None:
        """Record every item of a phase, and go on recording until the figures are steady."""
        for _ in range(12):
            phase = self.ask(path)
            unread = (item for item in phase["items"] if item["missing"] or item["recorded"] is None)
            missing = [item for item in unread if item["missing"] or self.is_there(item)]
            lacks = {lack["item"] for lack in phase["standing"]["missing"]} - {"round"}
            if not lacks:
                return
            asked = missing or [item for item in phase["items"] if item["kind"] == "number" and self.is_there(item)]
            ticks = [item["item"] for item in asked if item["kind"] == "tick"]
            numbers = {item["item"]: self.figure(item["item"]) for item in asked if item["kind"] == "number"}
            if "preset-turns" in numbers:
                numbers["preset-turns"] = phase["preset"]["turns"]
            self.post(f"{path}/checks", ticks=ticks, numbers=numbers, by="KM")
            self.clock.wait(minutes=3)

    @staticmethod
    def is_there(item: dict[str, Any]) -> bool:
        """Whether the stand has what an item is read on: not every one that may be recorded has to be."""
        return item["kind"] == "tick" or item["item"] in TYPICAL or str(item["item"]).startswith("snap-")

    def figure(self, item: str) -> float:
        """What somebody at the stand reads for an item: after a blip, the meter at that bore."""
        blipped = item.removeprefix("snap-")
        return self.bench.read(int(blipped), 0.0) if blipped != item else TYPICAL[item]

    def follow(self, path: str, advice: dict[str, Any]) -> None:
        """Do what the advice says, and say that it was done."""
        self.kinds.append(advice["kind"])
        if advice["kind"] == "measure":
            if not advice["readings"]:
                self.post(f"{path}/rounds", lever_thou=advice["lever_thou"] or None, from_above=advice["from_above"])
            if advice["speed_round"] is not None:
                speed = self.bench.speed(advice["lever_thou"] * THOU)
                self.post(f"{path}/rounds/{advice['speed_round']}/speed", speed_rpm=speed, by="KM")
            for asked in advice["readings"]:
                value = self.bench.read(asked["bore"], advice["lever_thou"] * THOU)
                self.post(f"{path}/readings", **asked, value=value, by="KM")
            return
        made: dict[str, Any] = {"kind": advice["kind"], "advised": True, "by": "KM"}
        match advice["kind"]:
            case "stop":
                self.bench.turn_stop(advice["bank"], advice["turns"])
                made |= {"bank": advice["bank"], "turns": advice["turns"]}
            case "blade":
                coupler = Coupler(advice["coupler"]["near"], advice["coupler"]["far"])
                self.bench.reset(coupler, sum(advice["leaves_thou"]))
                made |= {"coupler": advice["coupler"], "leaves_thou": advice["leaves_thou"]}
            case "link":
                self.bench.turn_link(advice["bank"], advice["flats"])
                made |= {"bank": advice["bank"], "flats": advice["flats"]}
        self.clock.wait(minutes=2)
        self.post(f"{path}/moves", **made)


def engine(layout: Layout = V8, seed: int = 1, link_late: float = 0.0) -> Engine:
    """An engine on the stand."""
    return Engine(layout, random.Random(seed), link_late=link_late)
