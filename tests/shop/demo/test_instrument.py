"""The instrument of the demonstration: a file that the program's own loader takes, with a channel at every bore."""

import tomllib

from app.shop.demo.demo_engines import PIECES
from app.shop.demo.instrument import channel_file
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from tests.shop.yard import V8, heat_soaked, read


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


def test_a_bore_shows_what_was_read_of_it_last_and_one_that_was_not_the_mean_of_the_others(shop: Database) -> None:
    visit_id = heat_soaked(shop, V8)  # of the serial that the first of the demonstration has
    for bore, value in ((1, 6.0), (2, 7.0)):
        read(shop, visit_id, HEAT_SOAKED, value, bore)
    with shop.reading() as session:
        flows = tomllib.loads(channel_file(session))["source"]["bench"]["flows"]
    assert flows == {"b1": 6.0, "b2": 7.0, **{f"b{bore}": 6.5 for bore in range(3, 9)}, "probe": 6.0}
