"""Settings of the shop: kept version by version, judged by as they were when the visit was opened."""

from dataclasses import replace
from typing import Any

import pytest

from app.shop.assessment.advising import starting
from app.shop.assessment.round_results import evenness_of
from app.shop.commands import checks, settings_versions
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.procedure.read_order import next_opening
from app.shop.record import stored_settings
from app.shop.record.settings import DEFAULTS, SOURCES, Settings, from_json, to_json
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.engine_air import Ambient
from app.sync.engine.units import KPA, THOU
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import AT, FOUR, V8, check_all, engine, heat_soaked, key, read_round, visit, visit_record


def change(shop: Database, new: Settings) -> int:
    with shop.reading() as session:
        version, _ = stored_settings.now(session)
    return settings_versions.change(shop, key(), version, new, "", "KM", AT)


def test_settings_survive_their_text() -> None:
    other = replace(
        DEFAULTS,
        people=(("KM", "First of all"),),
        shop_name="Yard",
        shop_address="1\n2",
        fine_window=0.05,
        blades=(2 * THOU, 3 * THOU),
        pulls=0,
    )
    assert from_json(to_json(other)) == other
    assert from_json("{}") == DEFAULTS


def test_every_default_says_where_it_comes_from() -> None:
    assert settings_versions.problems(DEFAULTS) == {}
    assert all(SOURCES.values())


def test_an_open_visit_keeps_the_settings_it_was_opened_under(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    change(shop, replace(DEFAULTS, fine_window=0.02))
    told = visit_record(shop, visit_id)
    assert told.settings == DEFAULTS
    later = visit(shop, engine(shop, FOUR, serial="another"))
    assert visit_record(shop, later).settings.fine_window == 0.02
    wide, narrow = (evenness_of(told, told.rounds[-1], w).tolerance for w in (told.settings.fine_window, 0.02))
    assert wide == pytest.approx(4 * narrow)


def test_a_limit_of_the_shop_stops_the_phase(shop: Database) -> None:
    change(shop, replace(DEFAULTS, limits=replace(DEFAULTS.limits, coolant=273.15 + 84)))
    with pytest.raises(RejectedError, match="coolant-hot"):
        read_round(shop, heat_soaked(shop, FOUR), HEAT_SOAKED)  # its coolant is at 85


def test_somebody_elses_change_is_not_overwritten(shop: Database) -> None:
    change(shop, replace(DEFAULTS, pulls=5))
    with rejects(Rejection.CHANGED_BY_ANOTHER_TABLET, kind=ConflictError):
        settings_versions.change(shop, key(), 0, replace(DEFAULTS, pulls=7), "", "AL", AT)
    with shop.reading() as session:
        assert stored_settings.now(session)[1].pulls == 5


def test_the_same_change_sent_twice_is_one_version(shop: Database) -> None:
    sent = key()
    first, second = (
        settings_versions.change(shop, sent, 0, replace(DEFAULTS, pulls=5), "", "KM", AT) for _ in range(2)
    )
    assert first == second
    with shop.reading() as session:
        assert [names for _, names in stored_settings.history(session)] == [("pulls",)]


@pytest.mark.parametrize(
    ("name", "value", "code"),
    [
        ("coarse_window", 0.9, Rejection.OUT_OF_RANGE),
        ("fine_window", 0.3, Rejection.WIDER_THAN_FIRST_FIRE),
        ("bank_window", 0.0, Rejection.OUT_OF_RANGE),
        ("idle_bank_window", 0.5, Rejection.OUT_OF_RANGE),
        ("people", (("KMKMKM", "Long"),), Rejection.PEOPLE_LINES),
        ("openings", (10 * THOU,), Rejection.OPENING_FEELERS),
        ("openings", (30 * THOU, 10 * THOU), Rejection.OPENING_FEELERS),
        ("openings", (10 * THOU, 20 * THOU, 30 * THOU, 40 * THOU), Rejection.OPENING_FEELERS),
        ("base_blade", float("nan"), Rejection.OUT_OF_RANGE),
        ("blades", (), Rejection.FEELER_SET),
        ("blades", (200 * THOU,), Rejection.OUT_OF_RANGE),
        ("recheck_km", 0, Rejection.OUT_OF_RANGE),
        ("pulls", -1, Rejection.OUT_OF_RANGE),
    ],
)
def test_what_cannot_be_is_refused(shop: Database, name: str, value: object, code: Rejection) -> None:
    with pytest.raises(RejectedError) as refusal:
        change(shop, replace(DEFAULTS, **{name: value}))  # type: ignore[arg-type]
    assert codes_of(refusal) == {name: code}


MINUTE, HOUR, ICE = 60.0, 3600.0, 273.15
RANGES = (
    ("coarse_window", "coarse_window", 0.08, 0.6),
    ("fine_window", "fine_window", 0.01, 0.25),
    ("bank_window", "bank_window", 0.01, 0.3),
    ("idle_bank_window", "idle_bank_window", 0.01, 0.3),
    ("pass_probability", "pass_probability", 0.8, 0.99),
    ("base_blade", "base_blade", 12.7e-6, 1.016e-3),
    ("recheck_km", "recheck_km", 100, 100_000),
    ("recheck_hours", "recheck_hours", 5, 5000),
    ("recheck_months", "recheck_months", 1, 120),
    ("pulls", "pulls", 0, 20),
    ("pause", "pause", 5 * MINUTE, HOUR),
    ("gap", "gap", 5 * MINUTE, 4 * HOUR),
    ("oil_pressure_start", "limits.oil_pressure_start", 0, 600e3),
    ("oil_pressure_hot", "limits.oil_pressure_hot", 0, 600e3),
    ("coolant_most", "limits.coolant", 80 + ICE, 140 + ICE),
    ("head_most", "limits.head", 150 + ICE, 300 + ICE),
    ("oil_most", "limits.oil", 90 + ICE, 170 + ICE),
    ("least_time", "heat.least_time", 0, 2 * HOUR),
    ("coolant_least", "heat.coolant", 40 + ICE, 110 + ICE),
    ("head_least", "heat.head", 60 + ICE, 200 + ICE),
    ("oil_least", "heat.oil", 40 + ICE, 120 + ICE),
    ("steady_for", "heat.steady_for", MINUTE, 30 * MINUTE),
    ("steady_within", "heat.steady_within", 0.5, 10),
    ("lasts", "heat.lasts", 5 * MINUTE, 2 * HOUR),
)
"""What a shop may set, in SI units; the fine window no wider than the coarse one, each beside the other's default."""


def changed(path: str, value: float) -> Settings:
    """The defaults with one figure changed."""
    group, _, name = path.rpartition(".")
    some: Any = {name: value} if not group else {group: replace(getattr(DEFAULTS, group), **{name: value})}
    return replace(DEFAULTS, **some)


@pytest.mark.parametrize(("field", "path", "least", "most"), RANGES, ids=[one[0] for one in RANGES])
def test_a_figure_is_taken_up_to_its_ends_and_no_further(field: str, path: str, least: float, most: float) -> None:
    within, step = (least, most), (most - least) / 1000
    assert [settings_versions.problems(changed(path, value)) for value in within] == [{}, {}]
    beyond = [settings_versions.problems(changed(path, value)) for value in (least - step, most + step)]
    assert [field in one or "fine_window" in one for one in beyond] == [True, True]


def test_three_openings_are_read_when_the_shop_has_three(shop: Database) -> None:
    change(shop, replace(DEFAULTS, openings=(10 * THOU, 20 * THOU, 30 * THOU)))
    visit_id = heat_soaked(shop, V8)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, BANK_BALANCE)
    for _ in range(3):
        read_round(shop, visit_id, BANK_BALANCE)
    told = visit_record(shop, visit_id)
    mine = [r for r in told.rounds if r.row.phase == BANK_BALANCE.slug]
    assert [round(r.row.opening / THOU) for r in mine] == [10, 20, 30]
    assert next_opening(told, mine) is None


def test_the_air_of_a_visit_is_that_recorded_last_else_by_the_altitude_of_the_shop(shop: Database) -> None:
    change(shop, replace(DEFAULTS, altitude=2000.0))
    visit_id = heat_soaked(shop, FOUR)
    # US Standard Atmosphere 1976, geopotential altitude.
    assert visit_record(shop, visit_id).ambient.pressure == pytest.approx(79495.2, abs=0.1)
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"air-pressure": 83.5, "air-temperature": 30.0}, "KM", AT)
    assert visit_record(shop, visit_id).ambient == Ambient(83.5 * KPA, 303.15)


def test_a_shop_up_the_mountain_presets_wider(shop: Database) -> None:
    low = starting(visit_record(shop, visit(shop, engine(shop, FOUR))))
    change(shop, replace(DEFAULTS, altitude=1000.0))
    high = starting(visit_record(shop, visit(shop, engine(shop, FOUR, serial="another"))))
    assert 1.1 * low.turns < high.turns < 1.4 * low.turns


def test_the_ends_of_a_range_are_told_in_the_units_of_the_shop() -> None:
    """Held in kelvins, seconds and meters (0 °C is 273.15 K, 1 in 25.4 mm: NIST SP 811, appendix B)."""
    beyond = replace(
        DEFAULTS,
        base_blade=1.0,
        limits=replace(DEFAULTS.limits, head=1000.0, coolant=1000.0, oil=1000.0),
        heat=replace(DEFAULTS.heat, lasts=0.0, head=0.0, coolant=0.0, oil=0.0),
    )
    ends = {
        name: (reason.values["low"], reason.values["high"], reason.values["unit"])
        for name, reason in settings_versions.problems(beyond).items()
    }
    most = {"head_most": (150, 300), "coolant_most": (80, 140), "oil_most": (90, 170)}
    least = {"head_least": (60, 200), "coolant_least": (40, 110), "oil_least": (40, 120)}
    for name, (low, high) in (most | least).items():
        assert ends[name] == (low, high, "°C")
    assert ends["lasts"] == (5, 120, "minutes")
    assert ends["base_blade"] == (0.5, 40, "thou")
