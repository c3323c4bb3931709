"""Four tablets that write one visit: each is answered, and what was acknowledged is there once."""

from pathlib import Path

from tests.faults.tablets import run


def test_four_tablets_on_one_visit(tmp_path: Path) -> None:
    answers = run(tmp_path / "shop", most=60)
    assert answers.total() == 4 * 60
    assert answers[303] > 100
    assert answers[409] > 0  # they did get in each other's way
    assert set(answers) <= {200, 303, 409, 422}
