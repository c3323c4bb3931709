"""What a field is that has the same meaning wherever the JSON interface has it: said once, by its name."""

import re
from collections.abc import Mapping
from typing import Any

from app.web.api.description.examples import EXAMPLES, choices_of
from app.web.api.description.texts import TEXTS

FIELDS: Mapping[str, str] = {
    "about": "The bores it is about.",
    "advised": "Whether it was made as the advice said.",
    "aim": "What the phase is for, in words.",
    "balanced": "Whether both banks open together.",
    "bank": "`A` or `B`, as under the engine's layout; null for none.",
    "bank_means": "Mean of the bores of each bank, by its name, in `unit`.",
    "banks": "The banks, the first one first.",
    "base_blade_thou": "The feeler under each stop screw, in thousandths of an inch.",
    "bore": "The bore, by its cylinder number; null for none.",
    "bore_diameter_mm": "Of a throttle bore, in millimeters.",
    "bores": "One entry for each bore.",
    "by": "Initials of the person who did it.",
    "bypass": "The bores with a bypass screw.",
    "cause_text": "More of the cause in words.",
    "cautions": "What is dangerous here, in words: keep to it.",
    "changes": "The changes, the oldest first.",
    "checks": "Figures and ticks of the phases.",
    "corrected": "The figures that were corrected.",
    "corrected_by": "Initials of the person who corrected it; null where nothing was corrected.",
    "closed_angle_deg": "Angle of a closed plate to the bore's section, in degrees.",
    "count": "How many there are.",
    "counts": "Which of the two counts; `both` keeps them as two readings.",
    "coupler": "The coupler between two neighboring bores; null for none.",
    "couplers_new": "Whether the couplers were assembled again.",
    "customer": "Whose engine it is, or the customer's number.",
    "declare": "The channels of which the next push has to say what they show.",
    "description": "What kind of engine it is, in a line.",
    "difference": "Second bank less first bank, in `unit`.",
    "differences": "One entry for each opening that was read.",
    "displacement_unit": "The unit of `displacement`.",
    "done": "Whether nothing is missing any more.",
    "engine_id": "The `id` of the engine.",
    "epoch": "Names one run of the clock of the sender.",
    "extra_sentence": "What would tell most next, in words.",
    "finished": "Whether it has all its readings.",
    "first": "Mean of a bore of the first bank, in `unit`.",
    "flats": "Sixths of a turn of the link rod; positive makes its bank open earlier. Null for none.",
    "from_above": "Whether the lever was opened further first and brought back onto the feeler.",
    "gauges": "Every look at the gauges, the oldest first.",
    "high": "Upper end, in the unit of the figure.",
    "high_turns": "Upper end of the band, in turns.",
    "hot": "Whether the engine is heat-soaked.",
    "id": "Its number, by which other requests name it.",
    "idle_speed_rpm": "The idle speed wanted, in revolutions per minute.",
    "initials": "Initials, as they are sent with a write.",
    "intake_note": "More about the intakes in words.",
    "item": "The item, by the name that checks send.",
    "items": "What the phase asks for, in its order.",
    "job": "The number of the job.",
    "kind": "Which of the kinds listed here it is; other fields go by it.",
    "link_lever_mm": "Arm on which the link rod acts, in millimeters.",
    "link_pitch_mm": "Change of a link rod's length in one turn, in millimeters.",
    "looked_at": "What the verdict rests on.",
    "least_minutes": "The shortest of them, in minutes; null where there are too few to say.",
    "leaves_thou": "The one feeler, or the two stacked, in thousandths of an inch; null for none.",
    "low": "Lower end, in the unit of the figure.",
    "low_turns": "Lower end of the band, in turns.",
    "mean": "Mean of all bores, in `unit`.",
    "minutes": "How long it took in truth, in minutes.",
    "missing": "What is still missing.",
    "most_minutes": "The longest of them, in minutes; null where there are too few to say.",
    "moves": "What was turned or reset, in its order.",
    "name": "What people call it.",
    "newer": "The reading that was entered second, by its `id`.",
    "not_looked_at": "What nothing was recorded of.",
    "now": "What it is now, in `unit`.",
    "number": "The figure as entered, in the item's unit; null for a tick.",
    "odds": "The chance of it, 0 to 1.",
    "older": "The reading that was entered first, by its `id`.",
    "override": "The reason with which it was passed; null for none.",
    "overrides": "The reasons with which phases were passed.",
    "phase": "The phase, by its name in addresses.",
    "place": "Where the engine is; by `telephone` the customer does the work where it is, told what to do.",
    "plates": "One entry for each plate, outward from the stop screws.",
    "plenum": "Whether a balance plenum joins all runners.",
    "reason": "Why, in words for people.",
    "quantity": "What it measures.",
    "readings": "The readings, in the order in which they were entered.",
    "recorded": "What is recorded of it; null for nothing.",
    "remedy": "What was done about it.",
    "round": "The round, by its number in the visit.",
    "rounds": "Every round, the oldest first.",
    "second": "Mean of a bore of the second bank, in `unit`.",
    "sensor": "The bore whose shaft the throttle sensor sits on; null for none.",
    "sentence": "It in words, for people.",
    "sent": "When it was sent, in seconds of the clock of the sender.",
    "serial": "What is stamped on the engine.",
    "shaft_diameter_mm": "Of a throttle shaft, in millimeters.",
    "shown": "What each test showed.",
    "sign_off": "Who answers for the engine, from when; null while the visit is open.",
    "signed_off": "Whether the visit has ended.",
    "springless": "The bores whose plate no return spring closes.",
    "steps": "What is done in the phase, in words.",
    "stop_lever_mm": "Arm on which the stop screw acts, in millimeters.",
    "stop_pitch_mm": "Travel of a stop screw in one turn, in millimeters.",
    "stops": "The figures beyond a limit.",
    "studies": "Its studies, the oldest first.",
    "title": "It in a line, for people.",
    "token": "What the program sends with each push; it is told once.",
    "total_minutes": "Time of all phases together, in minutes.",
    "turns": "Turns of the screw; its kind says which way is positive. Null for none.",
    "uncertainty": "Half the width of the interval that holds the figure in nine cases of ten, in `unit`.",
    "unit": "The unit of the figures beside it.",
    "value": "The figure, in `unit`.",
    "vehicle": "What it is built into.",
    "visits": "Its visits, the newest first.",
    "was": "What it was before, in `unit`.",
    "what": "What it is, in words for people.",
    "why": "The reason as it was typed, or as a code where it is one.",
}
"""By name."""

NONE = re.compile(r"[;.] [Nn]ull for [a-z ]+\.$")
"""What is said of null, which only a field that may be null says."""


def describe(schemas: dict[str, Any]) -> None:
    """Say of every field of the schemas what it is, and of every figure and choice what one looks like."""
    for shape, schema in schemas.items():
        for name, field in schema.get("properties", {}).items():
            if "description" not in field and name in FIELDS:
                field["description"] = FIELDS[name] if _may_be_null(field) else NONE.sub(".", FIELDS[name])
            if "examples" in field or "const" in field:
                continue
            if choices := choices_of(field, schemas):
                field["examples"] = choices[:1]
                continue
            known = (TEXTS.get(f"{shape}.{name}"), EXAMPLES.get(name), TEXTS.get(name))
            if shown := [value for value in known if value is not None and _takes(field, value)]:
                field["examples"] = shown[:1]


def _may_be_null(field: dict[str, Any]) -> bool:
    return any(one.get("type") == "null" for one in field.get("anyOf", ()))


def _takes(field: dict[str, Any], value: Any) -> bool:
    """Whether a field is of a type of which ``value`` is."""
    if isinstance(value, dict):
        return any("$ref" not in one.get("additionalProperties", {"$ref": ""}) for one in field.get("anyOf", [field]))
    types: dict[Any, Any] = {"integer": int, "number": (int, float), "string": str, "array": list}
    alternatives = [
        one for one in field.get("anyOf", [field]) if "$ref" not in one and one.get("const", value) == value
    ]
    return any(
        isinstance(value, types.get(one.get("type"), ()))
        and (not isinstance(value, list) or _takes(one.get("items", {}), value[0]))
        for one in alternatives
    )
