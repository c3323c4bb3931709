"""Every kind of write of the interface, with what has to be there before it and how many rows it stores."""

from collections.abc import Callable
from typing import Any

from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.procedure.phases import COLD_PRESET, HEAT_SOAKED
from app.shop.store.database import Database
from tests.shop.yard import AT, FOUR, TWINS, check_all, engine, heat_soaked, key, read, read_round, visit

COLD, HOT = "/api/visits/1/phases/cold-preset", "/api/visits/1/phases/heat-soaked-recheck"
FACTS = {"serial": "31-0217", "displacement": 427, "displacement_unit": "cu in", "idle_speed_rpm": 850}
FITTED = {"layout": {"banks": [{"bores": [1, 2, 3, 4], "stop": 2}], "springless": [3]}}


def nothing(shop: Database) -> None:
    pass


def registered(shop: Database) -> None:
    engine(shop, FOUR)


def cold(shop: Database) -> None:
    visit(shop, engine(shop, FOUR))


def cold_checked(shop: Database) -> None:
    cold(shop)
    check_all(shop, 1, COLD_PRESET)


def hot(shop: Database) -> None:
    heat_soaked(shop, FOUR)


def hot_begun(shop: Database) -> None:
    hot(shop)
    read(shop, 1, HEAT_SOAKED)


def hot_read(shop: Database) -> None:
    hot(shop)
    read_round(shop, 1, HEAT_SOAKED)


def moved(shop: Database) -> None:
    hot_read(shop)
    moves.make(shop, 1, key(), NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM"), AT)


def twins_read(shop: Database) -> None:
    heat_soaked(shop, TWINS)
    read_round(shop, 1, HEAT_SOAKED)


def found(shop: Database) -> None:
    hot_read(shop)
    shown = NewFindings("heat", (ShownAt(bore=1, value=420.5), ShownAt(bore=2, value=300.0)), "°C", "KM")
    findings.add(shop, 1, key(), shown, AT)


ALL_BORES = [{"bore": bore, "value": 6.25, "sd": 0.01} for bore in (1, 2, 3, 4)]
LOGGED = "time_s,speed_rpm,egt_1_C,egt_2_C\n" + "".join(f"{second},850,420,300\n" for second in range(30))
TURN = {"kind": "turn", "round": 2, "bore": 1, "value": 6.25, "by": "KM"}
WRITES: list[tuple[Callable[[Database], None], str, dict[str, Any], int]] = [
    (nothing, "/api/engines", {**FACTS, **FITTED}, 2),
    (registered, "/api/engines/1/fittings", {**FITTED, "why": "Bores measured"}, 1),
    (registered, "/api/engines/1/visits", {"place": "test cell", "by": "KM", "meter_id": 1}, 1),
    (cold, f"{COLD}/checks", {"ticks": ["wide-open"], "numbers": {"base-blade": 3}, "by": "KM"}, 2),
    (cold_checked, f"{COLD}/checks/wide-open/taken-back", {"by": "KM"}, 1),
    (hot, f"{HOT}/readings", TURN, 2),
    (hot, f"{HOT}/readings", {"kind": "skip", "round": 2, "bore": 1, "why": "Cannot be reached", "by": "KM"}, 2),
    (hot_read, f"{HOT}/readings", {**TURN, "kind": "again"}, 1),
    (hot_read, f"{HOT}/rounds", {}, 1),
    (hot, f"{HOT}/overrides", {"why": "The customer waits.", "by": "KM"}, 1),
    (hot_read, f"{HOT}/moves", {"kind": "stop", "bank": "A", "turns": -0.125, "by": "KM"}, 1),
    (
        hot_read,
        f"{HOT}/moves",
        {"kind": "blade", "coupler": {"near": 2, "far": 3}, "leaves_thou": [3, 1.5], "by": "KM"},
        1,
    ),
    (cold, "/api/visits/1/mistaken", {"why": "Wrong engine", "by": "KM"}, 2),
    (cold, "/api/visits/1/hours", {"phase": "cold-preset", "minutes": 75, "why": "Set at the bench", "by": "KM"}, 1),
    (moved, f"{HOT}/moves/1/taken-back", {"by": "KM"}, 1),
    (moved, f"{HOT}/moves/1/changed", {"kind": "stop", "bank": "A", "turns": 0.25, "by": "KM"}, 1),
    (
        hot_read,
        "/api/visits/1/findings",
        {"test": "heat", "unit": "°C", "shown": [{"bore": 1, "value": 420.5}, {"bore": 2, "value": 300}], "by": "KM"},
        2,
    ),
    (hot, f"{HOT}/readings/all-bores", {"round": 2, "values": ALL_BORES, "by": "KM"}, 6),
    (found, "/api/visits/1/findings/1/taken-back", {"by": "KM"}, 1),
    (found, "/api/visits/1/findings/repaired", {"cause": "lean", "bore": 2, "by": "KM"}, 1),
    (hot_read, "/api/visits/1/findings/cannot", {"test": "compression", "by": "KM"}, 1),
    (hot_read, "/api/visits/1/findings/file", {"text": LOGGED, "by": "KM"}, 2),
    (hot_read, "/api/visits/1/instruments", {"here": True, "by": "KM"}, 1),
    (twins_read, f"{HOT}/moves", {"kind": "bypass", "bore": 4, "turns": 0.5, "by": "KM"}, 1),
    (twins_read, f"{HOT}/moves", {"kind": "screw", "coupler": {"near": 2, "far": 3}, "turns": -0.125, "by": "KM"}, 1),
]
