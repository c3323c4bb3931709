"""A visit that goes wrong as visits do: a stop, a pause of two days, a double tap, a mistaken move and reading."""

import random
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from playwright.sync_api import Locator, Page, expect

from app.shop.assessment.progress import items_of
from app.shop.commands import checks
from app.shop.demo.engine_model import DemoEngineModel
from app.shop.demo.technician import DemoTechnician
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from tests.serving import serving
from tests.shop.yard import FOUR, engine
from tests.web.story import Technician

BEGUN = datetime(2026, 3, 2, 8, tzinfo=UTC)
EVEN, HIGH, MISTYPED = 6.5, 9.0, 5.5
REMEDY = "Hose clamp tightened, filled up"


class Even(DemoEngineModel):
    """An engine that reads the same at every bore, once bore 4 is set."""

    def read(self, bore: int, opening: float) -> float:
        return EVEN


@dataclass
class Interrupted:
    """One visit of a four in a row at a place; ``hands`` does beside the page what is not the point, by one clock."""

    page: Page
    address: str
    hands: DemoTechnician
    place: str
    bench: DemoEngineModel = field(default_factory=lambda: Even(FOUR, random.Random(3)))

    def __post_init__(self) -> None:
        self.person = Technician(self.page, self.bench)
        number = self.hands.open(engine(self.hands.shop, FOUR), self.place, "1184", "First sync")
        self.home = f"{self.address}/visits/{number}"
        self.hands.check(number, COLD_PRESET)

    @property
    def record(self) -> VisitRecord:
        """What is recorded by now."""
        return self.hands.record(1)

    def see(self, phase: Phase, page: str = "") -> None:
        """Open a page of a phase."""
        self.page.goto(f"{self.home}/{phase.slug}{page}")

    def ready_for_the_key(self) -> None:
        """Everything of first fire but what is looked at once the engine runs."""
        asked = items_of(self.record, FIRST_FIRE)
        first: dict[str, float | None] = {item.slug: None for item in asked if item.before_running and item.needed}
        checks.record(self.hands.shop, 1, self.hands.key(), FIRST_FIRE.slug, first, "KM", self.hands.at())

    def stopped_by(self, figure: str, cause: str) -> None:
        """The screen of the stop says the figure, and ends with its cause and remedy; then the start list."""
        expect(self.page.get_by_role("heading", name="Stop the engine")).to_be_visible()
        expect(self.page.locator(".stopped-figure")).to_contain_text(figure)
        self.page.get_by_text(cause, exact=True).click()
        self.page.get_by_label("Remedy: what was done about it").fill(REMEDY)
        self.person.press("End the stop")
        self.started()

    def started(self) -> None:
        """The list before a start, ticked line by line."""
        expect(self.page.get_by_role("heading", name="Before the engine starts")).to_be_visible()
        for box in self.page.get_by_role("form", name="Start list").get_by_role("checkbox").all():
            box.check()
        self.person.press("Engine started")
        expect(self.page.get_by_role("heading", name="Before the engine starts")).to_have_count(0)

    def hot(self) -> None:
        """First fire and its round, where they are not done, and the engine warmed through."""
        if self.hands.missing(1, FIRST_FIRE):
            self.hands.check(1, FIRST_FIRE)
            self.hands.read_round(1, FIRST_FIRE, self.bench)
        self.hands.check(1, HEAT_SOAKED)
        self.see(HEAT_SOAKED, "/readings")
        expect(self.page.locator("#entry-heading")).to_have_text("Bore 1")

    def two_days_in_the_middle(self) -> None:
        """Two bores are read, and nothing more for two days: start list, gauges, a new round."""
        for _ in range(2):
            self.tap(EVEN)
        self.hands.now += timedelta(days=2)
        self.see(HEAT_SOAKED, "/readings")
        expect(
            self.page.get_by_text("Nothing was entered for 2 days, so the engine counts as stopped.")
        ).to_be_visible()
        self.person.press("Open the start list")
        expect(self.page.get_by_text("was left open and is void. A new round begins with bore 1.")).to_be_visible()
        self.started()
        expect(self.page.get_by_role("heading", name="Not heat-soaked yet")).to_be_visible()
        self.hot()

    def read_wrong(self) -> None:
        """A round with bore 2 mistyped and bore 4 high; the last key of bore 1 is hit twice."""
        self.tap(EVEN, twice=True)
        expect(self.page.locator("#entry-heading")).to_have_text("Bore 2")
        for value in (MISTYPED, EVEN, HIGH, EVEN):
            self.tap(value)
        expect(self.done_as_shown).to_be_visible()
        assert [r.bore for r in self.record.rounds[-1].entered] == [1, 2, 3, 4, 1]

    @property
    def done_as_shown(self) -> Locator:
        """The button that says the move was made."""
        return self.page.get_by_role("button", name="Done as shown")

    def move_with_two_taps(self) -> str:
        """Make the move that is shown with a double tap, which counts once; what the strip says was done."""
        before = len(self.record.moves)
        self.page.wait_for_function("() => !document.querySelector('[data-arming], .htmx-added, .htmx-settling')")
        sent = self.page.locator("section.move form input[name=key]").get_attribute("value")
        self.done_as_shown.dblclick()
        self.person.after(sent)
        strip = self.page.locator(".just-saved p")
        expect(self.page.locator("[data-arming]")).to_have_count(0)
        moves = self.record.moves
        assert len(moves) == before + 1
        expect(self.page).to_have_url(re.compile(f"saved=move-{moves[-1].ident}$"))
        return re.sub(r"\s+", " ", strip.inner_text()).removeprefix("Saved: ")

    def recorded(self) -> None:
        """Open the list of what was recorded, from the steps."""
        self.see(HEAT_SOAKED)
        self.person.press("Correct an adjustment or a reading")

    def reading_put_right(self) -> None:
        """Bore 2 is corrected although the engine was adjusted since."""
        self.recorded()
        self.page.get_by_role("link", name=f"Correct bore 2, {MISTYPED:.2f}").click()
        self.page.get_by_label("Correct value").fill(f"{EVEN}")
        self.page.get_by_role("button", name="Save").click()
        expect(self.page.get_by_role("link", name=f"Correct bore 2, {MISTYPED:.2f}")).to_have_count(0)

    def to_the_end(self) -> str:
        """Evened out, tightened, signed off on the page; the words of the sheet."""
        self.hands.even_out(1, self.bench)
        self.hands.check(1, LOCK_DOWN)
        self.hands.read_round(1, LOCK_DOWN, self.bench)
        assert not self.hands.missing(1, LOCK_DOWN)
        self.page.goto(f"{self.home}/sign-off")
        self.page.get_by_label("Full name of the responsible person").fill("Foreman of the yard")
        self.person.press("Sign off")
        expect(self.page.get_by_role("heading", name="Handover sheet").first).to_be_visible()
        return " ".join(re.sub(r"\s+", " ", text) for text in self.page.locator("article.sheet").all_inner_texts())

    def adjustments(self) -> str:
        """What the sheet says was done."""
        heading = self.page.get_by_role("heading", name=re.compile(r"^Adjustments(, all \d+)?$"))
        done = self.page.locator("section").filter(has=heading)
        return re.sub(r"\s+", " ", done.inner_text())

    def tap(self, value: float, twice: bool = False) -> None:
        """Type a reading; ``twice``: its last key is hit once more at once."""
        before = self.page.locator("form[data-keypad] input[name=key]").get_attribute("value")
        self.page.get_by_role("button", name=str(int(value)), exact=True).click()
        self.page.get_by_role("button", name=f".{value % 1 * 100:02.0f}", exact=True).click(
            click_count=2 if twice else 1
        )
        self.person.after(before)


@contextmanager
def interrupted(shop: Database, page: Page, place: str) -> Iterator[Interrupted]:
    """A visit at a place, its engine preset cold, on a server that goes by the clock of the hands."""
    hands = DemoTechnician(shop, random.Random(11), BEGUN)
    with serving(shop, clock=lambda: hands.now) as address:
        yield Interrupted(page, address, hands, place)
