"""The benchmark of the shares on few engines: every round is judged, and good work is not called uneven."""

import pytest

from app.sync.estimation.conformity import Conformity
from tests.benchmarks.shares import ROUNDS, Setting, judged, line
from tests.sync.idling_engines import done


@pytest.mark.slow
def test_good_work_read_with_a_fine_meter_is_mostly_even() -> None:
    setting = Setting(done, 0.008, bores=4)
    said = list(judged(setting, 10))
    assert len(said) >= 10 * ROUNDS - 2
    assert sum(each.conformity is Conformity.EVEN for each in said) >= 0.6 * len(said)
    assert line(setting, 10).startswith("| done, 4 bores, 0.8 % | ")
