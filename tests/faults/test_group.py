"""Two servers of one database, each killed while eight writers write, and so is the database: nothing lost or twice."""

import os
import sys
from pathlib import Path

import pytest

from tests.cluster import programs
from tests.faults.group import run

FALLS = 8
"""Two of each server, and four of the database."""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="finds the processes of a database server in /proc")
@pytest.mark.skipif(programs() is None and "CI" not in os.environ, reason="PostgreSQL is not installed")
def test_nothing_acknowledged_is_lost_whichever_part_is_killed(tmp_path: Path) -> None:
    answers, took = run(tmp_path, FALLS)
    assert len(took) > 20 * FALLS
    assert set(answers) <= {303, 503}
