"""Who works at the stand: a technician by rules of thumb, the adviser, and an oracle that knows every plate."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from app.sync.engine.engine_air import usual_breathing
from app.sync.engine.idle_flow import solve_idle
from app.sync.engine.layout import Coupler, StopScrew
from app.sync.engine.units import THOU
from app.sync.estimation.posterior import Posterior, prior_for
from app.sync.planning.advice import Advice
from app.sync.planning.evaluation import SIXTEENTH, PlanningProblem, feeler_stacks
from app.sync.planning.optimize import optimize
from app.sync.planning.planner import next_move
from app.sync.simulation.reference_run import MOST_STEPS, follow_advice
from tests.benchmarks.engine import SPEED_WINDOW, WANTED, WINDOW, SimulatedEngine

BLADES = tuple(t * THOU for t in (1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 25))


def plain_technician(stand: SimulatedEngine) -> str:
    """Highest reading is the target; stop screws first, an eighth at a time; outward from the stop, 0.008 in first,
    then one size at a time; speed last."""
    layout = stand.layout
    values = {bore: stand.read(bore) for bore in layout.bores}
    stand.read(layout.bores[0], closing=True)
    for _ in range(3):
        target = max(values.values())
        for bank in layout.banks:
            for _ in range(8):
                if abs(values[bank.stop] / target - 1) <= WINDOW:
                    break
                stand.turn(bank.name, 0.125 if values[bank.stop] < target else -0.125)
                values[bank.stop] = stand.read(bank.stop)
            for coupler in bank.couplers():
                values[coupler.far] = stand.read(coupler.far)
                size, tried = BLADES.index(8 * THOU), set()
                while abs(values[coupler.far] / target - 1) > WINDOW and size not in tried and 0 <= size < len(BLADES):
                    tried.add(size)
                    stand.reset(coupler, (BLADES[size],))
                    values[coupler.far] = stand.read(coupler.far)
                    size += 1 if values[coupler.far] < target else -1
        for _ in range(8):
            if abs(stand.read_speed() - WANTED) <= SPEED_WINDOW:
                break
            for bank in layout.banks:
                stand.turn(bank.name, 0.125 if stand.fast_by() < 0 else -0.125)
        values = {bore: stand.read(bore) for bore in layout.bores}
        stand.read(layout.bores[0], closing=True)
        mean = float(np.mean(list(values.values())))
        if max(abs(value / mean - 1) for value in values.values()) <= WINDOW:
            return "done"
    return "gave up"


def adviser(stand: SimulatedEngine, advise: Callable[..., Advice] = next_move) -> str:
    """Does what the advice says."""
    return follow_advice(stand, BLADES, WINDOW, advise)


def oracle(stand: SimulatedEngine) -> str:
    """Sees the true plates, plans the cheapest moves, and is held back by blades and hands only. It reads a first and a
    last round."""
    layout = stand.layout
    for bore in (*layout.bores, layout.bores[0]):
        stand.read(bore)
    task = PlanningProblem(feeler_stacks(BLADES), WINDOW, speed_known=True)
    for _ in range(MOST_STEPS):
        if stand.worst() <= WINDOW and abs(stand.fast_by()) <= SPEED_WINDOW:
            break
        plan = optimize(_known(stand), task)
        while not plan:
            task = replace(task, dearness=1.5 * task.dearness)
            plan = optimize(_known(stand), task)
        adjuster, amount = plan.moves[0]
        if isinstance(adjuster, StopScrew):
            stand.turn(adjuster.bank, amount * SIXTEENTH)
        elif isinstance(adjuster, Coupler):
            stand.reset(adjuster, task.stacks[amount])
    for bore in (*layout.bores, layout.bores[0]):
        stand.read(bore)
    return "done"


def _known(stand: SimulatedEngine) -> Posterior:
    """The truth as a belief with hardly any doubt: gaps as they are, leaks that make the model breathe as it does."""
    n = len(stand.layout.bores)
    flows, speed = stand.breathe()
    posterior = prior_for(stand.layout, stand.hardware, usual_breathing(n, 0.5e-3 * n, WANTED))
    mean = posterior.mean.copy()
    mean[:n] = stand.gaps()
    for _ in range(30):
        posterior = replace(posterior, mean=mean.copy(), covariance=1e-9 * np.diag(np.diag(posterior.covariance)))
        settled = solve_idle(posterior.engine, posterior.areas, posterior.log_demand)
        mean[n : 2 * n] += 0.9 * posterior.areas * np.log(flows / settled.flows)
        mean[-1] -= np.log(speed / WANTED) - float(settled.log_speed)
    return replace(posterior, mean=mean)
