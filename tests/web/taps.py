"""Taps that a job takes: every touch of a page and every key typed, counted in the page and told apart by what for."""

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import BrowserContext

COUNT = """
const told = (event) => {
  const at = event.target instanceof Element ? event.target : document.body;
  const on = at.closest("[data-keypad]") ? "keypad"
    : at.closest("input[type=checkbox], input[type=radio], label.record-tick, label.choice") ? "ticks"
    : event.type === "keydown" || at.closest("input, textarea, select, .boxed, [data-fill]") ? "figures and words"
    : "buttons and links";
  window.tapped(on, location.pathname);
};
addEventListener("pointerdown", told, true);
addEventListener("keydown", told, true);
"""
"""A touch is one tap, a character typed another; what a script does by itself is none."""


@dataclass
class Taps:
    """What was tapped in every page of a browser context since it was made, by phase or page and by what for."""

    spent: Counter[tuple[str, str]] = field(default_factory=Counter)

    @staticmethod
    def counted(context: BrowserContext) -> "Taps":
        """Count in pages that are opened from now on."""
        taps = Taps()
        context.expose_binding("tapped", taps._tapped)
        context.add_init_script(COUNT)
        return taps

    @property
    def total(self) -> int:
        """All of them."""
        return self.spent.total()

    def said(self) -> str:
        """What they were spent on, a line for each page, the whole number first."""
        pages = Counter[str]()
        for (page, _), count in self.spent.items():
            pages[page] += count
        lines = [
            f"{page}: {count} ("
            + ", ".join(f"{what} {n}" for (on, what), n in self.spent.most_common() if on == page)
            + ")"
            for page, count in pages.most_common()
        ]
        return "\n".join([f"{self.total} taps", *lines])

    def _tapped(self, _source: Any, what: str, path: str) -> None:
        parts = path.strip("/").split("/")
        self.spent[parts[2] if parts[0] == "visits" and len(parts) > 2 else parts[-1], what] += 1
