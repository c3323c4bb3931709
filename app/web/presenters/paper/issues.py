"""Issues of a handover sheet: which one replaces which, and what was corrected in each."""

from functools import partial

from app.shop.commands.corrections import Corrected, corrected
from app.shop.procedure.parts import parts_of
from app.shop.record.entries import CorrectionEntry
from app.shop.record.measures import Measure
from app.shop.record.visit_record import VisitRecord
from app.web.presenters.drawing import shown
from app.web.presenters.filters import moment
from app.wording.message import say
from app.wording.office import handover, paper


def replaces(record: VisitRecord) -> str:
    """Which issue this one replaces; empty for the first."""
    if not record.corrections:
        return ""
    newest = max(record.corrections, key=lambda one: one.number)
    values = {"number": newest.number, "at": moment(newest.at), "before": newest.number - 1}
    return say(handover.REPLACES, since=moment(_replaced_at(record, newest)), **values)


def _replaced_at(record: VisitRecord, one: CorrectionEntry) -> str:
    """When the issue before a correction was made."""
    before = next((c.at for c in record.corrections if c.number == one.number - 1), None)
    return before or (record.sign_off.at if record.sign_off else one.at)


def issued(record: VisitRecord) -> tuple[str, ...]:
    """What this issue replaces, and what was corrected in it and those before; empty for the first."""
    said = []
    for one in reversed(record.corrections):
        said.append(
            say(
                paper.ISSUED,
                number=one.number,
                at=moment(one.at),
                before=one.number - 1,
                since=moment(_replaced_at(record, one)),
                changes=", ".join(_corrected(c, record) for c in corrected(record, one)),
                why=one.why.rstrip("."),
                by=one.by,
            )
        )
    return tuple(said)


def _corrected(one: Corrected, record: VisitRecord) -> str:
    measure = record.units.of(one.quantity) if one.quantity else Measure(one.unit, places=4)
    figure = partial(shown, meter=record.meter) if one.bore else measure.shown
    now, was = (
        say(paper.NO_FIGURE) if value is None else say(paper.FIGURE, value=figure(value), unit=measure.name)
        for value in (one.now, one.was)
    )
    return say(paper.CORRECTED, what=paper.what_was_corrected(one, parts_of(record.layout)), now=now, was=was)
