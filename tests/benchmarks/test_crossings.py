"""A page goes from layer to layer no oftener than it did, and saving a reading neither.

The limits are a little above what was counted last. Lower them when a page gets simpler; one that rises wants a reason.
It is counted in a process of its own: what this one has in mind from other tests changes what is called.
"""

import multiprocessing
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import pytest

from app.shop.record.fittings import hardware_known
from app.sync.engine.units import LITER
from tests.benchmarks import crossings
from tests.benchmarks.crossings import AGAIN, CLOSING, PAGE, ROOT, SAVED, STARTED, Counts, Watch, layer_of, watched

# What both engines of records share is a module of its own: one more for each.
# A save looks twice whether the file is still the one that was opened: before it writes, and before it answers. Whether
# the visit is in mind is asked before its turn, so that a visit that is not is read without the others waiting; what it
# asks first is named there too, so that a server answers it with the beginning. "Behind a proxy" is asked by its name.
# A reading is decided by a function of its own, which is called again where what is in mind is outdated.
# Stops that never were are left out of an engine's events by one question, and the page has what a first reading is
# asked about by.
# A page of readings asks once whether the visit is another site's, whose keys would be refused.
LIMITS: Mapping[str, Counts] = {
    CLOSING: Counts(crossings=2, calls=256, modules=32),
    PAGE: Counts(crossings=9, calls=2199, modules=94),
    AGAIN: Counts(crossings=5, calls=330, modules=31),
    SAVED: Counts(crossings=2, calls=449, modules=36),
    STARTED: Counts(crossings=14, calls=2517, modules=99),
}


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Watch]:
    folder = tmp_path_factory.mktemp("crossings") / "shop"
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as fresh:
        return fresh.submit(crossings.measure, folder).result()


@pytest.mark.parametrize("request_", LIMITS)
def test_no_more_than_the_limit(found: dict[str, Watch], request_: str) -> None:
    now, limit = found[request_].counts, LIMITS[request_]
    where = "\n".join(f"{n} {caller} -> {called}" for (caller, called), n in found[request_].where.most_common())
    assert now.crossings <= limit.crossings, where
    assert now.calls <= limit.calls
    assert now.modules <= limit.modules


def test_every_request_has_a_limit_and_a_figure_of_before(found: dict[str, Watch]) -> None:
    assert list(found) == list(LIMITS) == list(crossings.BEFORE)
    assert all(watch.counts.crossings for watch in found.values()), "nothing was counted"
    head, rule, *rows = crossings.printed(found)
    assert len(rows) == len(LIMITS)
    assert {line.count("|") for line in (head, rule, *rows)} == {5}


@pytest.mark.parametrize(
    ("file", "layer"),
    [
        ("cli.py", "server"),
        ("server/cli.py", "server"),
        ("web/pages/board.py", "web"),
        ("shop/store/tables.py", "shop"),
        ("sync/rounds.py", "sync"),
    ],
)
def test_a_layer_is_the_folder_under_app(file: str, layer: str) -> None:
    assert crossings.LAYERS[layer_of(str(ROOT / file)) or 0] == layer


def test_what_is_not_in_app_has_no_layer() -> None:
    assert layer_of(__file__) is None
    assert layer_of(str(ROOT / "wording/message.py")) is None
    assert layer_of(str(Path(pytest.__file__))) is None
    assert layer_of("<string>") is None


def test_a_call_from_shop_to_sync_is_one_crossing_and_one_from_outside_is_none() -> None:
    with watched() as watch:
        hardware_known({}, 4 * LITER, 8)
    assert watch.counts.crossings >= 1
    assert all(caller.startswith("shop/") and called.startswith("sync/") for caller, called in watch.where)
    with watched() as unwatched:
        pass
    assert unwatched.counts == Counts(0, 0, 0)
