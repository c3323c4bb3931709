"""The benchmark of the diagnosis on few engines: causes are named, sound engines are not, a leak before its plate."""

import pytest

from app.sync.diagnosis.measurements import FindingKind
from tests.benchmarks.diagnosis import by_list, diagnosed, engines, share
from tests.benchmarks.fault_engine import FAULTS, FaultEngine
from tests.benchmarks.small_leak import exactly_leaking, leaking, untouched

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


@pytest.mark.slow
def test_instruments_rougher_than_told_accuse_hardly_any_sound_engine() -> None:
    rough = engines(77_000_000, SAMPLE, "", 1.5)
    assert sum(diagnosed(one).named is not None for one in rough) <= 2


@pytest.mark.slow
def test_engines_evened_by_columns_are_told_as_well() -> None:
    cases = [diagnosed(one) for one in engines(78_000_000, SAMPLE // 2, None, 1.0, by_column=True)]
    assert share(one.right for one in cases) >= 0.5


@pytest.mark.slow
def test_a_kind_that_it_was_never_told_of_gets_hardly_another_name() -> None:
    cases = [diagnosed(one) for one in engines(79_000_000, SAMPLE // 2, "gasket")]
    assert share(one.named is not None for one in cases) <= 0.3


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


def test_two_square_millimeters_let_the_bore_take_more_and_its_meter_show_less() -> None:
    engine, same = leaking(4), FaultEngine(4, "")
    bore, bank = engine.bores[engine.bore], engine.banks[engine.bore]
    before = same.air(same.bores[engine.bore], same.pressure(same.bores[engine.bore], bank))
    now = engine.pressure(bore, bank)
    assert 0.08 < engine.air(bore, now) / before - 1 < 0.17
    assert -0.08 < bore.plate * engine.through(now) / before - 1 < 0.0


@pytest.mark.slow
def test_hardly_a_plate_is_turned_for_a_leak_of_two_square_millimeters_that_is_often_found() -> None:
    engines_seen = [leaking(seed) for seed in range(76_000_000, 76_000_024)]
    cases = [diagnosed(engine) for engine in engines_seen]
    still = [untouched(engine) for engine in engines_seen]
    assert share(still) >= 0.85
    assert share(case.right and alone for case, alone in zip(cases, still, strict=True)) >= 0.33


@pytest.mark.parametrize("evened_before", [True, False])
@pytest.mark.parametrize("bores", [4, 6, 8, 12])
def test_a_small_leak_at_an_engine_even_but_for_it_is_named_before_its_plate_is_turned(
    bores: int, evened_before: bool
) -> None:
    """Its bore takes an eighth more and the meter shows 4 % less, or it was opened until the meter agreed."""
    engine = exactly_leaking(bores, evened_before)
    there, other = (engine.bores[at] for at in (engine.bore, 0))
    flows = [bore.plate * engine.through(engine.pressure(bore, 0)) for bore in (there, other)]
    airs = [engine.air(bore, engine.pressure(bore, 0)) for bore in (there, other)]
    assert flows[0] / flows[1] - 1 == pytest.approx(-0.045 if evened_before else 0.0, abs=0.01)
    assert airs[0] / airs[1] - 1 == pytest.approx(0.12 if evened_before else 0.16, abs=0.015)
    case = diagnosed(engine)
    assert case.named == ("leak", engine.bore)
    assert untouched(case.engine)
