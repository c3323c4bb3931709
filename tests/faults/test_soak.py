"""The soak in small: what the program takes does not grow with what was read."""

import sys
from pathlib import Path

import pytest

from tests.faults.soak import readings, visits

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="asks /proc what the program takes")


@pytest.mark.slow
def test_many_readings_of_one_visit_take_no_more_files_and_little_memory(tmp_path: Path) -> None:
    first, *_, last = readings(tmp_path / "shop", 200, steps=4)
    assert last.files <= first.files + 2
    assert last.megabytes < first.megabytes + 30  # what is not collected yet comes and goes, some 22 MB of it
    assert last.late[1] < 2_000  # a page; with all readings inverted as one matrix it took 10 s and more


@pytest.mark.slow
def test_many_visits_of_one_engine_take_little_memory(tmp_path: Path) -> None:
    few, many = visits(tmp_path / "few", 4), visits(tmp_path / "many", 22)
    assert many.files <= few.files + 2
    assert many.megabytes < few.megabytes + 20  # one and a tenth for each visit
