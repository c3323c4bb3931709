"""Who works at the simulated engines: the adviser, and an oracle that knows every plate."""

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
    flows, speed = stand.solve()
    posterior = prior_for(stand.layout, stand.hardware, usual_breathing(n, 0.5e-3 * n, WANTED))
    mean = posterior.mean.copy()
    mean[:n] = stand.gaps()
    for _ in range(30):
        posterior = replace(posterior, mean=mean.copy(), covariance=1e-9 * np.diag(np.diag(posterior.covariance)))
        settled = solve_idle(posterior.engine, posterior.areas, posterior.log_demand)
        mean[n : 2 * n] += 0.9 * posterior.areas * np.log(flows / settled.flows)
        mean[-1] -= np.log(speed / WANTED) - float(settled.log_speed)
    return replace(posterior, mean=mean)
