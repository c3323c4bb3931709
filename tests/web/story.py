"""A technician at the tablet: taps, forms and what stands on the page, by role and label as a person finds them."""

import random
import re
from collections.abc import Callable
from dataclasses import dataclass, field

from playwright.sync_api import Locator, Page, expect

from app.shop.demo.engine_model import DemoEngineModel
from app.sync.engine.layout import Bank, Coupler, Layout
from app.wording.work.phases import item_label

V8 = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)), sensor=8)
FIGURES = {
    "in": "0.003",
    "turns": "0.875",
    "V": "0.52",
    "kPa": "310",
    "kPa abs.": "101.3",
    "°C": "84",
    "pulls": "3",
    "rpm": "850",
    "h": "1140",
    "km": "41230",
    "degrees": "",
}
"""What is filled in, by unit; nobody lays an angle gauge here."""

REV_LIMIT = "3000"

IF_IT_APPLIES = ("intake-off", "hoses-off")
"""What is off, or led away, at some engines only."""

UNFOLDED = """(names) => {
  const folded = [...document.querySelectorAll("details:not([open]) > summary")]
    .filter((summary) => names.includes(summary.querySelector("b")?.textContent ?? ""));
  for (const summary of folded) summary.click();
  return folded.length === 0 && document.querySelector("form.checks-form")?.checkVisibility();
}"""
"""Looks and taps in one go, until nothing is folded: the page unfolds its list by itself a moment after it came."""

MOST_STEPS = 200
MOMENT = 800
"""Milliseconds after which the keys of the next reading stand in full."""


@dataclass
class Technician:
    """Drives one page of a real browser against an engine that answers with readings."""

    page: Page
    bench: DemoEngineModel = field(default_factory=lambda: DemoEngineModel(V8, random.Random(7)))
    moves: int = 0
    wait: Callable[[float], None] | None = None
    """Lets minutes go by for the shop computer. With it nothing is done that need not be, each tap as soon as it
    counts, the gauges are read as time goes by, and the clock of the page is under the hand of the test."""

    def press(self, name: str) -> None:
        """Press a button or follow a link by its name."""
        button, link = (self.page.get_by_role(role, name=name, exact=True) for role in ("button", "link"))
        button.or_(link).first.click()

    def heading(self) -> str:
        """What the entry box of the keypad is about."""
        return self.page.locator("#entry-heading").inner_text()

    def tap_reading(self, value: float) -> None:
        """Type a reading on the keypad: on the key that says it in full, or the whole number, then the quarter."""
        before = self.page.locator("form[data-keypad] input[name=key]").get_attribute("value")
        if self.wait is not None:
            self.page.clock.fast_forward(MOMENT)
        full = self.page.get_by_role("button", name=f"{value:.2f}", exact=True)
        if not full.count():
            for digit in str(int(value)):
                self.page.get_by_role("button", name=digit, exact=True).click()
            full = self.page.get_by_role("button", name=f".{round(value % 1 * 100):02d}", exact=True)
        full.click()
        self.after(before)

    def tap_speed(self, opening: float) -> None:
        """Type the engine speed that is asked for at an opening [m], and keep it."""
        assert self.heading() == "Engine speed"
        before = self.page.locator("form[data-keypad] input[name=key]").get_attribute("value")
        for digit in f"{self.bench.speed(opening):.0f}":
            self.page.get_by_role("button", name=digit, exact=True).click()
        self.page.locator("form[data-keypad]").get_by_role("button", name="Save", exact=True).click()
        self.after(before)

    def read_on(self, opening: float = 0.0) -> None:
        """Read every bore the page asks for until the round is closed."""
        for _ in range(MOST_STEPS):
            named = re.fullmatch(r"Bore (\d+)( again)?", self.heading())
            if named is None:
                return
            self.tap_reading(self.bench.read(int(named[1]), opening))

    def follow(self, moves: int = MOST_STEPS) -> None:
        """Make the moves the card names and read what it asks for, until it says to leave the plates alone, or so many
        moves were made.
        """
        for _ in range(MOST_STEPS):
            if self.moves >= moves:
                return
            named = re.fullmatch(r"Bore (\d+)( again|, extra reading)?", self.heading())
            if self.page.get_by_role("heading", name="No adjustment needed").count():
                return
            if self.page.get_by_role("button", name="Done as shown").count():
                self.make_move()
            elif named is not None:
                self.tap_reading(self.bench.read(int(named[1]), 0.0))
            else:
                self.press("Read one more round")
                expect(self.page.locator("#entry-heading")).to_have_text(re.compile("^Bore"))
        raise AssertionError("the engine never came even")

    def make_move(self) -> None:
        """Do at the engine what the card says, then say so."""
        card = self.page.get_by_role("region").filter(has=self.page.get_by_role("button", name="Done as shown"))
        said = {name: self._hidden(card, name) for name in ("kind", "place", "amount", "way", "leaf", "second_leaf")}
        if said["kind"] == "stop":
            self.bench.turn_stop(said["place"], float(said["amount"]) * (1 if said["way"] == "in" else -1))
        elif said["kind"] == "blade":
            near, far = map(int, said["place"].split("-"))
            self.bench.reset(Coupler(near, far), float(said["leaf"]) + float(said["second_leaf"] or 0))
        else:
            raise AssertionError(f"no move of this kind at idle: {said}")
        self.moves += 1
        sent = self._hidden(card, "key")
        self.press("Done as shown")
        self.after(sent)

    def record_everything(self) -> None:
        """Tick and fill in all that a steps page asks for, and keep it; on the heat page, minute by minute.

        Who takes their time answers the last thing asked for where it is asked.
        """
        expect(self.page.get_by_role("heading", name="Checklist")).to_be_visible()
        ask = self.page.locator("section.ask")
        if self.wait is not None and ask.count() and not self.page.get_by_text("Next: ").count():
            self.answer(ask)
            return
        self.open_the_list()
        if self.page.get_by_label("Read, minutes ago").is_visible():
            for ago in ("20", "10") if self.wait is None else ("",):
                self.read_gauges(ago)
            if self.wait is not None:
                self.wait(17)
            self.open_the_list()
        form = self.page.get_by_role("form", name="Checklist")
        sent = form.locator("input[name=key]").get_attribute("value")
        rest = form.get_by_role("button", name="Rest checked")
        together = set((rest.get_attribute("value") or "").split()) if rest.count() else set()
        for box in form.get_by_role("checkbox").all():
            name = box.get_attribute("name")
            if box.is_enabled() and name not in together and not (self.wait and name in IF_IT_APPLIES):
                box.check()
        for line in form.get_by_role("listitem").all():
            if self.wait is not None and line.get_by_text("if known").count():
                continue
            entry, unit = line.get_by_role("textbox"), line.locator(".unit")
            if entry.count() and not entry.input_value():
                limit = entry.get_attribute("name") == "rev-limit"
                self.fill_in(line, entry, REV_LIMIT if limit else FIGURES[unit.inner_text()])
        (rest if together else form.get_by_role("button", name="Save")).click()
        self.after(sent)

    def answer(self, ask: Locator) -> None:
        """Answer the one thing that is asked for, a figure with the keys of the page."""
        sent = ask.locator("form[aria-labelledby] input[name=key]").get_attribute("value")
        entry = ask.get_by_role("textbox")
        for digit in FIGURES[ask.locator(".unit").inner_text()] if entry.count() else "":
            ask.get_by_role("button", name=digit, exact=True).click()
        ask.get_by_role("button", name="Save" if entry.count() else "Checked").click()
        self.after(sent)

    def fill_in(self, line: Locator, entry: Locator, figure: str) -> None:
        """Tap the figure where the line offers it, else type it; a turn of a screw is made as advised."""
        zeros = "0*" if "." in figure else r"(\.0+)?"
        offered = line.get_by_role("button", name=re.compile(f"^Fill in {re.escape(figure)}{zeros}:"))
        if entry.get_attribute("name") == "preset-turns":
            offered = line.get_by_role("button", name=re.compile("^Fill in"))
        if offered.count():
            offered.click()
        else:
            self.type(entry, figure if self.wait is None else figure.removeprefix("0"))

    def type(self, entry: Locator, words: str) -> None:
        """Tap a field and type into it, key by key."""
        if words:
            entry.click()
            self.page.keyboard.type(words)

    def open_the_list(self) -> None:
        """One thing is asked at a time; show the whole list, and who takes their time also what is asked only where it
        applies."""
        names = ["The whole list", "Where it applies"][: 2 if self.wait is None else 1]
        self.page.wait_for_function(UNFOLDED, arg=names)

    def read_gauges(self, ago: str, coolant: str = "84", oil: str = "84") -> None:
        """Enter coolant and oil as they stood some minutes ago."""
        self.open_the_list()
        form = self.page.get_by_role("form", name="Checklist")
        sent = form.locator("input[name=key]").get_attribute("value")
        for label, value in (
            (item_label("coolant", ()), coolant),
            (item_label("oil", ()), oil),
            ("Read, minutes ago", ago),
        ):
            self.type(form.get_by_label(re.compile(rf"^{label}(, last| if|$)")), value)
        form.get_by_role("button", name="Save").click()
        self.after(sent)

    def blip(self) -> None:
        """Read the suspect bores after each of three blips, on the page that asks for them, and the idle where it is
        asked for again, and go on."""
        for _ in range(3):
            form = self.page.get_by_role("form", name="Checklist")
            expect(form.get_by_role("textbox", name=re.compile("after a blip")).first).to_be_visible()
            for line in form.get_by_role("listitem").filter(has_text="after a blip").all():
                entry = line.get_by_role("textbox")
                bore = int((entry.get_attribute("name") or "").removeprefix("snap-"))
                self.fill_in(line, entry, f"{self.bench.read(bore, 0.0):g}")
            speed = form.get_by_label(re.compile(f"^{item_label('idle-speed', ())}"))
            if not speed.input_value():
                self.type(speed, FIGURES["rpm"])
            sent = form.locator("input[name=key]").get_attribute("value")
            form.get_by_role("button", name="Save").click()
            self.after(sent)

    def after(self, key: str | None) -> None:
        """Wait for the page after a form was sent. Its key says which form: each is drawn with one of its own.

        Asked at every frame, since ``expect`` looks ten times a second at most, and a visit has a hundred forms.
        """
        self.page.wait_for_function(
            "(key) => !document.querySelector(`input[name=key][value='${key}'], main[aria-busy=true]`)", arg=key
        )

    @staticmethod
    def _hidden(card: Locator, name: str) -> str:
        found = card.locator(f"input[name={name}]")
        return (found.first.get_attribute("value") or "") if found.count() else ""


def opened(page: Page, hand: Technician) -> None:
    """A first visit, in the test cell."""
    hand.press("Open a visit")
    page.get_by_label("Test cell").check()
    page.get_by_label("Filter off").check()
    if hand.wait is None:
        page.get_by_label("Job number").fill("1184")
    hand.press("Fill in First sync")
    page.get_by_label("No, new or rebuilt engine").check()
    if hand.wait is None:
        page.get_by_label("Your initials").fill("KM")
    else:
        hand.press("Fill in KM")
    hand.press("Open the visit")


def lock_down(page: Page, hand: Technician) -> None:
    """Tightened, and read once more."""
    expect(page.get_by_role("heading", name="Lock-down")).to_be_visible()
    hand.record_everything()
    hand.read_on()


def signed_off(page: Page, hand: Technician, server: str) -> None:
    """Tightened, read once more, and signed; where the meter cannot tell, with a reason."""
    lock_down(page, hand)
    if page.get_by_role("link", name="Sign off").count() == 0:
        page.goto(f"{server}/visits/1/lock-down")
        page.get_by_text("Continue with a reason", exact=True).click()
        page.get_by_label("Reason (printed on the handover sheet)").fill(
            "The last round sits on the edge of the window"
        )
        hand.press("Save reason and continue")
    else:
        hand.press("Sign off")
    page.get_by_label("Full name of the responsible person").fill("Foreman of the yard")
    hand.press("Sign off")
