"""The interface against its own description: whatever is sent, no answer breaks down or differs from what it says."""

import json
import re
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache
from typing import Any, get_args

import jsonschema_rs
import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from pydantic import ValidationError
from schemathesis.python import asgi

from app.shop.commands.access.programs import let_one_in
from app.shop.commands.access.scopes import AccessScope
from app.shop.procedure.phases import HEAT_SOAKED, PHASES
from app.shop.record.rounds import UNITS
from app.shop.store.upgrade import open_shop
from app.web.api.description.examples import EXAMPLES, PARAMETERS, choices_of
from app.web.api.description.field_names import FIELDS
from app.web.api.description.texts import TEXTS
from app.web.api.fittings import JSON_NAMES, HardwareSent, HardwareTold
from app.web.api.interface import document
from app.web.api.shapes import MeterUnit, Sent, Slug
from app.web.api.shop import changes
from app.web.application import create_app
from app.web.pages.shop import programs
from app.web.security import feed_door
from app.web.security import programs as programs_door
from app.web.security.middleware import HAND_OVER
from app.web.security.origin import FEED
from tests.shop.yard import FOUR, engine, heat_soaked, key, read_round, visit

ACCEPTED = ["2xx", "404", "409", "422"]
"""What well-formed data is answered with: whether it can be stored depends on what is recorded already."""

CHECKS = {
    "positive_data_acceptance": {"expected-statuses": ACCEPTED},
    "ignored_auth": {"enabled": False},  # asks over the network; tests/web/live/test_door.py asks without a token
}


@cache
def described() -> dict[str, Any]:
    """The description, made where it is tested, not wherever tests are only gathered."""
    return document()


@cache
def example_keys() -> list[str]:
    """The keys that the description shows."""
    return re.findall(r"[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}", json.dumps(described()))


@pytest.fixture(scope="module")
def schema() -> schemathesis.BaseSchema:
    """The description, with data drawn by it."""
    made = schemathesis.openapi.from_dict(described(), config=schemathesis.Config.from_dict({"checks": CHECKS}))
    made.hook(map_path_parameters)
    made.hook(map_body)
    return made


@pytest.fixture
def named(request: pytest.FixtureRequest) -> None:
    """What the library looks for at a test, and newer runners keep elsewhere."""
    request.node._nodeid = request.node.nodeid


def map_path_parameters(
    context: schemathesis.HookContext, path_parameters: dict[str, Any] | None
) -> dict[str, Any] | None:
    """Most numbers lead to an engine or a visit that is there."""
    return path_parameters and {
        name: 1 + value % 3 if isinstance(value, int) and value > 0 else value
        for name, value in path_parameters.items()
    }


def map_body(context: schemathesis.HookContext, body: Any) -> Any:
    """Bodies that take their key from the description get one of their own, as the description asks."""
    if isinstance(body, dict) and body.get("key") in example_keys():
        return {**body, "key": str(uuid.uuid5(uuid.NAMESPACE_OID, json.dumps(body, default=str)))}
    return body


@pytest.fixture(scope="module", autouse=True)
def short_streams() -> Iterator[None]:
    """Streams that end at once: here only their beginning is looked at. A feed may push as fast as it is asked to."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(feed_door, "MOST_A_SECOND", 100_000)
        patch.setattr(programs_door, "MOST_A_SECOND", 100_000)
        patch.setattr(changes, "STREAM_SECONDS", 0.0)
        yield


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[asgi.ASGIClient]:
    """A shop with a visit that is hot and read, and one that has only begun."""
    shop = open_shop(tmp_path_factory.mktemp("shop"))
    read_round(shop, heat_soaked(shop), HEAT_SOAKED)
    visit(shop, engine(shop, FOUR, serial="22-0098"))
    with asgi.get_client(create_app(shop)) as opened:  # type: ignore[arg-type]  # it asks for dict where ASGI has a mapping
        opened.trust_env = False  # looked through for a proxy at every request
        yield opened
    shop.close()


@pytest.fixture(scope="module")
def feed(client: asgi.ASGIClient) -> str:
    """The token that opens the door for live values."""
    sent = {"key": str(uuid.uuid4()), "name": "Bench"}
    return str(client.post("http://127.0.0.1/api/live/feeds", json=sent).json()["token"])


@pytest.mark.slow
@pytest.mark.usefixtures("named")
@schemathesis.pytest.from_fixture("schema").parametrize()
@settings(max_examples=4, derandomize=True, suppress_health_check=list(HealthCheck))
def test_answers_are_as_described(case: schemathesis.Case[Any], client: asgi.ASGIClient, feed: str) -> None:
    headers = {"Authorization": f"Bearer {feed}"} if case.path == FEED else None
    case.call_and_validate(session=client, base_url="http://127.0.0.1", headers=headers)


@pytest.fixture(scope="module")
def schema_of_a_scope() -> schemathesis.BaseSchema:
    """The description where a program may have a token that does not reach."""
    checks = {
        **CHECKS,
        "positive_data_acceptance": {"expected-statuses": [*ACCEPTED, "403"]},
        "unsupported_method": {"enabled": False},  # another method may be out of reach
    }
    only = {"checks": checks, "phases": {"coverage": {"enabled": False}}}
    return schemathesis.openapi.from_dict(described(), config=schemathesis.Config.from_dict(only))


@pytest.fixture(scope="module")
def tokens(client: asgi.ASGIClient) -> dict[AccessScope, str]:
    """A token of each scope."""
    app: Any = client.app
    now = datetime.now(UTC)
    made = {scope: let_one_in(app.state.shop, key(), f"Bench {scope}", {scope}, 30, now) for scope in AccessScope}
    app.state.programs = programs.known(app.state.shop)
    return made


@pytest.mark.slow
@pytest.mark.usefixtures("named")
@schemathesis.pytest.from_fixture("schema_of_a_scope").parametrize()
@settings(max_examples=1, derandomize=True, suppress_health_check=list(HealthCheck))
def test_answers_to_a_token_are_as_described(
    case: schemathesis.Case[Any], client: asgi.ASGIClient, tokens: dict[AccessScope, str]
) -> None:
    for scope, token in tokens.items() if case.path != FEED else ():
        headers = {"Authorization": f"Bearer {token}"}
        answer = case.call_and_validate(session=client, base_url="http://127.0.0.1", headers=headers)
        needed = case.operation.definition.raw["security"][0]["program"]
        assert (answer.status_code == 403) is (scope not in needed), (case.path, scope)


def sample(shape: dict[str, Any]) -> Any:
    """What a field may be sent as, by its examples."""
    shape = described()["components"]["schemas"][shape["$ref"].rpartition("/")[2]] if "$ref" in shape else shape
    if "properties" in shape:
        return {name: sample(field) for name, field in shape["properties"].items()}
    for name in ("examples", "enum"):
        if name in shape:
            return shape[name][0]
    if "const" in shape:
        return shape["const"]
    if "anyOf" in shape:
        return sample(shape["anyOf"][0])
    if shape.get("type") == "array":
        return [sample(shape["items"])]
    return {"number": 1.5, "integer": 1, "string": "x", "object": {}}.get(shape.get("type", ""))


def odd(value: Any) -> Iterator[Any]:
    """A body with one of its texts or figures made odd, one after another."""
    if isinstance(value, dict):
        yield from ({**value, name: one} for name, inner in value.items() for one in odd(inner))
    elif isinstance(value, list):
        yield from ([*value[:n], one, *value[n + 1 :]] for n, inner in enumerate(value) for one in odd(inner))
    elif isinstance(value, str):
        yield value + "\x00"
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield from (2**63, -(2**70), 10**400)


def writes() -> Iterator[tuple[str, str, dict[str, Any]]]:
    """The path and method of each write, with each body it takes."""
    for path, operations in described()["paths"].items():
        for method in operations.keys() - {"get"}:
            body = operations[method]["requestBody"]["content"]["application/json"]["schema"]
            yield from ((path, method, shape) for shape in body.get("oneOf", [body]) if path not in (FEED, HAND_OVER))


@pytest.mark.slow
def test_a_nul_and_a_number_past_what_a_table_holds_are_refused(client: asgi.ASGIClient) -> None:
    for path, method, shape in writes():
        there = re.sub(r"{(\w+_id|number)}", "1", path).replace("{phase}", "heat-soaked-recheck")
        there = f"http://127.0.0.1{there.replace('{item}', 'coolant')}"
        tried = 0
        for body in odd(sample(shape)):
            answer = client.request(method, there, data=json.dumps(body), headers={"content-type": "application/json"})
            assert 400 <= answer.status_code < 500, (path, body, answer.text)
            tried += 1
        assert tried >= 2, path
        for number in (2**63, 10**400):
            beyond = f"http://127.0.0.1{re.sub(r'{[a-z_]+}', str(number), path)}"
            if beyond != there:
                assert 400 <= client.request(method, beyond, json=sample(shape)).status_code < 500, path


def test_every_operation_says_who_may_call_it() -> None:
    for path, operations in described()["paths"].items():
        for operation in operations.values():
            assert operation["security"], path
            schemes = described()["components"]["securitySchemes"]
            assert all(scheme in schemes for one in operation["security"] for scheme in one)


def test_the_description_is_of_the_interface_alone_and_says_what_everything_is() -> None:
    assert all(path.startswith("/api/") for path in described()["paths"])
    for path, operations in described()["paths"].items():
        for operation in operations.values():
            assert operation["summary"], path
            assert operation["description"], path
            assert operation["tags"], path
            assert "default" in operation["responses"], path
    tags = {tag["name"] for tag in described()["tags"]}
    assert {tag for ops in described()["paths"].values() for op in ops.values() for tag in op["tags"]} == tags


def properties() -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Every field: the shape that has it, its name, and what is said of it."""
    for name, shape in described()["components"]["schemas"].items():
        for field, said in shape.get("properties", {}).items():
            yield name, field, said


def kinds_of(said: dict[str, Any]) -> set[str]:
    """What a field holds, alone or several of it: ``number``, ``integer``, ``choice`` and so on."""
    found = set()
    for one in said.get("anyOf", [said]):
        shapes = described()["components"]["schemas"]
        meant = shapes[one["$ref"].rpartition("/")[2]] if "$ref" in one else one
        found |= kinds_of(meant["items"]) if meant.get("type") == "array" else set()
        found.add("choice" if "enum" in meant else str(meant.get("type")))
    return found


def test_every_field_says_what_it_is() -> None:
    shapes = described()["components"]["schemas"]
    for name, field, said in properties():
        meant = said.get("$ref", "").rpartition("/")[2]
        assert said.get("description") or shapes[meant]["description"], (name, field)
    for path, operations in described()["paths"].items():
        for operation in operations.values():
            for parameter in operation.get("parameters", ()):
                assert parameter["description"], (path, parameter["name"])
    used = {field for _, field, _ in properties()}
    named = {name.rpartition(".")[2] for name in TEXTS}
    assert used >= FIELDS.keys() | EXAMPLES.keys() - {"visit_id"} | named
    operations = [operation for path in described()["paths"].values() for operation in path.values()]
    assert PARAMETERS.keys() <= {one["name"] for operation in operations for one in operation.get("parameters", ())}


def test_every_field_shows_one_that_it_takes() -> None:
    for name, field, said in properties():
        if "const" in said:
            continue
        if kinds_of(said) & {"number", "integer", "choice", "string"} or kinds_of(said) == {"object"}:
            told_by_its_shapes = "#/components/schemas/" in json.dumps(said.get("additionalProperties", said))
            assert said.get("examples") or told_by_its_shapes or "patternProperties" in said, (name, field)
        for example in said.get("examples", ()):
            schema_of = {**said, "components": described()["components"]}
            jsonschema_rs.validate(schema_of, example)


def test_what_a_program_may_send_is_taken_as_the_description_shows_it() -> None:
    """Every choice and every example of every body: one was described for long and could not be sent by anybody."""
    tried = 0
    for shape in kinds_sent(Sent):
        for name, said in described()["components"]["schemas"].get(shape.__name__, {}).get("properties", {}).items():
            for value in (*choices_of(said, described()["components"]["schemas"]), *said.get("examples", ())):
                with pytest.raises(ValidationError) as other_fields_are_missing:
                    shape.model_validate({name: value, "and": "a field that no body has"})
                faults = other_fields_are_missing.value.errors()
                assert name not in {one["loc"][0] for one in faults}, (shape.__name__, name, value)
                tried += 1
    assert tried > 200


def kinds_sent(shape: type[Sent]) -> Iterator[type[Sent]]:
    """Every shape that a program sends, whole or as a part of one."""
    for one in shape.__subclasses__():
        yield one
        yield from kinds_sent(one)


def test_only_what_may_be_null_speaks_of_null() -> None:
    for name, field, said in properties():
        if "null for" in said.get("description", "").lower():
            assert any(one.get("type") == "null" for one in said.get("anyOf", ())), (name, field)


UNIT = re.compile(
    r"unit|minutes|seconds|chance|probability|0 to 1|between 0 and 1|fraction|per cent|turns|sixths|thousandths|"
    r"millimeters|degrees|samples a second|deviation|kilopascal",
    re.IGNORECASE,
)
IN_THE_NAME = ("_thou", "_mm", "_deg", "_rpm", "_percent", "_minutes", "_c", "_kpa", "_per_min")


def test_every_figure_names_its_unit() -> None:
    for name, field, said in properties():
        if "number" in kinds_of(said):
            assert field.endswith(IN_THE_NAME) or UNIT.search(said["description"]), (name, field)


def test_what_may_be_chosen_is_what_the_store_knows() -> None:
    assert get_args(Slug) == tuple(phase.slug for phase in PHASES)
    assert set(get_args(MeterUnit)) == set(UNITS)
    assert list(HardwareSent.model_fields) == list(HardwareTold.model_fields) == list(JSON_NAMES.values())


def test_every_write_carries_a_key_or_a_version() -> None:
    shapes = described()["components"]["schemas"]
    for path, operations in described()["paths"].items():
        for method in operations.keys() - {"get"} if path != HAND_OVER else ():  # the rows of a file have keys
            sent = operations[method]["requestBody"]["content"]["application/json"]["schema"]
            alternatives = [one["$ref"] for one in sent.get("oneOf", [sent])]
            for name in (reference.rpartition("/")[2] for reference in alternatives):
                if path != FEED:  # what instruments show is kept nowhere
                    assert {"key", "version"} & set(shapes[name]["required"]), (path, name)


def test_the_description_is_handed_out(client: asgi.ASGIClient) -> None:
    assert client.get("http://127.0.0.1/api/openapi.json").json() == described()
