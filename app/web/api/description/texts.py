"""What a text of a field looks like, and what several of them or a table by name do: by the name of the field."""

from collections.abc import Mapping
from typing import Any

TEXTS: Mapping[str, Any] = {
    # named by codes
    **{"ticks": ["wide-open"], "start_items": ["kill-switch"], "after": ["mixture-safe"], "puts_back": "idle-control"},
    **{"gate": "heat", "extra": "free_play", "cause": "low-level", "missing_codes": ["even-round"], "kind": "serial"},
    **{"why_code": "as-registered", "word": "wet", "place": "vehicle", "choices": ["off", "on", "cycling"]},
    # by name
    **{"numbers": {"coolant": 84, "oil": 87}, "figures": {"fine-window": 8}, "units": {"temperature": "\u00b0C"}},
    **{"bank_means": {"A": 6.4, "B": 6.6}, "odds": {"length": 0.8, "nothing": 0.2}, "banks": ["A", "B"]},
    # who and what it is
    **{"name": "Flow meter 2", "description": "Eight in two banks", "shop_name": "North Yard", "pin": "2580"},
    **{"shop_address": "1 Quay Road", "token": "kq3vQm0b9lq1", "key": "0d6f7a8e-98c1-4c39-9c9e-6f4d5b0c2a02"},
    **{"or_bank": "B", "epoch": "2026-11-25/1", "lines": ["b3 6.52"], "declare": ["b3"], "problem": "timed out"},
    **{"corrected_by": "KM", "corrected_at": "2026-11-25T10:00:00.000+00:00"},
    "channels": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    # for people
    **{"title": "Read every bore", "aim": "Goal: every bore flows the same at idle.", "ask": "Coolant temperature"},
    **{"reason": "Bore 3 flows 12 % more.", "why": "Rough when hot", "what": "Coolant temperature", "how": "Set it."},
    **{"sentence": "Bores 1 to 4 are even.", "sentences": ["Bore 3 flows 12 % more."], "look": "Coupler 2\u20133"},
    **{"waits_for": "First record coolant temperature.", "stands": "The engine was stopped.", "missing": "Idle speed"},
    **{"extra_sentence": "Check the free play of both link rods.", "lacks": ["15 more minutes of running"]},
    **{"cautions": ["WARNING: Hot coolant."], "defer": "The manufacturer's instructions come first."},
    **{"steps": ["Stop the engine before you loosen a coupler."], "stops": ["Stop the engine now."]},
    **{"spared": "The engine has one bank.", "cause_text": "A hose was loose", "remedy": "Oil filled up"},
    **{"corrected_why": "Set at the bench", "intake_note": "Filter of the race car"},
    # where the same name is about something else
    **{"BankTold.name": "A", "SuspectTold.name": "Coupler 2\u20133", "StopTold.what": "Stop the engine now."},
    **{"ReadingTold.why": "Cannot be reached", "ReadingTold.why_code": "out-of-reach", "FindingTold.why": "cannot"},
    **{"OverrideSent.why": "The customer waits.", "OverrideTold.why": "The customer waits."},
    **{"CorrectionSent.why": "Read at another bore", "CorrectionTold.why": "Read at another bore"},
    **{
        "FittingSent.why": "Bores measured",
        "FittingTold.why": "Bores measured",
        "DueTold.why": "A year after the last",
    },
    **{"LayoutSent.extra": {"trim": [1, 2]}, "LayoutTold.extra": {"trim": [1, 2]}},
    **{"second_where": "At the other bench", "where": "At the bench"},
}
"""By name, or by shape and name where another is meant. A field that holds shapes shows none: the shape does."""
