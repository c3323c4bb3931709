"""A bench program, as another shop would write it: it knows of the records only what the JSON interface tells it."""

import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx2

from app.shop.training.typical import TYPICAL
from app.sync.engine.layout import Coupler
from app.sync.engine.units import THOU
from tests.web.api.bench_engine import Clock, Engine


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
        answer = patiently(lambda: self.client.get(path))
        assert answer.status_code == 200, answer.text
        return answer.json()

    def post(self, path: str, **body: Any) -> dict[str, Any]:
        """Store something under a new key."""
        return self.write(self.client, path, {"key": str(uuid.uuid4()), **body})

    def register(self) -> int:
        """Register the engine on the stand."""
        layout = self.bench.layout
        banks = [{"bores": list(bank.bores), "stop": bank.stop, "drive": bank.drive} for bank in layout.banks]
        fitted = {"banks": banks, "sensor": layout.sensor}
        engine = self.post("/api/engines", serial="31-0217", displacement=3.9, idle_speed_rpm=850, layout=fitted)
        return int(engine["id"])

    def run(self, engine_id: int) -> int:
        """One visit from the opening to the sign-off."""
        meter = self.ask("/api/meters")[0]["id"]
        opened = self.post(f"/api/engines/{engine_id}/visits", place="test cell", job="1184", by="KM", meter_id=meter)
        here = f"/api/visits/{opened['id']}"
        for _ in range(10):
            current = self.ask(here)["current"]
            if current == "sign-off":
                break
            self.phase(here, current)
        self.post(f"{here}/sign-off", name="Foreman of the yard")
        return int(opened["id"])

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
            if advice["kind"] not in ("done", "cannot"):
                self.follow(path, advice)
                continue
            self.check(path)  # the idle speed, recorded last, may ask for another reading
            if self.ask(f"{path}/advice")["kind"] == advice["kind"]:
                break
        self.kinds.append(advice["kind"])
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


def patiently(send: Callable[[], httpx2.Response]) -> httpx2.Response:
    """The answer to a request, which is sent again where a token has sent too many."""
    while (answer := send()).status_code == 429:
        time.sleep(float(answer.headers["Retry-After"]))
    return answer
