"""The interface against its own description: whatever is sent, no answer breaks down or differs from what it says."""

import json
import re
import uuid
from collections.abc import Iterator
from functools import cache
from typing import Any, get_args

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.python import asgi

from app.shop.procedure.phases import HEAT_SOAKED, PHASES
from app.shop.record.rounds import UNITS
from app.shop.store.upgrade import open_shop
from app.web.api.description.field_names import EXAMPLES, FIELDS
from app.web.api.fittings import JSON_NAMES, HardwareSent, HardwareTold
from app.web.api.interface import document
from app.web.api.shapes import MeterUnit, Slug
from app.web.api.shop import changes
from app.web.application import create_app
from app.web.security import feed_door
from app.web.security.origin import FEED
from tests.shop.yard import FOUR, engine, heat_soaked, read_round, visit

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
        patch.setattr(changes, "STREAM_SECONDS", 0.0)
        yield


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[asgi.ASGIClient]:
    """A shop with a visit that is hot and read, and one that has only begun."""
    shop = open_shop(tmp_path_factory.mktemp("shop"))
    read_round(shop, heat_soaked(shop), HEAT_SOAKED)
    visit(shop, engine(shop, FOUR, serial="22-0098"))
    with asgi.get_client(create_app(shop)) as opened:  # type: ignore[arg-type]  # it asks for dict where ASGI has a mapping
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
@settings(max_examples=6, derandomize=True, suppress_health_check=list(HealthCheck))
def test_answers_are_as_described(case: schemathesis.Case[Any], client: asgi.ASGIClient, feed: str) -> None:
    headers = {"Authorization": f"Bearer {feed}"} if case.path == FEED else None
    case.call_and_validate(session=client, base_url="http://127.0.0.1", headers=headers)


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


def test_every_field_says_what_it_is_and_a_figure_shows_one() -> None:
    shapes = described()["components"]["schemas"]
    for name, shape in shapes.items():
        for field, said in shape.get("properties", {}).items():
            meant = said.get("$ref", "").rpartition("/")[2]
            assert said.get("description") or shapes[meant]["description"], (name, field)
    used = {field for shape in shapes.values() for field in shape.get("properties", {})}
    assert used >= FIELDS.keys() | EXAMPLES.keys() - {"visit_id"}


def test_what_may_be_chosen_is_what_the_store_knows() -> None:
    assert get_args(Slug) == tuple(phase.slug for phase in PHASES)
    assert set(get_args(MeterUnit)) == set(UNITS)
    assert list(HardwareSent.model_fields) == list(HardwareTold.model_fields) == list(JSON_NAMES.values())


def test_every_write_carries_a_key_or_a_version() -> None:
    shapes = described()["components"]["schemas"]
    for path, operations in described()["paths"].items():
        for method in operations.keys() - {"get"}:
            sent = operations[method]["requestBody"]["content"]["application/json"]["schema"]
            alternatives = [one["$ref"] for one in sent.get("oneOf", [sent])]
            for name in (reference.rpartition("/")[2] for reference in alternatives):
                if path != FEED:  # what instruments show is kept nowhere
                    assert {"key", "version"} & set(shapes[name]["required"]), (path, name)


def test_the_description_is_handed_out(client: asgi.ASGIClient) -> None:
    assert client.get("http://127.0.0.1/api/openapi.json").json() == described()
