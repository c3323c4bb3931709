"""A bench program as another shop would write it, from /api/openapi.json alone: it does what `do` of the advice is."""

import time
import uuid
from typing import Any, Protocol

import httpx2

AGAIN = ("heat-ran-out", "engine-stands", "check-first", "another-round", "round-ran-out", "adjusted-since-round")


class Stand(Protocol):
    """The engine on its stand, and what is read and turned there."""

    def read(self, bore: int, lever_thou: float) -> float:
        """What the meter shows at a bore with a feeler under the lever."""

    def speed(self, lever_thou: float) -> float:
        """What the tachometer shows [rpm]."""

    def figure(self, item: str) -> float:
        """What is read for an item."""

    def make(self, step: dict[str, Any]) -> None:
        """Turn or reset what a step says."""

    def wait(self, minutes: float) -> None:
        """Let the engine warm."""


class RefusedError(Exception):
    """The shop took something not, which a person has to look at."""


class BenchProgram:
    """Takes an engine through a visit. ``by`` are the initials of the person who watches it."""

    def __init__(self, client: httpx2.Client, stand: Stand, by: str, signs: str) -> None:
        self.client, self.stand, self.by, self.signs = client, stand, by, signs
        self.done: list[str] = []

    def get(self, path: str) -> Any:
        """What is at a path."""
        return self.answered("GET", path, None)

    def post(self, path: str, **body: Any) -> Any:
        """Record something once, however often it has to be sent."""
        return self.answered("POST", path, {"key": str(uuid.uuid4()), "by": self.by, **body})

    def answered(self, method: str, path: str, body: dict[str, Any] | None) -> Any:
        """The answer to a request, which is sent again under the same key while the shop cannot take it."""
        for _ in range(20):
            try:
                answer = self.client.request(method, path, json=body)
            except httpx2.TransportError:
                time.sleep(1)
                continue
            if answer.status_code not in (429, 503):
                break
            time.sleep(float(answer.headers.get("Retry-After", 1)))
        if answer.is_error:
            raise RefusedError(answer.json()["code"], path, answer.text)
        return answer.json()

    def visit(self, engine: dict[str, Any], job: str) -> int:
        """Register an engine where it is new, and take it through a visit."""
        known = self.get(f"/api/engines?words={engine['serial']}")
        if not known:
            known = [self.answered("POST", "/api/engines", {"key": str(uuid.uuid4()), **engine})]
        meter = self.get("/api/meters")[0]["id"]
        path = f"/api/engines/{known[0]['id']}/visits"
        visit: dict[str, Any] = self.post(path, place="test cell", job=job, meter_id=meter)
        here, phase = f"/api/visits/{visit['id']}", visit["current"]
        refused = 0
        while phase is not None:
            try:
                phase, refused = self.step(here, phase), 0
            except RefusedError as error:  # something ran out since the advice: it is asked again
                refused += 1
                if refused == 2 or error.args[0] not in AGAIN:
                    raise
        return int(visit["id"])

    def step(self, here: str, phase: str) -> str | None:
        """Do what there is to do in a phase now, and return the phase to ask next, None after the sign-off."""
        path = f"{here}/phases/{phase}"
        advice = self.get(f"{path}/advice")
        do = advice["do"]
        self.done.append(do["operation"])
        match do["operation"]:
            case "advice":
                return str(do["phase"])
            case "sign_off":
                self.answered("POST", f"{here}/sign-off", {"key": str(uuid.uuid4()), "name": self.signs})
                return None
            case "record_checks":
                self.stand.wait(do["after_minutes"])
                self.record(f"{here}/phases/{do['phase']}", do["items"])
            case "engine_started":
                self.post(f"{here}/started", ticks=do["items"])
            case "begin_round":
                opened = {"lever_thou": advice["lever_thou"] or None, "from_above": advice["from_above"]}
                self.answered("POST", f"{path}/rounds", {"key": str(uuid.uuid4()), **opened})
            case "record_round_speed":
                speed = self.stand.speed(advice["lever_thou"])
                self.post(f"{path}/rounds/{advice['speed_round']}/speed", speed_rpm=speed)
            case "add_reading":
                self.read(path, advice["readings"][0], advice["lever_thou"])
            case "make_move":
                self.stand.make(advice)
                named = ("kind", "bank", "coupler", "bore", "turns", "flats", "leaves_thou")
                made = {name: advice[name] for name in named if advice[name] not in (None, [])}
                self.post(f"{path}/moves", **made, advised=True)
            case "override_phase":
                self.post(f"{path}/overrides", why="As near as it comes today.")
            case other:  # a stop, or two values of one bore
                raise RefusedError(other, path, advice["reason"])
        return phase

    def record(self, path: str, items: list[str]) -> None:
        """Record items of a phase: a tick for what was seen to, a number for what was read."""
        told = self.get(path)
        kinds = {item["item"]: item for item in told["items"] if item["item"] in items}
        numbers = {name: self.stand.figure(name) for name, item in kinds.items() if item["kind"] == "number"}
        if "preset-turns" in numbers:
            numbers["preset-turns"] = told["preset"]["turns"]
        ticks = [name for name, item in kinds.items() if item["kind"] == "tick"]
        self.post(f"{path}/checks", ticks=ticks, numbers=numbers)

    def read(self, path: str, asked: dict[str, Any], lever_thou: float) -> None:
        """Read a bore; one that is far off is read again before it is said to be sure."""
        value = self.stand.read(asked["bore"], lever_thou)
        try:
            self.post(f"{path}/readings", **asked, value=value)
        except RefusedError as refused:
            if refused.args[0] != "far-off":
                raise
            again = self.stand.read(asked["bore"], lever_thou)
            self.post(f"{path}/readings", **asked, value=again, sure=True)
