"""The JSON Schema of an engine file: it is the one that is checked, and says what every field means and its unit."""

import json
from collections.abc import Iterator
from typing import Any

import jsonschema_rs
import pytest

from app.shop.exchange.exports import engine_file, written
from app.shop.exchange.versions.v6 import EngineFile
from app.shop.store.database import Database
from tests.shop.exchange.files import EVEN, SLIPPED
from tests.shop.exchange.schema import FILE, engine_schema
from tests.shop.past import Past
from tests.shop.yard import AT

NOTES = {"description", "unit"}


def handed_out() -> dict[str, Any]:
    read: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))
    return read


def fields(schema: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for name, shape in {"EngineFile": schema, **schema["$defs"]}.items():
        for field, said in shape.get("properties", {}).items():
            yield f"{name}.{field}", said


def types(said: dict[str, Any]) -> set[str]:
    found = {said.get("type", "")} | {one.get("type", "") for one in said.get("anyOf", ())}
    return found | ({said["items"].get("type", "")} if "items" in said else set())


def bare(said: Any, fields: bool = False) -> Any:
    """A schema without what only people read; ``fields`` where the names are those of fields."""
    if isinstance(said, list):
        return [bare(one) for one in said]
    if not isinstance(said, dict):
        return said
    kept = {
        name: bare(one, name in ("properties", "$defs")) for name, one in said.items() if fields or name not in NOTES
    }
    return kept["allOf"][0] if list(kept) == ["allOf"] else kept


def test_the_schema_that_is_handed_out_is_the_one_that_is_checked() -> None:
    assert handed_out() == engine_schema()
    assert bare(handed_out()) == bare(EngineFile.model_json_schema())


def test_every_field_is_described_and_every_figure_has_a_unit() -> None:
    told = dict(fields(handed_out()))
    assert len(told) > 120
    assert [name for name, said in told.items() if len(said.get("description", "")) < 4] == []
    assert [name for name, said in told.items() if types(said) & {"number", "integer"} and not said.get("unit")] == []


@pytest.mark.parametrize("example", ["engine", "fitting", "meter", "reading"])
def test_values_are_in_the_units_that_are_told(shop: Database, example: str) -> None:
    """Against what the yard's engine was registered with: 3.9 L, 850 rpm, bores of 46.5 mm; 1 L is 0.001 m3."""
    Past(shop).visit(SLIPPED, EVEN)
    with shop.reading() as session:
        file = json.loads(written(engine_file(session, 1, AT)))
    units = {name: said.get("unit") for name, said in fields(handed_out())}
    if example == "engine":
        assert (units["Engine.displacement"], units["Engine.idle_speed"]) == ("m3", "1/s")
        assert file["engine"]["displacement"] == pytest.approx(3.9 / 1000)
        assert file["engine"]["idle_speed"] == pytest.approx(850 / 60)
    elif example == "fitting":
        told = units["Figure.value"]["hardware"]  # type: ignore[index]
        assert set(file["fittings"][0]["hardware"]) == set(told)
        assert {name for name, unit in told.items() if unit == "rad"} == {"closed_angle"}
        assert all(0 < figure["value"] < 0.2 for figure in file["fittings"][0]["hardware"].values())
    elif example == "meter":
        assert {units[f"Meter.{name}"] for name in ("step", "low", "high")} == {"field:unit"}
        assert file["meters"][0]["unit"] == "kg/h"
    else:
        assert units["Reading.value"] == "field:unit"
        assert {row["unit"] for row in file["visits"][0]["readings"]} == {"kg/h"}


def test_a_file_is_valid_by_the_schema(shop: Database) -> None:
    Past(shop).visit(SLIPPED, EVEN)
    with shop.reading() as session:
        text = written(engine_file(session, 1, AT))
    checker = jsonschema_rs.validator_for(handed_out())
    checker.validate(json.loads(text))
    with pytest.raises(jsonschema_rs.ValidationError):
        checker.validate({**json.loads(text), "version": "5"})
