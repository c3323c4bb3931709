"""Change the shop's settings: every change is stored as a version of its own."""

import math

from app.shop.errors import ConflictError, RejectedError
from app.shop.record import stored_settings
from app.shop.record.measures import RECORDED, Measure, Units
from app.shop.record.settings import OPENINGS, Settings, to_json
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import Setup
from app.sync.engine.units import KPA, MINUTE, THOU, ZERO_CELSIUS

LONGEST = 200
MOST_BLADES = 60
MOST_PEOPLE, MOST_INITIALS = 60, 5
PER_CENT = Measure("%")


def problems(new: Settings, units: Units = RECORDED) -> dict[str, str]:
    """What is wrong with settings, by field, in ``units``."""
    wrong: dict[str, str] = {}

    blade, pressure, degrees = units.of("blade"), units.of("oil_pressure"), units.of("temperature")

    def within(
        name: str, value: float, low: float, high: float, unit: Measure, size: float = 1.0, zero: float = 0.0
    ) -> None:
        if not (math.isfinite(value) and low <= value <= high):
            wrong[name] = f"Between {unit.shown((low - zero) / size)} and {unit.says((high - zero) / size)}."

    within("coarse_window", new.coarse_window, 0.05, 0.6, PER_CENT, 0.01)
    within("fine_window", new.fine_window, 0.01, 0.3, PER_CENT, 0.01)
    within("bank_window", new.bank_window, 0.01, 0.3, PER_CENT, 0.01)
    within("idle_bank_window", new.idle_bank_window, 0.01, 0.3, PER_CENT, 0.01)
    if "fine_window" not in wrong and new.fine_window > new.coarse_window:
        wrong["fine_window"] = "No wider than the coarse one."
    for opening in new.openings:
        within("openings", opening, *OPENINGS, blade, THOU)
    if not 2 <= len(new.openings) <= 3 or list(new.openings) != sorted(set(new.openings)):
        wrong["openings"] = "Two or three different blades, the thinnest first."
    within("base_blade", new.base_blade, 0.5 * THOU, 40 * THOU, blade, THOU)
    for leaf in new.blades:
        within("blades", leaf, 0.5 * THOU, 60 * THOU, blade, THOU)
    if not 1 <= len(new.blades) <= MOST_BLADES:
        wrong["blades"] = f"One blade at least, {MOST_BLADES} at most."
    within("recheck_km", new.recheck_km, 100, 100_000, units.of("distance"))
    within("recheck_months", new.recheck_months, 1, 120, Measure("months"))
    within("pulls", new.pulls, 0, 20, Measure("pulls"))
    within("oil_pressure_start", new.limits.oil_pressure_start, 0, 600 * KPA, pressure, KPA)
    within("oil_pressure_hot", new.limits.oil_pressure_hot, 0, 600 * KPA, pressure, KPA)
    cold = ZERO_CELSIUS
    within("coolant_most", new.limits.coolant, 80 + cold, 140 + cold, degrees, 1, cold)
    within("oil_most", new.limits.oil, 90 + cold, 170 + cold, degrees, 1, cold)
    within("least_time", new.heat.least_time, 0, 120 * MINUTE, Measure("minutes"), MINUTE)
    within("coolant_least", new.heat.coolant, 40 + cold, 110 + cold, degrees, 1, cold)
    within("oil_least", new.heat.oil, 40 + cold, 120 + cold, degrees, 1, cold)
    within("steady_for", new.heat.steady_for, MINUTE, 30 * MINUTE, Measure("minutes"), MINUTE)
    within("steady_within", new.heat.steady_within, 0.5, 10, degrees.span)
    initials = [one for one, _ in new.people]
    if any(not one or not name or len(one) > MOST_INITIALS or len(name) > LONGEST for one, name in new.people):
        wrong["people"] = f"On each line initials of at most {MOST_INITIALS} characters, then a name: KM Kim Miller"
    elif len(set(initials)) < len(initials):
        twice = next(one for one in initials if initials.count(one) > 1)
        wrong["people"] = f"{twice} stands for two people. Give one of them another letter."
    elif len(initials) > MOST_PEOPLE:
        wrong["people"] = f"At most {MOST_PEOPLE} people."
    return wrong


def change(shop: Database, key: str, version: int, new: Settings, why: str, by: str, at: str) -> int:
    """Store another version of the settings and return its id.

    Raises RefusedError by field, ConflictError when somebody changed them since ``version`` was shown.
    """
    key = checked(key)
    sent = fingerprint(new=to_json(new), why=why, version=version)
    with shop.writing() as session:
        if again := earlier(session, Setup, key, sent):
            return again.ident
        wrong = problems(new)
        if not by.strip():
            wrong["by"] = "Initials of whoever decides it."
        if len(why) > LONGEST:
            wrong["why"] = f"At most {LONGEST} characters fit here."
        if wrong:
            raise RejectedError(wrong)
        held, _ = stored_settings.now(session)
        if held != version:
            raise ConflictError({"": "Somebody changed the settings meanwhile. Theirs are shown; type yours again."})
        row = Setup(key=key, payload=sent, said=to_json(new), why=why.strip(), by=by.strip(), at=at)
        session.add(row)
        session.flush()
        return row.ident
