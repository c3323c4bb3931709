"""The screens that pages are held on, and what is wrong with a page on one of them."""

from collections.abc import Mapping
from pathlib import Path

from playwright.sync_api import Page, ViewportSize

SIZES: Mapping[str, ViewportSize] = {
    "landscape": {"width": 1280, "height": 800},
    "portrait": {"width": 800, "height": 1280},
    "short": {"width": 1280, "height": 690},
    "phone": {"width": 390, "height": 844},
}
"""A ten-inch tablet both ways up and with the bars of its browser showing, and a telephone."""

LEAST_GAP = 8
"""CSS pixels between what can be tapped (our judgement, for a gloved finger)."""

LARGE_TEXT = "--blink-settings=defaultFontSize=32"
"""Starts the browser with text at twice the size, as a person sets it in its settings."""

LOOK = Path(__file__).with_suffix(".js").read_text(encoding="utf-8")
"""Run on a page with the least gap: what is wrong with it, one line each."""


THERE = "size => document.fonts.status === 'loaded' && innerWidth === size.width && innerHeight === size.height"


def faults_on_screen(page: Page, size: ViewportSize) -> list[str]:
    """What is cut, what is wider than the screen and what is too close to tap, on the page at that size."""
    page.set_viewport_size(size)
    page.wait_for_function(THERE, arg=size)
    return [f"{page.url}: {one}" for one in page.evaluate(LOOK, [LEAST_GAP])]
