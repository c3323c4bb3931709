"""Why an engine that was even has to be read hot again: what changed since it was signed off."""

from app.shop.procedure.requirements import Changed, ChangedPart
from app.shop.reasons import Reason, because
from app.shop.record.intake import differs
from app.shop.record.visit_record import VisitRecord

AIR = (ChangedPart.EXHAUST, ChangedPart.INTAKE)
"""The parts that change how much air an engine needs to idle."""

MOVED_TO = {
    "test cell": Changed.IN_TEST_CELL,
    "vehicle": Changed.IN_VEHICLE,
    "telephone": Changed.FITTED_AWAY,
}


def reasons(record: VisitRecord) -> tuple[Reason, ...]:
    """What changed since the last sign-off, as entered when the visit was opened or as recorded; none at first."""
    if record.fitted_before is None:
        return ()
    changed = [because(Changed.TOUCHED, what=what) for what in touched(record)]
    if record.fitted_before != record.fitting.ident:
        changed.append(because(Changed.HARDWARE))
    if _moved(record):
        changed.append(because(MOVED_TO[record.visit.place]))
    return tuple(changed)


def same_air(record: VisitRecord) -> bool:
    """Whether the engine draws its air through the same parts in the same place as at the last sign-off."""
    if record.before is not None and differs(record.before.intake, record.intake):
        return False
    return not _moved(record) and not any(what in AIR for what in touched(record))


def touched(record: VisitRecord) -> tuple[str, ...]:
    """What was changed since the last sign-off, by who opened the visit: codes of ChangedPart, or an older program's
    words."""
    return tuple(what for what in (record.visit.changed or "").split(", ") if what)


def _moved(record: VisitRecord) -> bool:
    """Whether it went into the test cell or out of it since; who is rung up has it in the vehicle."""
    here, there = record.visit.place, record.place_before
    return there != "" and (here == "test cell") != (there == "test cell")


def recheck(record: VisitRecord) -> Reason | None:
    """Why a heat-soaked recheck is asked for; None when nothing changed."""
    why = reasons(record)
    return because(Changed.RECHECK, reasons=why) if why else None
