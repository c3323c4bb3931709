"""The belief: what readings teach, what moves do to it, and that it knows how much it knows."""

import math
from dataclasses import replace

import numpy as np
import pytest

from app.sync.engine.adjusters.bypass_screw import BYPASS_AREA
from app.sync.engine.engine_air import usual_breathing
from app.sync.engine.events import (
    BladeReset,
    BypassTurn,
    Event,
    IdleSpeed,
    LinkTurn,
    Meter,
    Reading,
    ScrewTurn,
    StopTurn,
)
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.idle_flow import solve_idle
from app.sync.engine.layout import Bank, Bypass, Coupler, Layout
from app.sync.engine.linkage import stop_rotation
from app.sync.engine.units import KG_PER_HOUR, THOU
from app.sync.estimation.filter import kalman_update, predicted_readings, run_filter, update, what_else
from app.sync.estimation.foretold import Innovation
from app.sync.estimation.posterior import FEELER_SD, Posterior, prior_for
from app.sync.estimation.predict import SETTLING_SD, THERMAL_SD, predict
from app.sync.readings.rounds import MOST_OF_A_BORE
from tests.sync.oracles import gap_after_turns

FOUR = Layout((Bank("A", (1, 2, 3, 4), 2, 1),))
HARDWARE = likely_hardware(2e-3, 4)
SPEED = 850 / 60
FINE = Meter(step=1e-9, repeatability=1e-4)


def fresh() -> Posterior:
    return prior_for(FOUR, HARDWARE, usual_breathing(4, 2e-3, SPEED))


def spreads(posterior: Posterior) -> np.ndarray:
    return np.sqrt(np.diag(posterior.covariance))


def test_a_bank_moves_together_and_what_lies_beyond_a_coupler_moves_with_it() -> None:
    cov = fresh().covariance
    correlation = cov / np.outer(spreads(fresh()), spreads(fresh()))
    assert correlation[2, 3] > correlation[1, 3] > 0
    assert correlation[2, 3] > correlation[0, 3]


def test_one_reading_is_the_textbook_update_of_a_gaussian() -> None:
    """With a step too small to bend the flow law: mean and variance by the scalar formula, the product of two Gaussians
    (any text on the Kalman filter, from memory)."""
    tight = replace(fresh(), covariance=1e-6 * fresh().covariance)
    shown, known = predicted_readings(tight, Meter())
    value = float(shown[2] * 1.001)
    after = update(tight, Meter(step=0.0, repeatability=0.02), [Reading(3, value, 0.0)])
    noise = np.hypot(0.02, 0.007) * shown[2]  # the meter, and where the idle has wandered to
    weight = known[2] ** 2 / (known[2] ** 2 + noise**2)
    shown_after, known_after = predicted_readings(after, Meter())
    assert shown_after[2] - shown[2] == pytest.approx(weight * (value - shown[2]), rel=0.02)
    assert known_after[2] == pytest.approx(known[2] * np.sqrt(1 - weight), rel=0.02)


def test_a_calibration_line_comes_out_as_in_the_guide() -> None:
    """GUM, JCGM 100:2008, annex H.3: eleven corrections b of a thermometer against t - 20; intercept -0.1712 (0.0029),
    slope 0.00218 (0.00067), correlation -0.930, and -0.1494 (0.0041) at 30, with a scatter of 0.0035."""
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]) - 20
    b = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    vague = 1e4 * np.eye(2)
    innovation = Innovation(b, np.column_stack([np.ones(11), t]), 0.0035**2 * np.eye(11))
    mean, cov = kalman_update(np.zeros(2), vague, innovation, innovation.covariance(vague))
    sd = np.sqrt(np.diag(cov))
    at_30 = np.array([1.0, 10.0])
    assert mean == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    assert sd == pytest.approx([0.0029, 0.00067], rel=0.02)
    assert cov[0, 1] / sd.prod() == pytest.approx(-0.930, abs=5e-4)
    assert (at_30 @ mean, np.sqrt(at_30 @ cov @ at_30)) == pytest.approx((-0.1494, 0.0041), abs=5e-5)


def test_readings_pull_a_wide_bore_wide_and_leave_the_meter_in_doubt() -> None:
    shown, _ = predicted_readings(fresh(), Meter())
    values = shown * np.array([1.0, 1.0, 1.3, 1.0])
    after = update(fresh(), FINE, [Reading(b, float(v), 0.0) for b, v in zip(FOUR.bores, values, strict=True)])
    assert after.gaps[2] > 1.2 * after.gaps[1]
    assert spreads(after)[-2] > 0.5 * spreads(fresh())[-2]


def test_the_tachometer_is_a_reading_of_all_the_air() -> None:
    slow = update(fresh(), Meter(), [IdleSpeed(0.9 * SPEED, 0.0)])
    assert spreads(slow)[-1] < spreads(fresh())[-1]
    assert float(solve_idle(slow.engine, slow.areas, slow.log_demand).log_speed) == pytest.approx(np.log(0.9), abs=0.02)


def test_a_blade_sets_its_bore_and_carries_what_lies_beyond() -> None:
    before = fresh()
    after = predict(before, BladeReset(2, 3, 6 * THOU, (6 * THOU,), 0.0))
    assert after.gaps[2] == pytest.approx(6 * THOU)
    assert spreads(after)[2] == pytest.approx(FEELER_SD)
    assert after.gaps[3] > before.gaps[3]
    assert after.gaps[:2] == pytest.approx(before.gaps[:2])
    assert after.covariance[2, 6] == 0  # the old gap is forgotten, and the leak is kept
    assert spreads(after)[6] == pytest.approx(spreads(before)[6])


def test_a_blade_is_a_measurement() -> None:
    """Once set on blades and read again, the meter's scale is known better than before."""
    shown, _ = predicted_readings(fresh(), Meter())
    events: list[Reading | BladeReset] = [
        Reading(b, 1.15 * float(v), 0.0) for b, v in zip(FOUR.bores, shown, strict=True)
    ]
    read = run_filter(fresh(), Meter(), events)
    for near, far in ((2, 3), (3, 4), (2, 1)):
        set_ = predict(read, BladeReset(near, far, 5 * THOU, (5 * THOU,), 0.0))
        true = 1.15 * float(predicted_readings(replace(set_, mean=_with_scale(set_, 0.0)), Meter())[0][set_.row(far)])
        read = update(set_, Meter(), [Reading(far, true, 0.0)])
    assert spreads(read)[-2] < 0.8 * spreads(fresh())[-2]
    assert read.mean[-2] > 0.05


def _with_scale(posterior: Posterior, scale: float) -> np.ndarray:
    mean = posterior.mean.copy()
    mean[-2] = scale
    return mean


def test_a_stop_turn_moves_the_bank_as_the_screw_says() -> None:
    after = predict(fresh(), StopTurn("A", 0.25, 0.0))
    assert after.gaps == pytest.approx([gap_after_turns(float(g), 0.25, HARDWARE) for g in fresh().gaps], rel=1e-6)
    assert (spreads(after)[:4] > spreads(fresh())[:4]).all()


TWINS = Layout(
    (Bank("A", (1, 2, 3, 4), 2, 2, ("shaft", "screw", "shaft")),), bypass=frozenset({1, 3})
)  # plates 1 and 2 on one shaft, 3 and 4 on the other


def twins() -> Posterior:
    return prior_for(TWINS, HARDWARE, usual_breathing(4, 2e-3, SPEED))


def test_a_bypass_screw_turned_out_lets_more_past_its_bore_alone_and_the_reading_teaches_what_a_turn_does() -> None:
    before = update(twins(), FINE, _as_shown(twins()))
    after = predict(before, BypassTurn(3, 1.0, 0.0))
    assert after.leaks - before.leaks == pytest.approx([0, 0, BYPASS_AREA, 0], rel=0.3)
    assert after.gaps == pytest.approx(before.gaps)
    assert spreads(after)[6] > spreads(before)[6]
    shown, _ = predicted_readings(after, FINE)
    less = [Reading(b, float(v) * (0.98 if b == 3 else 1), 0.0) for b, v in zip(TWINS.bores, shown, strict=True)]
    learned = update(after, FINE, less)
    other, at = (after.at_gain(Bypass(bore)) for bore in (1, 3))
    assert learned.mean[at] < 0.8 * after.mean[at]
    assert spreads(learned)[at] < 0.7 * spreads(after)[at]
    assert learned.mean[other] < 0.9 * after.mean[other]  # screws of one kind are alike


def test_a_turn_of_a_bypass_screw_that_is_not_there_leaves_its_bore_in_doubt_by_twice_what_one_does() -> None:
    """Recorded before it was known that there is none: half a turn of 0.5 mm2 may be 0.5 mm2 more or less."""
    after = predict(twins(), BypassTurn(2, 0.5, 0.0))
    leak = after.bores + 1
    added = np.diag(after.covariance) - np.diag(twins().covariance)
    assert added[leak] == pytest.approx((0.5e-6) ** 2)
    assert np.delete(added, leak) == pytest.approx(0.0, abs=1e-20)


def test_a_hand_turns_a_bypass_screw_to_a_hundredth_or_so() -> None:
    """By hand: half a turn carries a quarter of the variance of what a turn does, and the hand is 0.012 turns off."""
    before = twins()
    leak, gain = before.bores + 2, before.at_gain(Bypass(3))
    after = predict(before, BypassTurn(3, 0.5, 0.0))
    added = after.covariance[leak, leak] - before.covariance[leak, leak] - 0.25 * before.covariance[gain, gain]
    assert added / BYPASS_AREA**2 == pytest.approx(0.012**2)


@pytest.mark.parametrize("opens", [1, -1])
def test_which_way_a_couplers_screw_opens_is_learned_from_a_reading_after_a_little_turn(opens: int) -> None:
    coupler = Coupler(2, 3)
    before = update(twins(), Meter(), _as_shown(twins()))
    assert not before.sign_known(coupler)
    after = predict(before, ScrewTurn(2, 3, 1 / 8, 0.0))
    assert after.gaps == pytest.approx(before.gaps, rel=1e-3)
    shown, _ = predicted_readings(after, Meter())
    seen = [Reading(b, float(v) * (1 + 0.08 * opens * (b > 2)), 0.0) for b, v in zip(TWINS.bores, shown, strict=True)]
    learned = run_filter(before, Meter(), [ScrewTurn(2, 3, 1 / 8, 0.0), *seen])
    assert learned.sign_known(coupler)
    assert math.copysign(1, learned.mean[learned.at_gain(coupler)]) == opens
    assert (learned.gaps[2:] - before.gaps[2:]) * opens == pytest.approx([0.4 * THOU] * 2, rel=0.5)


def test_two_plates_on_one_shaft_are_believed_closer_than_two_joined_by_a_coupler() -> None:
    def apart(one: int, other: int) -> float:
        cov = twins().covariance
        return float(cov[one, one] + cov[other, other] - 2 * cov[one, other])

    assert apart(0, 1) == pytest.approx(apart(2, 3))
    assert apart(0, 1) < apart(1, 2) / 4


def test_a_link_does_nothing_at_idle() -> None:
    assert predict(fresh(), LinkTurn("A", 1, 0.0)).covariance == pytest.approx(fresh().covariance)


def test_a_move_that_moved_nothing_is_taken_back() -> None:
    seen = _as_shown(fresh())
    still = run_filter(fresh(), Meter(), [*seen, StopTurn("A", 0.5, 1.0), *seen])
    assert still.gaps == pytest.approx(run_filter(fresh(), Meter(), [*seen, *seen]).gaps, rel=0.02)
    moved = _as_shown(predict(update(fresh(), Meter(), seen), StopTurn("A", 0.5, 1.0)))
    assert (run_filter(fresh(), Meter(), [*seen, StopTurn("A", 0.5, 1.0), *moved]).gaps > 1.1 * still.gaps).all()


def _as_shown(posterior: Posterior) -> list[Reading]:
    return [
        Reading(b, float(v), 0.0) for b, v in zip(FOUR.bores, predicted_readings(posterior, Meter())[0], strict=True)
    ]


def test_one_misread_of_three_is_not_believed() -> None:
    shown, _ = predicted_readings(fresh(), Meter())
    values = (shown[2], 1.6 * shown[2], shown[2])
    after = update(fresh(), Meter(), [Reading(3, float(shown[2]), 0.0)] * 2)
    with_misread = run_filter(fresh(), Meter(), [Reading(3, float(v), 0.0) for v in values])
    assert with_misread.gaps == pytest.approx(after.gaps, rel=0.005)


@pytest.mark.slow
def test_of_very_many_readings_between_two_moves_the_last_count() -> None:
    rng = np.random.default_rng(4)
    flows = (6.5 * KG_PER_HOUR * (1 + 0.02 * rng.standard_normal((200, 4)))).tolist()
    read = [
        Reading(bore, flow, 20.0 * n)
        for n, row in enumerate(flows)
        for bore, flow in zip((1, 2, 3, 4), row, strict=True)
    ]
    many, last = (run_filter(fresh(), Meter(), some) for some in (read, read[-4 * MOST_OF_A_BORE :]))
    assert many.mean == pytest.approx(last.mean, rel=1e-12)
    assert many.covariance == pytest.approx(last.covariance, rel=1e-12)
    few, all_of_them = (run_filter(fresh(), Meter(), some) for some in (read[:-1], read))
    assert few.mean != pytest.approx(all_of_them.mean, rel=1e-12)


def test_looks_at_the_tachometer_push_out_no_reading_of_a_bore() -> None:
    """Of each bore, and of the tachometer, so many count: those of one are not those of another."""
    read: list[Event] = [Reading(1, 8.0 * KG_PER_HOUR, 20.0 * n) for n in range(5)]
    looks: list[Event] = [IdleSpeed(SPEED, 100.0 + n) for n in range(MOST_OF_A_BORE)]
    both, alone = (run_filter(fresh(), Meter(), some) for some in ([*read, *looks], looks))
    assert both.gaps[0] > 1.1 * alone.gaps[0]
    assert spreads(both)[0] < 0.9 * spreads(alone)[0]


def test_a_vacuum_column_falls_as_a_plate_opens() -> None:
    meter = Meter("vacuum", 250.0, 0.01)
    shown, _ = predicted_readings(fresh(), meter)
    low = [Reading(b, float(v) * (0.8 if b == 3 else 1.0), 0.0) for b, v in zip(FOUR.bores, shown, strict=True)]
    assert update(fresh(), meter, low).gaps[2] > 1.1 * fresh().gaps[2]


def test_a_gauge_and_an_absolute_column_of_one_truth_give_one_posterior() -> None:
    gauge = Meter("vacuum", step=500.0, repeatability=0.0, ambient=83.5e3)
    absolute = replace(gauge, absolute=True)
    values = (31e3, 26e3, 29e3, 36e3)
    by_gauge = update(fresh(), gauge, [Reading(b, v, 20.0 * b) for b, v in enumerate(values, start=1)])
    by_pressure = update(fresh(), absolute, [Reading(b, 83.5e3 - v, 20.0 * b) for b, v in enumerate(values, start=1)])
    assert by_pressure.mean == pytest.approx(by_gauge.mean)
    sizes = np.outer(spreads(by_gauge), spreads(by_gauge))
    assert by_pressure.covariance / sizes == pytest.approx(by_gauge.covariance / sizes, abs=1e-6)
    shown, known = predicted_readings(by_gauge, gauge)
    assert predicted_readings(by_pressure, absolute)[0] == pytest.approx(83.5e3 - shown)
    assert predicted_readings(by_pressure, absolute)[1] == pytest.approx(known)


def test_when_a_round_began_does_not_matter() -> None:
    values = (6.5, 7.0, 6.0, 6.5)
    readings = [Reading(b, v * KG_PER_HOUR, 20.0 * n) for n, (b, v) in enumerate(enumerate(values, 1))]
    early, late = (
        update(fresh(), Meter(), [replace(one, at=one.at + start) for one in readings]) for start in (0.0, 5000.0)
    )
    assert late.mean == pytest.approx(early.mean, abs=1e-9)
    sizes = np.outer(spreads(early), spreads(early))
    assert late.covariance / sizes == pytest.approx(early.covariance / sizes, abs=1e-6)


def test_a_blade_reset_unsettles_the_bores_that_it_did_not_set() -> None:
    """Bores 1 and 2 stand before the coupler: handling their bank and the heat meanwhile are added in squares."""
    before = fresh()
    after = predict(before, BladeReset(3, 4, 5 * THOU, (5 * THOU,), 0.0))
    grown = np.diag(after.covariance)[:2] - np.diag(before.covariance)[:2]
    assert grown / (SETTLING_SD**2 + THERMAL_SD**2) == pytest.approx([1, 1])


def after_two_turns(longer: float) -> Posterior:
    """What is believed after a stop screw was turned twice at a lever other than drawn: gaps by the geometry of
    ``oracles``, read before and after by a fine meter."""
    engine, gaps = fresh(), fresh().gaps
    for turns in (0.25, 0.25):
        events: list[Event] = []
        for stands in (gaps, np.array([gap_after_turns(float(gap), longer * turns, HARDWARE) for gap in gaps])):
            truth = replace(fresh(), mean=np.concatenate([stands, fresh().mean[4:]]))
            shown, _ = predicted_readings(truth, FINE)
            events += [StopTurn("A", turns, 0.0)] if events else []
            events += [Reading(bore, float(value), 0.0) for bore, value in zip(FOUR.bores, shown, strict=True)]
        engine, gaps = run_filter(engine, FINE, events), stands
    return engine


@pytest.mark.parametrize("longer", [0.7, 1.0, 1.3])
def test_what_a_turn_of_a_stop_screw_does_is_learned_from_the_readings_after_it(longer: float) -> None:
    engine = after_two_turns(longer)
    travel = engine.at_travel(0)
    assert abs(math.log(longer) - float(engine.mean[travel])) < 2 * spreads(engine)[travel]
    assert spreads(engine)[travel] < 0.7 * spreads(fresh())[travel]
    assert engine.stop_travel[0] == pytest.approx(stop_rotation(1.0, HARDWARE) * math.exp(engine.mean[travel]))


def test_a_longer_lever_is_told_from_a_shorter_one() -> None:
    short, drawn, long = (float(after_two_turns(longer).stop_travel[0]) for longer in (0.7, 1.0, 1.3))
    assert 1.1 * short < drawn < long / 1.1


def test_a_lever_that_was_measured_is_believed_more() -> None:
    measured = replace(
        HARDWARE,
        stop_pitch=replace(HARDWARE.stop_pitch, measured=True),
        stop_lever=replace(HARDWARE.stop_lever, measured=True),
    )
    known = prior_for(FOUR, measured, usual_breathing(4, 2e-3, SPEED))
    assert spreads(known)[known.at_travel(0)] < spreads(fresh())[fresh().at_travel(0)]


@pytest.mark.parametrize(("thou", "least"), [(0.3, 1.2), (1.2, 1.2), (8, 8)])
def test_a_move_may_have_gone_astray_by_all_of_it_and_by_a_little_at_the_least(thou: float, least: float) -> None:
    """Another feeler than the one named is at least the step of a set off, 1 thou and more (our judgement)."""
    before, moved, astray = fresh(), thou * THOU, least * THOU
    by = np.zeros_like(before.mean)
    by[2], by[3] = moved, moved / 2
    stack = replace(before, mean=before.mean[None], covariance=before.covariance[None])
    after = replace(stack, mean=stack.mean + by)
    (gone, _), (nothing, _) = what_else(after, stack)
    more = gone.covariance[0] - before.covariance
    assert np.sqrt(np.diag(more)[2:4]) == pytest.approx([astray, astray / 2], rel=1e-6)
    assert more[2, 3] == pytest.approx(astray**2 / 2, rel=1e-6)
    assert nothing is stack


def test_what_moved_nothing_goes_nowhere_astray() -> None:
    before = fresh()
    stack = replace(before, mean=before.mean[None], covariance=before.covariance[None])
    (gone, _), _ = what_else(stack, stack)
    assert np.array_equal(gone.covariance, stack.covariance)
