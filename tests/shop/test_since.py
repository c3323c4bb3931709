"""The comparison that lets additions pass sees everything else."""

import gzip
import json
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path

import pytest

from tests.shop.since import Json, lost, no_longer_described

ANSWER: Json = {
    "phase": "first-fire",
    "done": False,
    "turns": 1.25,
    "bank": None,
    "title": "Turn it in",
    "stops": [],
    "missing": [{"item": "oil", "must": True}, {"item": "round", "must": False}],
    "values": [6.5, 6.25],
    "suspect": {"name": "Coupler 2-3", "kind": "coupler"},
    "meter": {"name": "Bench meter"},
}


def changed(**fields: Json) -> Json:
    return {**deepcopy(ANSWER), **fields}


@pytest.mark.parametrize(
    "now",
    [
        changed(),
        changed(more=1),
        changed(title="Other words"),
        changed(turns=1.25 + 1e-9),
        changed(missing=[{"item": "oil", "must": True, "why": "x"}, {"item": "fuel"}, ANSWER["missing"][1]]),
        changed(suspect={"name": "The coupler between 2 and 3", "kind": "coupler"}),
    ],
)
def test_additions_and_other_words_pass(now: Json) -> None:
    assert list(lost(ANSWER, now)) == []


@pytest.mark.parametrize(
    ("now", "said"),
    [
        ({n: v for n, v in ANSWER.items() if n != "done"}, "done: gone"),
        (changed(done=True), "done: False became True"),
        (changed(done=0), "done: False became 0"),
        (changed(turns=1.26), "turns: 1.25 became 1.26"),
        (changed(turns=True), "turns: 1.25 became True"),
        (changed(bank="A"), "bank: None became 'A'"),
        (changed(title=""), "title: 'Turn it in' became ''"),
        (changed(title=["Turn it in"]), "title: str became list"),
        (changed(stops=["Stop the engine"]), "stops: [] became ['Stop the engine']"),
        (changed(missing=ANSWER["missing"][:1]), "missing[round]: gone"),
        (
            changed(missing=[{"item": "oil", "must": False}, ANSWER["missing"][1]]),
            "missing[oil].must: True became False",
        ),
        (changed(values=[6.5]), "values: 2 became 1"),
        (changed(values=[6.25, 6.5]), "values[0]: 6.5 became 6.25"),
        (changed(values={"1": 6.5}), "values: [6.5, 6.25] became {'1': 6.5}"),
        (changed(suspect={"name": "x", "kind": "link"}), "suspect.kind: 'coupler' became 'link'"),
        (changed(meter={"name": "Other meter"}), "meter.name: 'Bench meter' became 'Other meter'"),
    ],
)
def test_whatever_is_lost_or_another_is_said(now: Json, said: str) -> None:
    assert next(lost(ANSWER, now)) == said


def test_what_may_say_otherwise_has_to_be_there() -> None:
    assert list(lost({"version": 3}, {"version": 4}, frozenset({"version"}))) == []
    assert list(lost({"version": 3}, {}, frozenset({"version"}))) == ["version: gone"]


def described() -> Json:
    packed = Path(__file__).parent / "fixtures" / "openapi-76737f8.json.gz"
    return json.loads(gzip.decompress(packed.read_bytes()))


def shape(document: Json, name: str) -> Json:
    return document["components"]["schemas"][name]


def rename(document: Json) -> None:
    shapes = document["components"]["schemas"]
    text = json.dumps(document).replace("schemas/AdviceTold", "schemas/Advised")
    shapes["Advised"] = shapes.pop("AdviceTold")
    document["paths"] = json.loads(text)["paths"]


def more(document: Json) -> None:
    document["paths"]["/api/people"] = {"get": {"responses": {}}}
    document["paths"]["/api/meters"]["post"] = {"responses": {}}
    shape(document, "AdviceTold")["properties"]["code"] = {"type": "string"}
    shape(document, "AdviceTold")["properties"]["kind"]["enum"].append("wait")
    shape(document, "AdviceTold")["properties"]["why"]["enum"] = ["wide", "tight"]
    shape(document, "VisitSent")["properties"]["changed"] = {"type": "array", "items": {"type": "string"}}


def no_path(document: Json) -> None:
    del document["paths"]["/api/blades"]


def no_method(document: Json) -> None:
    del document["paths"]["/api/engines"]["post"]


def no_parameter(document: Json) -> None:
    document["paths"]["/api/engines"]["get"]["parameters"].pop(0)


def no_status(document: Json) -> None:
    del document["paths"]["/api/visits/{visit_id}"]["get"]["responses"]["404"]


def no_field(document: Json) -> None:
    del shape(document, "AskedTold")["properties"]["round"]


def optional_field(document: Json) -> None:
    shape(document, "VisitTold")["required"].remove("current")


def other_type(document: Json) -> None:
    shape(document, "AskedTold")["properties"]["bore"]["type"] = "string"


def maybe_null(document: Json) -> None:
    shape(document, "AskedTold")["properties"]["bore"] = {"anyOf": [{"type": "integer"}, {"type": "null"}]}


def no_value(document: Json) -> None:
    shape(document, "AdviceTold")["properties"]["kind"]["enum"].remove("cannot")


def some_values_taken(document: Json) -> None:
    shape(document, "VisitSent")["properties"]["why"]["enum"] = ["First sync"]


def has_to_be_sent(document: Json) -> None:
    shape(document, "VisitSent")["required"].append("job")


def not_taken(document: Json) -> None:
    del shape(document, "VisitSent")["properties"]["why"]


def no_alternative(document: Json) -> None:
    body = document["paths"]["/api/visits/{visit_id}/phases/{phase}/moves"]["post"]["requestBody"]
    body["content"]["application/json"]["schema"]["oneOf"].pop()


@pytest.mark.parametrize("change", [rename, more])
def test_a_description_may_grow_and_its_shapes_be_called_otherwise(change: Callable[[Json], None]) -> None:
    now = described()
    change(now)
    assert list(no_longer_described(described(), now)) == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (no_path, "/api/blades: gone"),
        (no_method, "post /api/engines: gone"),
        (no_parameter, "get /api/engines: no parameter words"),
        (no_status, "get /api/visits/{visit_id}: no answer 404"),
        (no_field, "readings[].round: gone"),
        (optional_field, ".current: may be left out now"),
        (other_type, "readings[].bore: integer became string"),
        (maybe_null, "readings[].bore: an answer of another shape"),
        (no_value, ".kind: no ['cannot']"),
        (some_values_taken, "post /api/engines/{engine_id}/visits sent.why: only ['First sync'] now"),
        (has_to_be_sent, "post /api/engines/{engine_id}/visits sent.job: has to be sent now"),
        (not_taken, "post /api/engines/{engine_id}/visits sent.why: gone"),
        (no_alternative, "alternative 5 is gone or another"),
    ],
)
def test_a_description_that_lost_something_is_seen(change: Callable[[Json], None], said: str) -> None:
    now = described()
    change(now)
    found = list(no_longer_described(described(), now))
    assert found
    assert said in found[0]
