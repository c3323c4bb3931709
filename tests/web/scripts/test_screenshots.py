"""The pictures are of every page there is."""

import re
from pathlib import Path

from app.shop.procedure.phases import PHASES
from app.shop.store.database import Database
from app.web.application import create_app
from tests.screenshots import PICTURES, SMALL, gallery, name_of, pages, through_the_phases

NO_PICTURE = {
    "/tag/{tag}",  # leads on to the engine
    "/visits/{visit_id}/news",
    "/live/now",
    "/statistics/{slug}.csv",
    "/engines/{engine_id}/export.json",
    "/engines/{engine_id}/{table}.csv",
    "/engines/{engine_id}/print.css",
    "/shop/tables.zip",
    "/shop/engine-files.zip",
}
"""What is a file, says one word to a script, or leads elsewhere."""


def test_there_is_a_picture_of_every_page(shop: Database) -> None:
    described = create_app(shop).openapi()["paths"]
    routes = {path for path, verbs in described.items() if "get" in verbs and not path.startswith("/api/")}
    assert routes >= NO_PICTURE
    for route in routes - NO_PICTURE:
        pattern = re.sub(r"\{slug\}", "[a-z-]+", re.sub(r"\{\w+_id\}", r"\\d+", route))
        assert any(re.fullmatch(pattern, path) for path in pages()), route


def test_no_picture_is_written_over_another() -> None:
    names = [name_of(path) for path in pages()]
    assert len(set(names)) == len(names)


def test_there_is_a_picture_of_every_phase_before_within_and_after_its_round(shop: Database) -> None:
    taken = [name for _, name in through_the_phases(shop, "telephone")]
    for phase in PHASES:
        ends = ("steps",) if phase.rounds == "none" else ("steps", "readings", "round-read")
        assert [name for name in taken if phase.slug in name] == [f"telephone-{phase.slug}-{end}" for end in ends]


def test_the_pictures_of_the_readme_are_those_the_command_takes(shop: Database) -> None:
    root = Path(__file__).parents[3]
    shown = re.findall(r"!\[[^]]+\]\(([^)]+)\)", (root / "README.md").read_text(encoding="utf-8"))
    assert [root / one for one in shown] == [PICTURES / f"{name}.png" for name in SMALL]
    assert {file.name for file in PICTURES.iterdir()} == {f"{name}.png" for name in SMALL}
    taken = {*map(name_of, pages()), *(name for _, name in through_the_phases(shop, "test cell"))}
    assert set(SMALL.values()) <= taken


def test_the_gallery_shows_every_picture() -> None:
    page = gallery(["board", "meters"], ["bright-phone", "dark-phone"])
    named = re.findall(r'<img src="([^"]+)"', page)
    assert named == [f"{name}-{look}-phone.png" for name in ("board", "meters") for look in ("bright", "dark")]
