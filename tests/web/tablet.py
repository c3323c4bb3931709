"""A tablet at the reading page behind a bad link: what a technician does there, and what the page says."""

import json
import os
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import BrowserContext, Locator, Page, Playwright, expect
from playwright.sync_api import Error as PlaywrightError

from app.places import static
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.wording.message import say
from app.wording.program.scripts import WORDS, bundle
from tests.browser import NewContext, flags, installed
from tests.shop.yard import visit_record

SIZE = (1280, 800)
ALONE = "http://evenbore.test/"
PATIENCE = 30.0
"""Seconds that something is waited for."""

MOMENT, PAUSE = 150, 2_000
"""Milliseconds in which a tablet may do what is due, and that then go by for it: less than it waits for an answer."""


def said(name: str, **values: object) -> str:
    """A text that the scripts show."""
    return say(WORDS[name], **values)


@dataclass
class Tablet:
    """One tab of one tablet."""

    page: Page
    context: BrowserContext

    def open(self, address: str, visit_id: int) -> None:
        """Open the readings of the heat-soaked recheck."""
        self.page.goto(f"{address}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
        expect(self.page.get_by_role("button", name="Skip")).to_be_visible()

    def tap(self, value: str) -> None:
        """Tap a reading such as 6.25: digits, then the key that keeps it. The page may take its time to go on."""
        whole, part = value.split(".")
        for digit in whole:
            self.page.get_by_role("button", name=digit, exact=True).click()
        self.page.get_by_role("button", name=f".{part}", exact=True).click()

    def read(self, value: str, then: str) -> None:
        """Tap a reading, and see the keypad go on to ``then``."""
        self.tap(value)
        expect(self.page.locator("#entry-heading")).to_have_text(then)

    def tile(self, bore: int) -> Locator:
        """The tile of a bore."""
        return self.page.locator(f"a.tile[data-bore='{bore}']")

    @property
    def bar(self) -> Locator:
        """Where the readings are."""
        return self.page.locator("#link-state")

    def is_saved(self) -> None:
        """Everything that was held has gone over, as the script says, not the page as served."""
        self.in_time(self.bar.and_(self.page.locator(".is-told")), "All saved")

    def in_time(self, place: Locator, words: str) -> None:
        """See words come, with the pauses that the scripts make gone by at once, in the page's own time."""
        until = time.monotonic() + PATIENCE
        while True:
            try:
                expect(place).to_contain_text(words, timeout=MOMENT)
            except AssertionError:
                if time.monotonic() > until:
                    raise
                self.page.clock.fast_forward(PAUSE)
            else:
                return


def show_with_script(page: Page, html: str, script: str) -> None:
    """Show a piece of a page together with one script of the program and the texts that it shows."""
    words = f'<script id="words" type="application/json">{json.dumps(bundle())}</script>'
    loaded = f'<script src="/static/{script}" type="module"></script>'
    page.route(f"{ALONE}static/*", lambda route: route.fulfill(path=static() / route.request.url.split("/")[-1]))
    page.route(
        ALONE, lambda route: route.fulfill(body=f"{words}{html}{loaded}", content_type="text/html; charset=utf-8")
    )
    page.goto(ALONE)


def tablet(new_context: NewContext) -> Tablet:
    """A tablet with an empty memory."""
    context = new_context(has_touch=True)
    context.clock.install()
    return Tablet(context.new_page(), context)


@contextmanager
def started_tablet(playwright: Playwright, memory: Path) -> Iterator[Tablet]:
    """A tablet that remembers in a folder, in a browser of its own."""
    context = playwright.chromium.launch_persistent_context(memory, executable_path=installed(), args=flags())
    context.set_default_timeout(15_000)
    yield Tablet(context.new_page(), context)
    with suppress(PlaywrightError):  # it may have been killed
        context.close()


def kill_browser(memory: Path) -> None:
    """End every process of the browser that remembers in a folder, as a battery does. Needs /proc."""
    for found in Path("/proc").glob("[0-9]*/cmdline"):
        with suppress(OSError):
            if f"--user-data-dir={memory}".encode() in found.read_bytes().split(b"\0"):
                os.kill(int(found.parent.name), signal.SIGKILL)


def entered(shop: Database, visit_id: int) -> list[tuple[int, str, float | None]]:
    """Every reading of the visit's hot rounds in the order stored: bore, kind, value."""
    rounds = [one for one in visit_record(shop, visit_id).rounds if one.row.phase == HEAT_SOAKED.slug]
    return [(r.bore, r.kind, r.value) for one in rounds for r in one.entered]
