"""What a value of a field looks like, by the name of the field: one for every number; a field of a few words shows the
first of them."""

from collections.abc import Mapping
from typing import Any

EXAMPLES: Mapping[str, Any] = {
    # which one it is
    **{"id": 3, "engine_id": 3, "visit_id": 17, "fitting_id": 4, "meter_id": 1, "other_id": 2, "since_visit_id": 12},
    **{"bore": 3, "round": 2, "number": 2, "supersedes": 3, "check": 41, "move": 9, "after_reading": 57, "version": 1},
    **{
        "older": 57,
        "newer": 58,
        "as_found": 1,
        "as_left": 4,
        "speed_round": 3,
        "issue": 2,
        "place": 2,
        "next_place": 2,
    },
    **{"next": 3, "next_place": 2, "next_meter_id": 1, "sensor": 8, "stop": 1, "drive": 1},
    **{"at": "2026-11-25T10:00:00.000+00:00", "opened_at": "2026-11-25T10:00:00.000+00:00"},
    **{"begun_at": "2026-11-25T10:00:00.000+00:00", "registered_at": "2026-11-25T10:00:00.000+00:00"},
    **{"by": "KM", "bank": "A", "phase": "heat-soaked-recheck", "item": "coolant", "job": "1184", "serial": "31-0217"},
    **{"customer": "C-104", "vehicle": "Blue coupe"},
    # several of them
    **{"bores": [1, 2, 3, 4], "about": [3], "moves_bores": [3, 4], "read_next": [3, 1], "misread": [3], "reread": [3]},
    **{"bypass": [1, 4], "springless": [3], "shafts": [[1, 2], [3, 4]]},
    # read and judged, in the meter's unit
    **{"value": 6.25, "unit": "kg/h", "low": 1.0, "high": 30.0, "step": 0.25, "mean": 6.4, "deviation": 0.2},
    **{"uncertainty": 0.15, "drift": 0.05, "half_width": 0.51, "first": 6.6, "second": 6.2, "difference": -0.4},
    **{"was": 6.25, "now": 6.52, "spread": 0.02, "sd": 0.01},
    # shares and chances
    **{"share": 0.03, "share_low": 0.01, "share_high": 0.05, "inside": 0.97, "above": 0.02, "below": 0.01},
    **{"all_inside": 0.93, "pass_probability": 0.9, "odds": 0.8, "misread_odds": 0.02, "any_slip": 0.95},
    **{"slow_start_with": 0.02, "slow_start_without": 0.2},
    **{"percent": -6.2, "ratio_percent": 2.5, "ratio_sd_percent": 0.8, "change_percent": 12.5, "sd_percent": 1.5},
    **{"window_percent": 8.0, "repeatability_percent": 1.0, "repeatability_limit_percent": 1.4},
    # turned, laid under, measured
    **{"turns": 0.125, "low_turns": 0.9, "high_turns": 1.9, "flats": -2.0, "flats_sd": 0.4, "offset_deg": 0.3},
    **{"offset_sd_deg": 0.1, "leaves_thou": [3, 1.5], "lever_thou": 10, "base_thou": 3.0, "base_blade_thou": 3.0},
    **{"sharper_lever_thou": 15, "extra_lever_thou": 30, "extra_levers_thou": [10, 30], "openings_thou": [10, 30]},
    **{"blades_thou": [1.5, 2, 3, 4.5], "bore_diameter_mm": 46.5, "shaft_diameter_mm": 8.0, "closed_angle_deg": 6.5},
    **{"stop_pitch_mm": 0.8, "stop_lever_mm": 25.4, "link_pitch_mm": 0.8, "link_lever_mm": 30.0, "displacement": 3.9},
    # the engine
    **{"idle_speed_rpm": 850, "speed_rpm": 1240, "aim_rev_per_min": 900, "air_pressure_kpa": 101.3},
    **{"coolant_c": 84.0, "oil_c": 87.0, "head_c": 160.0},
    # time and counts
    **{"minutes": 42, "minutes_ago": 3, "total_minutes": 95.5, "recorded_minutes": 42, "gap_minutes": 30.0},
    **{"least_minutes": 60.0, "median_minutes": 85.0, "most_minutes": 140.0, "cold_minutes": 14.0},
    **{"hot_minutes_with": 20.0, "hot_minutes_without": 35.0},
    **{"count": 12, "counted": 18, "rounds_to_decide": 1, "readings_to_decide": 8, "wanted": 10},
    # live channels, in seconds
    **{"spread_kpa": 0.12, "depth_kpa": 40.0, "mean_kpa": 61.2, "offset_kpa": -0.08, "scatter_kpa": 0.05},
    **{"spoilt": 0, "restarts": 0, "also_wrong": [5]},
    **{"sent": 12.5, "rate": 200.0, "stale": 0.5, "frozen": 5.0, "lag": 0.2},
    **{"root": 0.8, "draws": 3, "lag_s": 0.2, "baud": 9600, "baud_needed": 24_000},
}

PARAMETERS: Mapping[str, str] = {
    "engine_id": "The `id` of the engine.",
    "visit_id": "The `id` of the visit.",
    "meter_id": "The `id` of the meter.",
    "study_id": "The `id` of the study.",
    "move_id": "The `id` of the move.",
    "finding_id": "The `id` of the finding.",
    "phase": "The phase, by its name.",
    "item": "The item, by the name that checks send.",
}
"""What a part of an address is."""


def choices_of(field: Mapping[str, Any], schemas: Mapping[str, Any]) -> list[Any]:
    """The words that a field takes, none where it takes others too."""
    for one in field.get("anyOf", [field]):
        meant = schemas[one["$ref"].rpartition("/")[2]] if "$ref" in one else one
        if "enum" in meant:
            return list(meant["enum"])
        if meant.get("type") == "array":
            return [choices_of(meant["items"], schemas)[:1]] if choices_of(meant["items"], schemas) else []
    return []
