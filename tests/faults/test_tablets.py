"""Four tablets that write one visit at once: each is answered, and what was acknowledged is there once."""

from pathlib import Path

import pytest

from tests.faults.tablets import run

READINGS = 150
"""``WHOLE=1 .ci/run`` lets the tablets go on for longer."""

SECONDS = 120.0
"""In which that many are stored, on a machine that is busy with something else."""


@pytest.mark.slow
def test_four_tablets_on_one_visit(tmp_path: Path) -> None:
    answers = run(tmp_path / "shop", SECONDS, READINGS)
    assert answers[303] > 100
    assert answers[409] > 0  # they did get in each other's way
    assert set(answers) <= {200, 303, 409, 422}
