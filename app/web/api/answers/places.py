"""Where what a write made is found: ``Location``, as RFC 9110 (15.3.2) has it for 201."""

from collections.abc import Mapping
from urllib.parse import quote

from fastapi import Request, Response

VISIT, ENGINE, PHASE = "/api/visits/{visit_id}", "/api/engines/{engine_id}", "/api/visits/{visit_id}/phases/{phase}"

PLACES: Mapping[str, str] = {
    "fit_engine": ENGINE,
    **dict.fromkeys(("engine_stopped", "engine_started", "end_stop"), VISIT),
    **dict.fromkeys(("sign_off", "end_mistaken", "correct_visit"), VISIT),
    **dict.fromkeys(("record_checks", "take_back_check", "override_phase"), PHASE),
    **dict.fromkeys(("begin_round", "record_round_speed"), f"{VISIT}/rounds"),
    **dict.fromkeys(("add_reading", "add_all_bores", "settle_readings"), f"{VISIT}/rounds"),
    **dict.fromkeys(("make_move", "take_back_move", "change_move", "set_plate_cold"), f"{VISIT}/moves"),
    **dict.fromkeys(("add_findings", "take_back_finding", "repair_cause"), f"{VISIT}/findings"),
    **dict.fromkeys(("cannot_test", "add_logger_file"), f"{VISIT}/findings"),
    "say_instruments": f"{VISIT}/instruments",
    "correct_time": f"{VISIT}/hours",
    "set_meter_due": "/api/meters/{meter_id}",
    "add_study_reading": "/api/studies/{study_id}",
    "change_settings": "/api/settings",
    "let_feed_in": "/api/live/channels",
    "compare_sensors": "/api/live/checks",
}
"""By operation, for those whose answer does not say it of its own."""


LOCATION = {"description": "Where what was made is found.", "schema": {"type": "string"}}
"""The header as the description tells of it."""


async def located(request: Request, answer: Response) -> None:
    """Says where what is made is found; an operation that knows better says it itself."""
    place = PLACES.get(request.scope["route"].name)
    if place is not None:
        quoted = {name: quote(str(value)) for name, value in request.path_params.items()}
        answer.headers["Location"] = place.format(**quoted)
