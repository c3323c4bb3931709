"""The benchmark of the records runs on a few engines, so that it still runs when somebody wants it."""

from pathlib import Path

import pytest

from tests.benchmarks import memory


def test_a_small_shop_is_filled_and_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, few in (("ASKED", 6), ("SAVED", 10), ("SHOWN", 1)):
        monkeypatch.setattr(memory, name, few)
    line = memory.measure(20, tmp_path / "kept", tmp_path)
    others = (20 - 1) * memory.ROUNDS - 2  # the open visit of engine 2 has no round yet
    assert line.rounds == memory.LONG_VISITS * memory.LONG_ROUNDS + others
    assert line.readings == 9 * line.rounds
    head, rule, row = memory.printed([line])
    assert head.count("|") == rule.count("|") == row.count("|")
