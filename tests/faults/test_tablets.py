"""Four tablets that write one visit for a minute: each is answered, and what was acknowledged is there once."""

from pathlib import Path

from tests.faults.tablets import run

A_MINUTE = 60.0


def test_four_tablets_on_one_visit(tmp_path: Path) -> None:
    answers = run(tmp_path / "shop", A_MINUTE)
    assert answers[303] > 100
    assert answers[409] > 0  # they did get in each other's way
    assert set(answers) <= {200, 303, 409, 422}
