"""What holds for every template and style sheet: the content policy, and colors that can be read."""

import re
from pathlib import Path

import pytest

from app.places import static, templates

CONTRAST_TEXT = 7.0
"""WCAG 2.2, success criterion 1.4.6, AAA for text of any size."""


def every_template() -> list[Path]:
    """All template files."""
    return sorted(templates().rglob("*.html"))


@pytest.mark.parametrize("path", every_template(), ids=lambda p: p.name)
def test_no_template_needs_what_the_content_policy_forbids(path: Path) -> None:
    text = path.read_text()
    assert not re.search(r"\sstyle=|\son\w+=|hx-on|js:|javascript:|\|\s*safe", text)
    assert not re.search(r"""<style|<script(?![^>]*\s(?:src=|type="application/json"))""", text)
    assert not re.search(r'hx-trigger="[^"]*\[', text)


def tokens(look: str) -> dict[str, str]:
    """The colors of a look."""
    text = (static() / "tokens.css").read_text()
    block = re.search({"bright": r":root \{(.*?)\}", "dark": r'data-look="dark"\] \{(.*?)\}'}[look], text, re.S)
    assert block is not None
    return dict(re.findall(r"--(\w+): (#\w{6});", block[1]))


def luminance(color: str) -> float:
    """Relative luminance, 0 to 1, as WCAG 2.2 defines it."""
    parts = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, 1 to 21, as WCAG 2.2 defines it."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_at_its_known_ends() -> None:
    assert contrast("#ffffff", "#000000") == pytest.approx(21)  # the ratio's own upper limit
    assert contrast("#777777", "#777777") == 1


TEXT_ON = {
    "ink": ("ground", "panel", "sunk", "blued", "brassed"),
    "ink2": ("ground", "panel", "sunk", "blued", "brassed"),
    "blue": ("ground", "panel", "blued"),
    "panel": ("ink",),
    "onblue": ("blue",),
}


@pytest.mark.parametrize("look", ["bright", "dark"])
@pytest.mark.parametrize(("text", "ground"), [(t, g) for t, grounds in TEXT_ON.items() for g in grounds])
def test_text_stands_out(look: str, text: str, ground: str) -> None:
    known = tokens(look)
    assert contrast(known[text], known[ground]) >= CONTRAST_TEXT


def test_a_tablet_set_to_dark_gets_the_same_dark() -> None:
    text = (static() / "tokens.css").read_text()
    preferred = re.search(r'not\(\[data-look="bright"\]\) \{(.*?)\}', text, re.S)
    assert preferred is not None
    assert dict(re.findall(r"--(\w+): (#\w{6});", preferred[1])) == tokens("dark")
