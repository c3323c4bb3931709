"""The figures as left as the text of a QR code: ``left_code``. It has no address and names no customer.

The text is for a person with any telephone, and for the search box, which reads the tag in it
(``queries.search.scanned``). Version 1 is one line, so that a scanner that types sends all of it, in the letters that a
code holds in fewest modules (ISO/IEC 18004, alphanumeric mode), parts apart by " / ":

    EVENBORE 1 TAG 3F2A-91C0 ENGINE 31-0217 / LEFT 2026-11-27 VISIT 3 ISSUE 1 / KG/H 1-4 6.50 6.50 6.25 6.50
    / WITHIN 8% SURE 97% MOST 4% / IDLE 850 COOLANT 84C

``DRAFT`` comes in the place of ``LEFT`` until the visit is signed off, ``UNREAD`` in that of the figures where nothing
was read as left, ``BEFORE-TIGHTENING`` in that of ``SURE`` where the engine was not read after it. Bores are in the
order of their numbers; where these do not run from 1 on, each figure follows its own.
"""

import math
from datetime import datetime

from app.shop.assessment.assessment import Assessment
from app.shop.commands.corrections import issue_of
from app.shop.procedure.left_out import values_of
from app.shop.queries.search import SHEET_CODE, tag_of
from app.shop.record.visit_record import VisitRecord
from app.web.presenters.drawing import shown

LONGEST_SERIAL = 24
OTHER_FIGURES = (
    ("IDLE", "", (("lock-down", "idle"), ("heat-soaked-recheck", "idle-speed"))),
    ("COOLANT", "C", (("heat-soaked-recheck", "coolant"),)),
    ("HEAD", "C", (("heat-soaked-recheck", "head"),)),
)
"""What follows the verdict: its name, its unit, and the items it may be in, of which the first on record counts."""


def left_code(assessment: Assessment) -> str:
    """The text of the code of a sheet."""
    record = assessment.record
    signed = record.sign_off
    at = datetime.fromisoformat(signed.at if signed else record.visit.opened_at).astimezone()
    state = "LEFT" if signed else "DRAFT"
    parts = [
        f"{SHEET_CODE} 1 TAG {tag_of(record.engine.key).upper()} ENGINE {_serial(record)}",
        f"{state} {at:%Y-%m-%d} VISIT {record.visit.number} ISSUE {issue_of(record)}",
        _figures(record),
        _verdict(assessment),
        _others(record),
    ]
    return " / ".join(part for part in parts if part)


def _serial(record: VisitRecord) -> str:
    return record.engine.serial.upper()[:LONGEST_SERIAL]


def _figures(record: VisitRecord) -> str:
    left = record.as_left()
    if left is None:
        return "UNREAD"
    bores = sorted(record.layout.bores)
    read = {bore: row.value for bore, row in values_of(record, left).items()}
    figures = {bore: shown(read.get(bore), record.meter) or "-" for bore in bores}
    unit = record.meter.unit_name.upper()
    if bores == list(range(1, len(bores) + 1)):
        return f"{unit} 1-{len(bores)} {' '.join(figures.values())}"
    return f"{unit} {' '.join(f'{bore}:{value}' for bore, value in figures.items())}"


def _verdict(assessment: Assessment) -> str:
    left = assessment.as_left
    if left is None:
        return ""
    sure = "BEFORE-TIGHTENING"
    if assessment.record.read_after_tightening:
        inside = left.decision.all_inside
        sure = "SURE -" if inside is None else f"SURE {min(math.floor(100 * inside), 99)}%"
    if left.alone:
        return "" if assessment.record.read_after_tightening else sure
    most = max(abs(one.share) for one in left.standings)
    return f"WITHIN {100 * left.window:.0f}% {sure} MOST {100 * most:.0f}%"


def _others(record: VisitRecord) -> str:
    said = []
    for name, unit, items in OTHER_FIGURES:
        rows = (record.checks.get(item) for item in items)
        number = next((row.number for row in rows if row is not None and row.number is not None), None)
        said += [] if number is None else [f"{name} {number:.0f}{unit}"]
    return " ".join(said)
