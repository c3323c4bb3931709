"""The JSON Schema of the newest engine file, with a description of every field and the unit of every figure.

``python -m tests.shop.exchange.schema`` writes it anew into ``static/exchange``, where shops hand it out; the program
itself goes by the models and never reads it.

``unit`` beside a figure is its unit; ``field:NAME`` says that it is the one that stands in that field of the same
object, and an object gives it by the value of another field. A count and a share have the unit 1 (ISO 80000-1).
"""

import json
from typing import Any, NamedTuple

from app.places import static
from app.shop.exchange.versions import v6 as v6
from app.shop.procedure.phases import PHASES
from app.shop.record.fittings import HARDWARE_FIELDS
from app.sync.engine.adjusters.registry import kinds


class Note(NamedTuple):
    """What a field means, and its unit where it is a figure."""

    about: str
    unit: str | dict[str, dict[str, str]] = ""


BASE_UNITS = {name: "rad" if unit == "degrees" else "m" for name, (unit, _, _, _) in HARDWARE_FIELDS.items()}
"""The units of the hardware figures in a file."""

AMOUNTS = {kind.slug: {"turns": "turn", "flats": "1/6 turn"}.get(kind.unit, "m") for kind in kinds()}
ITEMS = {item.slug: item.unit or "1" for phase in PHASES for item in phase.items if item.kind == "number"}

FILE = static() / "exchange" / "engine-6.schema.json"
"""Where it is handed out."""

SAME: dict[str, Note] = {
    "key": Note("UUID of the row, the same in every shop."),
    "payload": Note("Hash of what was sent under the key."),
    "by": Note("Initials of the person."),
    "at": Note("When it was stored, ISO 8601."),
    "phase": Note("Phase of the visit that it belongs to."),
    "why": Note("Why, as typed or as codes."),
    "supersedes": Note("Key of the earlier row of its kind in whose place it stands; null for none."),
    "after_move": Note("Key of the newest move when it was stored; null for none."),
    "after_reading": Note("Key of the newest reading when it was stored; null for none."),
    "after_check": Note("Key of the newest check when it was stored; null for none."),
}
"""Fields that mean the same wherever they stand."""

NOTES: dict[str, dict[str, Note]] = {
    "EngineFile": {
        "format": Note("Says that this is an engine file."),
        "version": Note("Version of the format.", "1"),
        "exported_at": Note("When the file was made, ISO 8601."),
        "engine": Note("The engine."),
        "meters": Note("Every meter that a visit was read with."),
        "settings": Note("Every version of settings that a visit is judged by."),
        "fittings": Note("What was fitted, oldest first."),
        "visits": Note("Every visit, oldest first."),
    },
    "SettingsVersion": {"at": Note("When the shop changed its settings to these, ISO 8601.")},
    "PartSeal": {"key": Note("Key of the entry that it is of.")},
    "Engine": {
        "serial": Note("Serial, as stamped."),
        "description": Note("What it is, as typed."),
        "displacement": Note("Of the whole engine, always in cubic meters, whatever `displacement_unit` says.", "m3"),
        "displacement_unit": Note("Unit that the shop types and shows the displacement in; the file does not use it."),
        "customer": Note("Whose it is, as typed."),
        "vehicle": Note("What it is fitted to, as typed."),
        "idle_speed": Note("The idle speed wanted, in revolutions per second.", "1/s"),
        "registered_at": Note("When it was registered, ISO 8601."),
    },
    "Meter": {
        "name": Note("What the shop calls it."),
        "quantity": Note("Air flow, or vacuum at a port."),
        "unit": Note("Unit that it reads in; also of `step`, `low` and `high`."),
        "step": Note("The smallest step that can be read off it.", "field:unit"),
        "low": Note("The lowest value that it shows.", "field:unit"),
        "high": Note("The highest value that it shows.", "field:unit"),
        "repeatability": Note("Standard deviation of a reading, as a share of it.", "1"),
        "repeatability_from": Note("Where that figure comes from, as typed or as codes."),
    },
    "Bank": {
        "name": Note("`A` or `B`."),
        "bores": Note("Its bores, front first.", "1"),
        "stop": Note("The bore at which its stop screw acts.", "1"),
        "drive": Note("The bore at which its link rod acts.", "1"),
    },
    "Layout": {
        "banks": Note("Its banks."),
        "sensor": Note("The bore of the throttle position sensor; null for none.", "1"),
        "springless": Note("Bores whose plate has no return spring of its own.", "1"),
        "bypass": Note("Bores with a bypass screw.", "1"),
        "plenum": Note("Whether a balance plenum joins the runners."),
    },
    "Figure": {
        "value": Note("The figure, in base units: by its name under `hardware`.", {"hardware": BASE_UNITS}),
        "measured": Note("Whether it was measured on this engine; an estimate otherwise."),
    },
    "Fitting": {
        "number": Note("Counted for each engine from 1.", "1"),
        "layout": Note("Where the bores sit and what joins them."),
        "hardware": Note("The hardware figures by name."),
    },
    "Round": {
        "number": Note("Counted for each visit from 1.", "1"),
        "opening": Note("Feeler under the central lever; 0 at idle.", "m"),
        "begun_at": Note("When it was begun, ISO 8601."),
        "from_above": Note("Whether the lever was opened further first and closed onto the feeler; never at idle."),
    },
    "Reading": {
        "round": Note("Key of its round."),
        "bore": Note("The bore.", "1"),
        "kind": Note("Its turn in the round, the bore that closes it, a bore read again, or one skipped."),
        "value": Note("What the meter showed; null for a bore that was skipped.", "field:unit"),
        "unit": Note("Unit of the value: that of the meter."),
        "sd": Note("Standard error of a live value as a fraction of it; null where a person read the meter.", "1"),
        "speed": Note("Engine speed beside the reading; null where no instrument told it.", "rev/s"),
        "alike": Note("By what sensors that stay at their bores differ, as last compared; null where not.", "1"),
    },
    "Speed": {
        "round": Note("Key of its round."),
        "speed": Note("Engine speed, in revolutions per second.", "1/s"),
    },
    "Move": {
        "kind": Note("What was adjusted."),
        "bank": Note("Bank that it was done in."),
        "near": Note("Bore of a screw, or the bore of a coupler nearer to the stop screw; null for a whole bank.", "1"),
        "far": Note("The bore beyond a coupler; null for others.", "1"),
        "amount": Note("How far. Turns of a screw are positive inward, of a bypass screw outward.", {"kind": AMOUNTS}),
        "leaves": Note("Leaves of a feeler in meters, a space between; empty for others."),
        "advised": Note("Whether it was the advised one."),
    },
    "Check": {
        "item": Note("Code of the item."),
        "number": Note(
            "Its figure; null for an item that is done or not. That of an item of one bore is in the meter's unit.",
            {"item": ITEMS},
        ),
        "text": Note("When a figure was read that is recorded again and again, or `taken back`; empty for others."),
    },
    "Override": {
        "missing": Note("What was missing, as codes or in words."),
        "gate": Note("The one item that was waived; null for the whole phase."),
    },
    "SignOff": {"name": Note("Name of the person who signed.")},
    "Correction": {"number": Note("Counted for each visit from 1.", "1")},
    "EngineEvent": {"what": Note("Whether it was started or stopped.")},
    "StopEnd": {
        "after_check": Note("Key of the newest check whose stop it ends."),
        "cause": Note("The cause, as a code."),
        "cause_text": Note("Words to the cause, as typed."),
        "remedy": Note("What was done about it, as typed."),
    },
    "Finding": {
        "bore": Note("Bore that it is of; null for a bank or the whole engine.", "1"),
        "bank": Note("Bank that it is of; empty for a bore or the whole engine."),
        "kind": Note("The test, as a code, or `repaired`."),
        "value": Note("The figure; null for a word, or where there is none.", "field:unit"),
        "word": Note("What was seen, or the cause repaired, as a code; null for a figure."),
        "why": Note("Why there is neither: the test cannot be made, or the row it supersedes was a mistake."),
        "unit": Note("Unit of `value`; empty where there is no figure."),
        "spread": Note("One standard deviation, in the form the test is used in; null for the usual one.", "1"),
        "source": Note("What it was entered with."),
        "file": Note("SHA-256 of the logger's file that it came from; null for none."),
    },
    "HoursCorrection": {"seconds": Note("What the phase took in truth.", "s")},
    "Visit": {
        "fitting": Note("Key of what was fitted."),
        "meter": Note("Key of the meter that it was read with."),
        "number": Note("Counted for each engine from 1.", "1"),
        "place": Note("Where the engine was worked on."),
        "job": Note("Job number, as typed."),
        "opened_at": Note("When it was opened, ISO 8601."),
        "changed": Note("What was changed since the last visit; null where that was not asked."),
        "meter_own": Note("What its meter had repeated in earlier visits, as a share.", "1"),
        "meter_low": Note("Lower end of that figure.", "1"),
        "meter_limit": Note("Upper end of that figure.", "1"),
        "intake_note": Note("Words to the intake, as typed."),
        "rounds": Note("Its rounds, in the order they were begun."),
        "readings": Note("Every reading, in the order they were stored."),
        "moves": Note("Every adjustment, in the order they were stored."),
        "checks": Note("Every item recorded, in the order they were stored."),
        "overrides": Note("What was waived."),
        "sign_off": Note("The sign-off; null while the visit is open."),
        "corrections": Note("Issues of the sheet after the first."),
    },
}  # fmt: skip


def engine_schema() -> dict[str, Any]:
    """The JSON Schema of an engine file of the newest version. Raises KeyError for a field without a note."""
    schema = v6.EngineFile.model_json_schema()
    for name, shape in {"EngineFile": schema, **schema["$defs"]}.items():
        for field, said in shape.get("properties", {}).items():
            note = NOTES[name].get(field) or (None if "description" in said else SAME[field])
            if note is not None:
                shape["properties"][field] = _with(said, note)
    return schema


def _with(said: dict[str, Any], note: Note) -> dict[str, Any]:
    beside = said if "$ref" not in said else {"allOf": [said]}
    return {**beside, "description": note.about, **({"unit": note.unit} if note.unit else {})}


if __name__ == "__main__":
    FILE.write_text(json.dumps(engine_schema(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
