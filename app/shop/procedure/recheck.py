"""Why an engine that was even has to be read hot again: what changed since it was signed off."""

from app.shop.record.visit_record import VisitRecord

CHANGES = ("stop screw", "exhaust", "linkage", "throttle sensor", "intake or air filter")
"""What changes the sync when it is touched (common practice, no published source)."""

AIR = ("exhaust", "intake or air filter")
"""Those of CHANGES that change how much air an engine needs to idle."""

IN_USE = "other exhaust, heat under the bonnet and idle speed"
PLACES = {
    "test cell": "it is in the test cell now",
    "vehicle": f"it is in the vehicle now: {IN_USE}",
    "telephone": f"it was fitted away from the shop: {IN_USE}",
}


def reasons(record: VisitRecord) -> tuple[str, ...]:
    """What changed since the last sign-off, as said when the visit was opened or as the records show; none at first."""
    if record.fitted_before is None:
        return ()
    said = [f"{what} changed" for what in (record.visit.changed or "").split(", ") if what]
    if record.fitted_before != record.fitting.ident:
        said.append("other hardware is on record")
    if _moved(record):
        said.append(PLACES[record.visit.place])
    return tuple(said)


def same_air(record: VisitRecord) -> bool:
    """Whether the engine breathes through the same parts in the same place as at the last sign-off."""
    said = (record.visit.changed or "").split(", ")
    return not _moved(record) and not any(what in said for what in AIR)


def _moved(record: VisitRecord) -> bool:
    """Whether it went into the test cell or out of it since; who is rung up has it in the vehicle."""
    here, there = record.visit.place, record.place_before
    return there != "" and (here == "test cell") != (there == "test cell")


def recheck(record: VisitRecord) -> str:
    """The demand for a heat-soaked recheck in a sentence, empty when nothing changed."""
    why = reasons(record)
    if not why:
        return ""
    return (
        f"Since the last sign-off: {'; '.join(why)}. What was even then says nothing now. Heat it through and read it "
        "as found before anything is moved."
    )
