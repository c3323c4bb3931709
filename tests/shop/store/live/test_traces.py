"""Traces come back as they were packed, are only ever added, and may be missing."""

import random
import sqlite3
from pathlib import Path

import pytest

from app.shop.store.live import traces
from app.shop.store.live.traces import LEVELS


def samples(seed: int, count: int = 800) -> list[tuple[float, float]]:
    made = random.Random(seed)
    return [(n / 200, 6.5 + made.uniform(-3, 3)) for n in range(count)]


def test_a_trace_comes_back_to_a_part_in_the_levels() -> None:
    trace = {"b3": samples(1), "speed": [(0.0, 900.0), (3.9, 901.5)], "still": [(0.0, 101.3), (1.0, 101.3)]}
    found = traces.unpack(traces.pack(trace))
    for name, expected in trace.items():
        span = max(v for _, v in expected) - min(v for _, v in expected)
        assert [at for at, _ in found[name]] == pytest.approx([at for at, _ in expected], abs=1e-4)
        assert [v for _, v in found[name]] == pytest.approx([v for _, v in expected], abs=span / LEVELS + 1e-12)


def test_what_is_kept_is_found_by_its_hash_and_never_changed(tmp_path: Path) -> None:
    packed = traces.pack({"b3": samples(2)})
    assert traces.kept(tmp_path, traces.hash_of(packed)) is None
    traces.keep(tmp_path, packed)
    traces.keep(tmp_path, packed)
    assert traces.kept(tmp_path, traces.hash_of(packed)) == traces.unpack(packed)
    assert (tmp_path / "traces.db").stat().st_mode & 0o077 == 0
    with sqlite3.connect(tmp_path / "traces.db") as connection:
        for change in ("UPDATE trace SET packed = x'00'", "DELETE FROM trace"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added"):
                connection.execute(change)


def test_a_trace_that_was_changed_counts_as_not_kept(tmp_path: Path) -> None:
    packed = traces.pack({"b3": samples(3)})
    traces.keep(tmp_path, packed)
    with sqlite3.connect(tmp_path / "traces.db") as connection:
        connection.execute("DROP TRIGGER trace_no_update")
        connection.execute("UPDATE trace SET packed = ?", (traces.pack({"b3": samples(4)}),))
    assert traces.kept(tmp_path, traces.hash_of(packed)) is None


def test_a_window_of_twelve_bores_is_small() -> None:
    """Two bytes a sample for value and time before deflating: 12 bores, 8 s, 200 Hz."""
    assert len(traces.pack({f"b{n}": samples(n, 1600) for n in range(12)})) < 2 * 2 * 12 * 1600
