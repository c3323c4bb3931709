"""Which codes a field may hold that is told as a text: the enumeration of the layer that decides."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from app.shop.procedure.requirements import NotNeeded, RanOut, Requirement, Waiting

CODES: Mapping[str, Mapping[str, type[StrEnum]]] = {
    "MissingTold": {"code": Requirement},
    "StopTold": {"code": Requirement},
    "StandingTold": {"stop_codes": Requirement, "spared_code": NotNeeded},
    "HeatTold": {"lack_codes": Requirement},
    "EngineStateTold": {"stands_code": RanOut},
    "AdviceTold": {"waits_for_code": Waiting},
}
"""By shape and field. A code never changes its meaning; further ones may be added."""


def enumerate_codes(schemas: dict[str, Any]) -> None:
    """Say of every field of codes which they are."""
    for shape, fields in CODES.items():
        for name, codes in fields.items():
            said = schemas[shape]["properties"][name]
            (text,) = [
                one for one in (said, said.get("items", {}), *said.get("anyOf", ())) if one.get("type") == "string"
            ]
            text["enum"] = [str(code) for code in codes]
