"""The browser that the page tests drive: found, or fetched, and started the same way everywhere.

``python -m tests.browser`` makes sure there is one.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable

from playwright.sync_api import Browser, BrowserContext, Playwright, sync_playwright

NewContext = Callable[..., BrowserContext]
"""Makes a browser context of its own, as the fixture ``new_context`` of pytest-playwright does."""

NAMES = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
"""The lightest first: the others draw a window around every page, which nobody sees, and take twice its work."""

QUIET = (
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-features=WebUIOmniboxPopup,WebUIOmniboxAimPopup",  # two more pages behind every window
    "--disable-gpu",
    "--disable-quic",
    "--disable-sync",
    "--js-flags=--no-opt --no-maglev",  # a page lives for a second, too short to pay for faster code
    "--no-first-run",
)
"""A test browser talks to the server under test and to nobody else, and waits for nothing that nobody sees."""


def installed() -> str | None:
    """The path in CHROMIUM, or else of the system's Chromium or Chrome; None leaves it to Playwright's own."""
    return os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)


def as_root() -> bool:
    """Whether this runs as root, which Windows does not have."""
    return hasattr(os, "geteuid") and os.geteuid() == 0


def flags() -> list[str]:
    """What a test browser is started with."""
    return [*QUIET, "--no-sandbox"] if as_root() else list(QUIET)


def launch(playwright: Playwright) -> Browser:
    """A headless Chromium. It goes without its sandbox only as root, where it has to."""
    return playwright.chromium.launch(executable_path=installed(), args=flags())


def main() -> None:
    """Fetch Playwright's Chromium when the system has none, then start the one there is, so that a failure is early."""
    if installed() is None:
        with_libraries = ["--with-deps"] if as_root() or shutil.which("sudo") else []
        subprocess.run([sys.executable, "-m", "playwright", "install", *with_libraries, "chromium"], check=True)
    with sync_playwright() as playwright, launch(playwright) as browser:
        print(f"Tests use Chromium {browser.version}")
    if (found := installed()) is not None and found.endswith(NAMES[1:]):
        print(f"{NAMES[0]}, where the system has it, takes half the work of {found}")


if __name__ == "__main__":
    main()
