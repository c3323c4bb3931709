"""The typeface that comes with the program: whole, under its own name, with its license, and used."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from fontTools.varLib import instancer  # type: ignore[import-untyped]
from playwright.sync_api import Page

from app import places
from tests.typeface import COPYRIGHT, FILE, LICENSE, NAME, WEIGHTS, cut


def face() -> TTFont:
    """The face as it is handed out."""
    return TTFont(places.static() / FILE)


def said() -> Iterator[str]:
    """Every text of the program that a page may show, with more around it."""
    for folder, kinds in (
        (places.PACKAGE, ("*.py", "*.toml")),
        (places.templates(), ("*.html",)),
        (places.static(), ("*.js",)),
    ):
        for kind in kinds:
            yield from (file.read_text(encoding="utf-8") for file in folder.rglob(kind))


def test_it_has_every_sign_that_the_program_shows() -> None:
    signs = {sign for text in said() for sign in text if sign.isprintable()}
    assert len(signs) > 100
    assert {sign for sign in signs if ord(sign) not in face().getBestCmap()} == set()


@pytest.mark.parametrize("weight", WEIGHTS)
def test_figures_and_their_signs_are_of_one_width_in_every_weight(weight: int) -> None:
    thick = instancer.instantiateVariableFont(face(), {"wght": weight})
    widths = {thick["hmtx"][thick.getBestCmap()[ord(sign)]][0] for sign in "0123456789+−"}
    assert len(widths) == 1


def test_it_goes_by_its_own_name_and_keeps_its_license() -> None:
    names = {one.nameID: str(one) for one in face()["name"].names}
    license_text = (places.static() / "evenbore-sans.license.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in license_text
    reserved = license_text.splitlines()[0].partition("Reserved Font Name ")[2].strip('"')
    assert reserved
    assert NAME in names.values()
    assert names[COPYRIGHT].startswith("Copyright")
    assert "SIL Open Font License" in names[LICENSE]
    assert not [name for name in names.values() if reserved.casefold() in name.casefold()]


def test_it_is_cut_from_one_source_alone(tmp_path: Path) -> None:
    other = tmp_path / "other.ttf"
    other.write_bytes(b"another")
    with pytest.raises(ValueError, match="is not the file"):
        cut(other)


def test_pages_are_set_in_it(page: Page, server: str) -> None:
    page.goto(server)
    loaded = "[...document.fonts].filter((face) => face.status === 'loaded' && face.family === 'Evenbore')"
    page.wait_for_function(f"{loaded}.some((face) => face.weight === '400 700')")
    assert page.evaluate("getComputedStyle(document.querySelector('h1')).fontFamily").startswith("Evenbore,")
