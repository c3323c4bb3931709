"""Every row of a file is one of three: as it was stored, never hashed, or changed behind the program's back."""

import sqlite3

from app.shop.store.row_hashes import Seals, check, seal


def test_rows_are_counted_as_sound_unsealed_or_broken() -> None:
    with sqlite3.connect(":memory:") as file:
        file.execute("CREATE TABLE reading (id INTEGER PRIMARY KEY, value REAL, seal TEXT)")
        file.execute("CREATE TABLE older (id INTEGER PRIMARY KEY, value REAL)")
        file.execute("INSERT INTO older VALUES (1, 6.5)")
        sealed = [(1, 6.5, seal({"value": 6.5})), (2, 6.75, seal({"value": 6.75})), (3, 7.0, seal({"value": 6.0}))]
        unsealed = [(4, 6.5, ""), (5, 6.5, None), (6, 6.5, None)]
        file.executemany("INSERT INTO reading VALUES (?, ?, ?)", [*sealed, *unsealed])
        assert check(file) == Seals(2, 3, (("reading", 3),))


def test_a_seal_is_of_every_value_but_the_rows_number_and_itself() -> None:
    row = {"id": 1, "seal": "x", "bore": 3, "value": 6.5, "why": None}
    assert seal(row) == seal({"bore": 3, "value": 6.5})
    assert seal(row | {"id": 2, "seal": "y"}) == seal(row)
    assert len({seal(row), seal(row | {"bore": 4}), seal(row | {"value": 6.25}), seal(row | {"why": "misread"})}) == 4
