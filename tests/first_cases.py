"""A pytest plugin: of each test its first cases alone, for what the others do not tell, such as lines reached."""

from collections import Counter

import pytest

CASES = 1


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Keep the first CASES cases of each test function."""
    seen: Counter[str] = Counter()
    kept: list[pytest.Item] = []
    left: list[pytest.Item] = []
    for item in items:
        name = item.nodeid.partition("[")[0]
        seen[name] += 1
        (kept if seen[name] <= CASES else left).append(item)
    config.hook.pytest_deselected(items=left)
    items[:] = kept
