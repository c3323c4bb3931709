"""Creep: how soon a slip too small for one visit is seen over many, and whether the right adjuster is named.

``python -m tests.benchmarks.creep [--engines N] [--seed S]`` prints the table. The engine is evened at every visit,
with three readings per bore as left and two as found; one adjuster moves by the same amount between any two visits.
Limits are set on seeds of their own so that one engine in ten gives any false alarm in ten visits, but for the tool's.
"""

import argparse
from collections.abc import Callable, Mapping

import numpy as np

from app.sync.engine.adjusters.registry import moved_bores
from app.sync.engine.layout import Adjuster, Layout
from app.sync.slips.changes import expected_common
from app.sync.slips.creep import LIMIT, SLACK, creeping, cusum, scores
from tests.benchmarks.report import report
from tests.benchmarks.returning import REPEATABILITY, Fleet, Floats, Rough, layout_of, share
from tests.benchmarks.slips import ROUND, adjusters_of, carrier, pooled

TUNING, TESTING = 5_000_000, 6_000_000
VISITS, AS_FOUND, FALSE = 10, 2, 0.10

Scores = list[Mapping[Adjuster, float]]
History = tuple[Adjuster, Scores, Scores]
Rule = Callable[[Scores, float], Adjuster | None]


def histories(layout: Layout, rough: Rough, count: int, seed: int, sigma: float) -> list[History]:
    """What truly creeps, and the visits' scores per adjuster and per bore (named by the adjuster that carries it)."""
    rng = np.random.default_rng([seed, len(layout.bores), round(10 * sigma)])
    fleet = Fleet(layout, count, rng, rough)
    adjusters = adjusters_of(layout)
    truth = [adjusters[at] for at in rng.integers(len(adjusters), size=count)]
    step = sigma * REPEATABILITY / fleet.gain() * rng.choice([-1.0, 1.0], count)
    moved = np.zeros(fleet.shape)
    for engine, adjuster in enumerate(truth):
        moved[engine, [fleet.place(bore) for bore in moved_bores(layout, adjuster)]] = step[engine]
    told: list[History] = [(adjuster, [], []) for adjuster in truth]
    noise = rough.repeatability * np.sqrt(1 / ROUND + 1 / AS_FOUND)
    for _ in range(VISITS):
        left = np.stack([fleet.read(fleet.flow, fleet.scale) for _ in range(ROUND)], axis=2)
        flow, then, now = fleet.found(moved)
        found = np.stack([fleet.read(flow, fleet.scale_now) for _ in range(AS_FOUND)], axis=2)
        for engine, (_, by_adjuster, by_bore) in enumerate(told):
            was = pooled(layout, left[engine], [ROUND] * len(layout.bores), rough.meter)
            is_now = pooled(layout, found[engine], [AS_FOUND] * len(layout.bores), rough.meter)
            common = expected_common(then[engine], now[engine])
            by_adjuster.append(scores(layout, was, is_now, rough.meter, True, expected_common=common))
            by_bore.append(per_bore(layout, left[engine], found[engine], noise))
    return told


def per_bore(layout: Layout, left: Floats, found: Floats, noise: float) -> Mapping[Adjuster, float]:
    """Each bore's change less the median bore's, in standard deviations."""
    change = np.log(found.mean(axis=1) / left.mean(axis=1))
    change = (change - np.median(change)) / noise
    return {carrier(layout, bore): float(value) for bore, value in zip(layout.bores, change, strict=True)}


def single(visits: Scores, limit: float) -> Adjuster | None:
    """Whatever stands out most at the last visit alone."""
    worst = max(visits[-1], key=lambda adjuster: abs(visits[-1][adjuster]))
    return worst if abs(visits[-1][worst]) > limit else None


def summed(visits: Scores, limit: float) -> Adjuster | None:
    """Whatever the cumulative sums name."""
    found = creeping(visits, SLACK, limit)
    return found.adjuster if found else None


def highest(rule: Rule, visits: Scores) -> float:
    """The highest limit at which a rule would have raised an alarm within these visits."""
    if rule is single:
        return max(abs(value) for visit in visits for value in visit.values())
    charts = [cusum([visit[adjuster] for visit in visits]) for adjuster in visits[0]]
    return max(max(*chart.high, *chart.low) for chart in charts)


def seen(rule: Rule, visits: Scores, limit: float) -> tuple[int, Adjuster | None]:
    """The first visit (from 1) at which a rule names something, and what; one beyond the last when never."""
    for at in range(1, len(visits) + 1):
        named = rule(visits[:at], limit)
        if named is not None:
            return at, named
    return len(visits) + 1, None


RULES: tuple[tuple[str, Rule, bool], ...] = (
    ("each bore, single visit", single, False),
    ("each bore, CUSUM", summed, False),
    ("adjuster score, single visit", single, True),
    ("adjuster score, CUSUM", summed, True),
)


def main(engines: int, seed: int) -> None:
    """Print the table."""
    layout, rough = layout_of(8), Rough()
    still = histories(layout, rough, 2 * engines, TUNING + seed, 0.0)
    test = {sigma: histories(layout, rough, engines, TESTING + seed, sigma) for sigma in (0.0, 0.5, 1.0, 2.0)}
    print(f"8 bores, {engines} engines; per size: median visit, seen by visit 5, by 10, right when seen")
    for name, rule, adjusters in (*RULES, ("the tool as it stands", summed, True)):
        limit = float(np.quantile([highest(rule, pick(one, adjusters)) for one in still], 1 - FALSE))
        if name.startswith("the tool"):
            limit = LIMIT
        print(f"{name:<30} limit {limit:5.2f}", end="")
        for sigma, told in test.items():
            results = [(one[0], *seen(rule, pick(one, adjusters), limit)) for one in told]
            by_ten = share([at <= VISITS for _, at, _ in results])
            if sigma == 0.0:
                print(f"  false in ten {by_ten:.3f}", end="")
                continue
            median = np.median([at for _, at, _ in results])
            when = f"{median:4.0f}" if median <= VISITS else " >10"
            right = share([truth == named for truth, at, named in results if at <= VISITS])
            print(
                f" | {sigma:g}: {when} {share([at <= 5 for _, at, _ in results]):.2f} {by_ten:.2f} {right:.2f}", end=""
            )
        print()


def pick(one: History, adjusters: bool) -> Scores:
    """Scores per adjuster or per bore."""
    return one[1] if adjusters else one[2]


if __name__ == "__main__":
    with report("creep"):
        arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
        arguments.add_argument("--engines", type=int, default=300)
        arguments.add_argument("--seed", type=int, default=0)
        chosen = arguments.parse_args()
        main(chosen.engines, chosen.seed)
