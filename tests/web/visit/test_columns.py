"""A visit by a vacuum gauge in a shop at 1,600 m, from the cold preset to the sheet, on a tablet."""

import re
from dataclasses import dataclass, replace

import pytest
from playwright.sync_api import Page, expect

from app.shop.commands import engines, meters
from app.shop.commands.meters import NewMeter
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.record import loader
from app.shop.store.database import Database
from app.sync.engine.events import BladeReset, Meter, Reading, StopTurn
from app.sync.engine.layout import Coupler
from app.sync.engine.units import KPA, LITER, THOU
from tests.shop.yard import AT, FACTS, FOUR, check_all, engine, key, visit, visit_record
from tests.sync.column_engines import HARDWARE, ColumnEngine
from tests.web import story
from tests.web.story import Technician
from tests.web.tablet import Tablet

PRESSURE = 83.5
"""Of the day [kPa absolute]."""
SEED = 10
"""Of an engine with a bore outside the window as it comes."""


@dataclass
class GaugeBench:
    """The engine as hands and a gauge in quarters of a kilopascal find it."""

    engine: ColumnEngine

    def read(self, bore: int, opening: float) -> float:
        """What the gauge shows at idle [kPa]: one bank has no other opening to be read at."""
        assert opening == 0
        self.engine.read(bore, closing=False)
        shown = self.engine.events.pop()
        assert isinstance(shown, Reading)
        return float(shown.value / KPA)

    def turn_stop(self, bank: str, turns: float) -> None:
        """Turn the stop screw of a bank."""
        self.engine.make(StopTurn(bank, turns, 0.0))

    def reset(self, coupler: Coupler, thou: float) -> None:
        """Reset a coupler on a feeler of so many thousandths of an inch."""
        self.engine.make(BladeReset(coupler.near, coupler.far, thou * THOU, (thou * THOU,), 0.0))


def opened(page: Page, hand: Technician, server: str, engine_id: int) -> None:
    """A first visit, read by the gauge."""
    page.goto(f"{server}/engines/{engine_id}/visits/new")
    page.get_by_label("Test cell").check()
    page.get_by_label("Not yet with these throttles").check()
    page.get_by_label("As it runs").check()
    page.get_by_label("Meter", exact=True).select_option(label="Gauge, kPa")
    page.get_by_label("Your initials").fill("KM")
    hand.press("Open the visit")


def test_a_gauge_s_value_that_cannot_be_is_asked_back(page: Page, server: str, shop: Database) -> None:
    gauge = meters.register(shop, key(), NewMeter("Gauge", "kPa", 0.25, 0, 95))
    visit_id = visit(shop, engine(shop, FOUR), meter=gauge)
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    page.goto(f"{server}/visits/{visit_id}/{FIRST_FIRE.slug}/readings")
    hand = Tablet(page, page.context)
    for then in ("Bore 2", "Bore 3", "Bore 4"):
        hand.read("60.00", then=then)
    hand.is_saved()
    hand.tap("6.00")
    expect(page.locator("#entry-message")).to_contain_text("Is 6 right?")
    assert len(visit_record(shop, visit_id).rounds[-1].entered) == 3
    page.get_by_role("button", name=".00", exact=True).click()
    expect(page.locator("#entry-heading")).to_have_text("Bore 1 again")
    hand.is_saved()
    assert visit_record(shop, visit_id).rounds[-1].latest[4].value == 6.0


@pytest.mark.slow
def test_a_visit_by_a_gauge_at_altitude(
    page: Page, server: str, shop: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(story.FIGURES, "kPa abs.", str(PRESSURE))
    meters.register(shop, key(), NewMeter("Gauge", "kPa", 0.25, 0, 80))
    engine_id = engines.register(shop, key(), replace(FACTS, displacement=2 * LITER), FOUR, HARDWARE, AT)
    engine = ColumnEngine(SEED, 16 * KPA, Meter("vacuum", 0.25 * KPA, 0.005, PRESSURE * KPA), PRESSURE * KPA, FOUR)
    assert engine.worst > 0.08
    hand = Technician(page, GaugeBench(engine))  # type: ignore[arg-type]
    opened(page, hand, server, engine_id)
    hand.record_everything()
    expect(page.get_by_role("heading", name="First fire")).to_be_visible()
    hand.record_everything()
    hand.read_on()
    hand.press("Continue with heat-soaked recheck")
    expect(page.get_by_role("heading", name="Heat-soaked recheck")).to_be_visible()
    hand.record_everything()
    hand.follow()
    assert hand.moves > 0
    assert engine.worst < 0.08
    hand.press("Show what is missing")
    expect(page.get_by_role("heading", name="Checklist")).to_be_visible()
    hand.record_everything()
    expect(page.get_by_role("heading", name="Lock-down")).to_be_visible()
    hand.record_everything()
    hand.read_on()
    hand.press("Sign off")
    page.get_by_label("Full name of the responsible person").fill("Foreman of the yard")
    hand.press("Sign off")
    expect(page.get_by_role("heading", name="Handover sheet").first).to_be_visible()
    assert engine.worst < 0.08
    lowest = page.get_by_role("row", name=re.compile(r"^4 10\.\d+ \+\d+\s%"))  # least vacuum, most air
    expect(lowest).to_be_visible()
    expect(page.get_by_text("Air: 83.5\u00a0kPa abs.")).to_be_visible()
    with shop.reading() as session:
        record = loader.load(session, 1)
    assert record.sign_off is not None
    assert record.meter_as_read().ambient == pytest.approx(PRESSURE * KPA)
    assert len(record.moves) == hand.moves
