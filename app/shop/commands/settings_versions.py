"""Change the shop's settings: every change is stored as a version of its own."""

import math

from app.shop.at_site import own_site
from app.shop.errors import ConflictError, Problems, RejectedError
from app.shop.reasons import because
from app.shop.record import stored_settings
from app.shop.record.measures import RECORDED, Measure, Units
from app.shop.record.settings import ALTITUDES, OPENINGS, Settings, to_json
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import Setup
from app.sync.engine.units import KPA, MINUTE, THOU, ZERO_CELSIUS

LONGEST, LONGEST_NAME = 200, 60
MOST_BLADES = 60
MOST_PEOPLE, MOST_INITIALS = 60, 5
PER_CENT = Measure("%")


def problems(new: Settings, units: Units = RECORDED) -> Problems:
    """What is wrong with settings, by field, in ``units``."""
    wrong: Problems = {}

    blade, pressure, degrees = units.of("blade"), units.of("oil_pressure"), units.of("temperature")

    def within(
        name: str, value: float, low: float, high: float, unit: Measure, size: float = 1.0, zero: float = 0.0
    ) -> None:
        if not (math.isfinite(value) and low <= value <= high):
            least, most = (unit.figure((limit - zero) / size) for limit in (low, high))
            wrong[name] = because(Rejection.OUT_OF_RANGE, low=least, high=most, unit=unit.name)

    within("coarse_window", new.coarse_window, 0.05, 0.6, PER_CENT, 0.01)
    within("fine_window", new.fine_window, 0.01, 0.3, PER_CENT, 0.01)
    within("bank_window", new.bank_window, 0.01, 0.3, PER_CENT, 0.01)
    within("idle_bank_window", new.idle_bank_window, 0.01, 0.3, PER_CENT, 0.01)
    within("pass_probability", new.pass_probability, 0.8, 0.99, PER_CENT, 0.01)
    if "fine_window" not in wrong and new.fine_window > new.coarse_window:
        wrong["fine_window"] = because(Rejection.WIDER_THAN_FIRST_FIRE, most=PER_CENT.figure(100 * new.coarse_window))
    for opening in new.openings:
        within("openings", opening, *OPENINGS, blade, THOU)
    if not 2 <= len(new.openings) <= 3 or list(new.openings) != sorted(set(new.openings)):
        wrong["openings"] = because(Rejection.OPENING_FEELERS)
    within("base_blade", new.base_blade, 0.5 * THOU, 40 * THOU, blade, THOU)
    for leaf in new.blades:
        within("blades", leaf, 0.5 * THOU, 60 * THOU, blade, THOU)
    if not 1 <= len(new.blades) <= MOST_BLADES:
        wrong["blades"] = because(Rejection.FEELER_SET, most=MOST_BLADES)
    within("altitude", new.altitude, *ALTITUDES, units.height)
    within("recheck_km", new.recheck_km, 100, 100_000, units.of("distance"))
    within("recheck_hours", new.recheck_hours, 5, 5000, Measure("h"))
    within("recheck_months", new.recheck_months, 1, 120, Measure("months"))
    within("pulls", new.pulls, 0, 20, Measure("pulls"))
    within("oil_pressure_start", new.limits.oil_pressure_start, 0, 600 * KPA, pressure, KPA)
    within("oil_pressure_hot", new.limits.oil_pressure_hot, 0, 600 * KPA, pressure, KPA)
    cold = ZERO_CELSIUS
    within("coolant_most", new.limits.coolant, 80 + cold, 140 + cold, degrees, 1, cold)
    within("head_most", new.limits.head, 150 + cold, 300 + cold, degrees, 1, cold)
    within("oil_most", new.limits.oil, 90 + cold, 170 + cold, degrees, 1, cold)
    within("least_time", new.heat.least_time, 0, 120 * MINUTE, Measure("minutes"), MINUTE)
    within("coolant_least", new.heat.coolant, 40 + cold, 110 + cold, degrees, 1, cold)
    within("head_least", new.heat.head, 60 + cold, 200 + cold, degrees, 1, cold)
    within("oil_least", new.heat.oil, 40 + cold, 120 + cold, degrees, 1, cold)
    within("steady_for", new.heat.steady_for, MINUTE, 30 * MINUTE, Measure("minutes"), MINUTE)
    within("steady_within", new.heat.steady_within, 0.5, 10, degrees.span)
    within("lasts", new.heat.lasts, 5 * MINUTE, 120 * MINUTE, Measure("minutes"), MINUTE)
    within("pause", new.pause, 5 * MINUTE, 60 * MINUTE, Measure("minutes"), MINUTE)
    within("gap", new.gap, 5 * MINUTE, 240 * MINUTE, Measure("minutes"), MINUTE)
    wrong |= _letterhead_problems(new)
    initials = [one for one, _ in new.people]
    if any(not one or not name or len(one) > MOST_INITIALS or len(name) > LONGEST for one, name in new.people):
        wrong["people"] = because(Rejection.PEOPLE_LINES, most=MOST_INITIALS)
    elif len(set(initials)) < len(initials):
        twice = next(one for one in initials if initials.count(one) > 1)
        wrong["people"] = because(Rejection.INITIALS_TWICE, initials=twice)
    elif len(initials) > MOST_PEOPLE:
        wrong["people"] = because(Rejection.TOO_MANY_PEOPLE, most=MOST_PEOPLE)
    return wrong


def _letterhead_problems(new: Settings) -> Problems:
    """What is wrong with the head of what is printed: it has the room of a line, and of a few below it."""
    wrong: Problems = {}
    if len(new.shop_name) > LONGEST_NAME:
        wrong["shop_name"] = because(Rejection.TOO_LONG, most=LONGEST_NAME)
    if len(new.shop_address) > LONGEST:
        wrong["shop_address"] = because(Rejection.TOO_LONG, most=LONGEST)
    return wrong


def change(shop: Database, key: str, version: int, new: Settings, why: str, by: str, at: str) -> int:
    """Store another version of the settings and return its id.

    Raises RejectedError by field, ConflictError when they were changed since ``version`` was shown.
    """
    key = checked(key)
    sent = fingerprint(new=to_json(new), why=why, version=version)
    with shop.writing() as session:
        if again := earlier(session, Setup, key, sent):
            return again.ident
        wrong = problems(new)
        if not by.strip():
            wrong["by"] = because(Rejection.INITIALS_MISSING)
        if len(why) > LONGEST:
            wrong["why"] = because(Rejection.TOO_LONG, most=LONGEST)
        if wrong:
            raise RejectedError(wrong)
        held, _ = stored_settings.now(session)
        if held != version:
            raise ConflictError({"": because(Rejection.CHANGED_BY_ANOTHER_TABLET)})
        row = Setup(key=key, payload=sent, said=to_json(new), why=why.strip(), by=by.strip(), at=at, site_id=own_site())
        session.add(row)
        session.flush()
        return row.ident
