"""The instrument of the demonstration: a file that the program's own loader takes, with a channel at every bore."""

import tomllib

from app.shop.demo.demo_engines import PIECES
from app.shop.demo.instrument import channel_file
from app.shop.store.database import Database


def test_every_bore_has_a_channel_whose_flow_the_source_makes(shop: Database) -> None:
    """In a shop without engines all bores show alike."""
    with shop.reading() as session:
        told = tomllib.loads(channel_file(session))
    bores = [bore for bank in PIECES[0].banks for bore in bank]
    assert {name: one["bore"] for name, one in told["channel"].items() if "bore" in one} == {f"b{b}": b for b in bores}
    flows = told["source"]["bench"]["flows"]
    assert set(flows) == {*(f"b{bore}" for bore in bores), "probe"}
    assert flows["probe"] == flows["b1"]  # it is held where the first one sits
    assert {2.5 <= flow < 13.0 for flow in flows.values()} == {True}  # kg/h: no plate stands closer than 1.5 thou
    assert told["source"]["bench"]["speed"] == 850
    assert told["channel"]["speed"]["unit"] == "rpm"
