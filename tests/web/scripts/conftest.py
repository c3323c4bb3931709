"""A tablet, and the link between it and the server."""

from collections.abc import Iterator

import pytest

from tests.browser import NewContext
from tests.proxy import Proxy, proxied
from tests.web.tablet import Tablet, tablet


@pytest.fixture
def hand(new_context: NewContext) -> Tablet:
    """A tablet with an empty memory."""
    return tablet(new_context)


@pytest.fixture
def link(server: str) -> Iterator[Proxy]:
    """A way to the server that can be disturbed."""
    with proxied(server) as proxy:
        yield proxy
