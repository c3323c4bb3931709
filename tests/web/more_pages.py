"""Pages that the demonstration has none of as it opens: lists of more than one page, an engine that had to be stopped,
one that came back for years, an adjustment to put right."""

from app.shop.commands import checks
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.record import loader
from app.shop.store.database import Database
from tests.shop import yard
from tests.shop.past import Past

UNDER_WAY = 8
"""A visit that is not the first of its engine, stands at lock-down and has adjustments."""

COLD = 15
"""A visit whose plates are being set cold."""

LISTED = 25
"""Lines on one page of a list."""


def more_pages(shop: Database) -> list[str]:
    """Fill the demonstration up; the addresses of what is there now."""
    with yard.just_now():
        for number in range(LISTED - 1):
            yard.visit(shop, yard.engine(shop, yard.FOUR, f"40-{number:04}"))
        stopped = yard.visit(shop, yard.engine(shop, yard.FOUR, "41-0001"))
        yard.check_all(shop, stopped, COLD_PRESET)
        yard.check_all(shop, stopped, FIRST_FIRE)
        checks.record(shop, stopped, yard.key(), FIRST_FIRE.slug, {"oil-pressure": 30}, "KM", yard.AT)
    old = Past(shop, yard.V8, "42-0001")
    for _ in range(LISTED + 1):
        old.visit([6.5, 6.5, 7.0, 7.25, 6.5, 6.75, 6.5, 6.25], [6.5] * 8)
    with shop.reading() as session:
        *_, move = loader.load(session, UNDER_WAY).moves
    of_lists = ("?page=2", "?show=waiting", "?find=coupe", "?find=nothing", "engines?page=2&order=serial")
    of_visit = ("start", "slipped", "why", "sign-off", "sheet", "hours", f"{move.phase}/recorded")
    of_move = (f"new?kind={move.kind}", f"change?move={move.ident}")
    return [
        *(f"/{one}" for one in of_lists),
        *(f"/engines/{old.engine_id}{page}" for page in ("", "?page=1")),
        *(f"/visits/{UNDER_WAY}/{one}" for one in of_visit),
        *(f"/visits/{UNDER_WAY}/{move.phase}/moves/{one}" for one in of_move),
        f"/visits/{COLD}/cold-preset/plates",
        f"/visits/{stopped}/stop",
    ]
