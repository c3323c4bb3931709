"""The instrument of the demonstration: a file that the program's own loader takes, with a channel at every bore."""

import tomllib

from app.shop.demo.demo_engines import PIECES
from app.shop.demo.instrument import channel_file


def test_every_bore_has_a_channel_whose_flow_the_source_makes() -> None:
    told = tomllib.loads(channel_file())
    bores = [bore for bank in PIECES[0].banks for bore in bank]
    assert {name: one["bore"] for name, one in told["channel"].items() if "bore" in one} == {f"b{b}": b for b in bores}
    flows = told["source"]["bench"]["flows"]
    assert set(flows) == {*(f"b{bore}" for bore in bores), "probe"}
    assert flows["probe"] == flows["b1"]  # it is held where the first one sits
    assert all(2.5 <= flow < 13.0 for flow in flows.values())  # kg/h: no plate stands closer than 1.5 thou
    assert len({*flows.values()}) > 2  # as it came, not evened
    assert told["source"]["bench"]["speed"] == 850
    assert told["channel"]["speed"]["unit"] == "rpm"
