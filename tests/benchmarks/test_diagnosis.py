"""The benchmark of the diagnosis on few engines: causes are named, sound engines are not, a leak before its plate."""

import pytest

from app.sync.diagnosis.measurements import FindingKind
from tests.benchmarks.diagnosis import by_list, diagnosed, engines, share
from tests.benchmarks.fault_engine import FAULTS, FaultEngine

SAMPLE = 32


@pytest.mark.slow
def test_more_causes_are_named_right_than_by_the_list_and_few_wrong() -> None:
    cases = [diagnosed(one) for one in engines(74_000_000, SAMPLE)]
    listed = [by_list(one) for one in engines(74_000_000, SAMPLE)]
    assert share(one.right for one in cases) >= 0.5
    assert share(one.named is not None and not one.right for one in cases) <= 0.15
    assert sum(one.right for one in cases) >= sum(one.right for one in listed)


@pytest.mark.slow
def test_hardly_any_sound_engine_is_accused() -> None:
    assert share(one.named is not None for one in map(diagnosed, engines(75_000_000, SAMPLE, ""))) <= 0.1


@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_can_be_built_and_read(fault: str) -> None:
    engine = FaultEngine(1, fault)
    assert [name for name, _ in engine.truth] == [fault]
    for test in FindingKind:
        engine.read(test.value, 0)


def test_a_leak_leaves_the_meter_even_and_takes_vacuum() -> None:
    engine = FaultEngine(3, "leak", rough=0.0)
    leaking = engine.bore
    others = [bore for bore in range(len(engine.bores)) if bore != leaking]
    vacuum = [float(engine.read("vacuum", bore)) for bore in others]
    assert float(engine.read("vacuum", leaking)) < min(vacuum)
