"""What slipped since last time: how often the tool is right, beside two plain rules.

``python -m tests.benchmarks.slips [--engines N] [--seed S]`` prints the tables. Three readings per bore as left, one
round as found, then up to four re-readings: the tool's where it asks for them, the plain rules' at the bores that
changed most. A slip of one sigma is 2 % of flow, the meter's repeatability; that of a bypass screw is simulated as its
plate moving, and every adjuster is as likely to slip as any other, bypass screws too. Alarm limits come from seeds of
their own. Beside right-first stands what somebody reaches on the same readings who knows that at most one slipped, by
how much, and that every adjuster is as likely.
"""

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.sync.engine.adjusters.registry import moved_bores
from app.sync.engine.events import Meter
from app.sync.engine.layout import Adjuster, Layout, StopScrew
from app.sync.slips.changes import Pooled, expected_common, log_changes, no_slip_covariance, pool
from app.sync.slips.slip_detection import SlipAssessment, slipped
from app.sync.slips.slip_hypotheses import Suspect
from tests.benchmarks.hardware import HARDWARE
from tests.benchmarks.report import report
from tests.benchmarks.returning import REPEATABILITY, Fleet, Floats, Rough, layout_of, share

TUNING, TESTING = 1_000_000, 2_000_000
ROUND, REREADS = 3, 4
ALARMS = 0.05
SMALLEST, LARGEST = 1.0, 6.0
LAYOUTS = (("4 in line", 4, 1), ("6, two banks", 6, 2), ("8, two banks", 8, 2), ("12, two banks", 12, 2))
SHARED = ("4 on two shafts", "opposed 6, one shaft a bank", "8 on four shafts, blades")


@dataclass(frozen=True, slots=True)
class Visit:
    """One engine back again: readings per bore as left and as found [kg/s], first the round, then what may be asked."""

    left: Floats
    found: Floats
    common: float
    truth: frozenset[Suspect]


@dataclass(frozen=True, slots=True)
class Told:
    """What somebody says of a visit: how alarmed, whom first, whom by name, and how many bores were read again."""

    alarm: float
    first: Suspect | None
    named: Suspect | None
    reread: int
    story: SlipAssessment | None = None
    counts: tuple[int, ...] = ()


def adjusters_of(layout: Layout) -> tuple[Adjuster, ...]:
    """What may slip at idle: stop screws, couplers and bypass screws."""
    stops: list[Adjuster] = [StopScrew(bank.name) for bank in layout.banks]
    return (*stops, *layout.couplers(), *layout.bypass_screws)


def visits(
    layout: Layout,
    rough: Rough,
    count: int,
    seed: int,
    slips: int,
    sigma: float | None = None,
    other_meter: bool = False,
) -> list[Visit]:
    """Engines on which so many adjusters moved, either way: the first by ``sigma``, all else by 1 to 6 sigma."""
    rng = np.random.default_rng([seed, len(layout.bores), slips, round(10 * (sigma or 0.0))])
    fleet = Fleet(layout, count, rng, rough)
    adjusters = adjusters_of(layout)
    per_sigma = REPEATABILITY / fleet.gain()
    moved, truths = np.zeros(fleet.shape), []
    for engine in range(count):
        chosen = [adjusters[at] for at in rng.choice(len(adjusters), slips, replace=False)]
        sizes = rng.uniform(SMALLEST, LARGEST, slips)
        if sigma is not None:
            sizes[:1] = sigma
        for adjuster, size in zip(chosen, sizes * rng.choice([-1.0, 1.0], slips), strict=True):
            rows = [fleet.place(bore) for bore in moved_bores(layout, adjuster)]
            moved[engine, rows] += size * per_sigma[engine]
        truths.append(frozenset(chosen))
    left = np.stack([fleet.read(fleet.flow, fleet.scale) for _ in range(ROUND)], axis=2)
    flow, then, now = fleet.found(moved)
    scale = fleet.rng.uniform(0.85, 1.15, fleet.scale.shape) if other_meter else fleet.scale_now
    found = np.stack([fleet.read(flow, scale) for _ in range(1 + REREADS)], axis=2)
    common = [expected_common(*pair) for pair in zip(then, now, strict=True)]
    return [Visit(*one) for one in zip(left, found, common, truths, strict=True)]


def pooled(layout: Layout, readings: Floats, counts: Sequence[int], meter: Meter) -> dict[int, Pooled]:
    """The first so many readings of each bore taken together."""
    return {bore: pool(readings[at, : counts[at]].tolist(), meter) for at, bore in enumerate(layout.bores)}


def tool(layout: Layout, visit: Visit, meter: Meter, same_meter: bool = True, rereads: int = REREADS) -> Told:
    """Ask, read where it asks, and ask again."""
    counts = [1] * len(layout.bores)
    left = pooled(layout, visit.left, [ROUND] * len(counts), meter)
    for reread in range(rereads + 1):
        found = pooled(layout, visit.found, counts, meter)
        story = slipped(layout, left, found, meter, same_meter, expected_common=visit.common)
        if not story.reread or reread == rereads:
            break
        counts[layout.bores.index(story.reread[0])] += 1
    first = max(story.odds, key=lambda suspect: story.odds[suspect])
    return Told(story.any_slip, first, story.named.suspect if story.named else None, reread, story, tuple(counts))


def knowing(layout: Layout, visit: Visit, meter: Meter, counts: Sequence[int], sigma: float) -> Told:
    """The likeliest adjuster to somebody who knows that at most one slipped, by so many sigma either way."""
    left = pooled(layout, visit.left, [ROUND] * len(counts), meter)
    found = pooled(layout, visit.found, counts, meter)
    _, changes, variances = log_changes(layout, left, found, meter, True)
    precision = np.linalg.inv(no_slip_covariance(variances, True))
    residual = changes - visit.common
    likely = []
    for adjuster in adjusters_of(layout):
        moved = moved_bores(layout, adjuster)
        column = sigma * REPEATABILITY * np.array([float(bore in moved) for bore in layout.bores])
        pull, own = float(column @ precision @ residual), float(column @ precision @ column)
        likely.append(float(np.logaddexp(pull, -pull)) - own / 2)
    alarm = float(np.logaddexp.reduce(likely))
    return Told(alarm, adjusters_of(layout)[int(np.argmax(likely))], None, 0)


def plain(layout: Layout, visit: Visit, meter: Meter) -> Told:
    """The bore that changed most, and the adjuster that carries it."""
    change = reread_most(visit, centered=False)
    worst = int(np.abs(change).argmax())
    return Told(float(abs(change[worst])), carrier(layout, layout.bores[worst]), None, REREADS)


def three_sigma(layout: Layout, visit: Visit, meter: Meter) -> Told:
    """Bores more than so many sigmas from the median, traced outward from the stop to the first of them."""
    change = reread_most(visit, centered=True)
    limit = 3 * meter.repeatability * np.sqrt(1 / ROUND + 1)
    worst = int(np.abs(change).argmax())
    bank = layout.bank_of(layout.bores[worst])
    beyond = {b: change[layout.bores.index(b)] for b in bank.bores}
    sign = np.sign(change[worst])
    path = [bank.stop, *(c.far for c in bank.couplers() if layout.bores[worst] in bank.beyond(c))]
    start = next((b for b in path if sign * beyond[b] > min(limit, abs(change[worst]))), layout.bores[worst])
    return Told(float(abs(change[worst])), carrier(layout, start), None, REREADS)


def reread_most(visit: Visit, centered: bool) -> Floats:
    """ln(found / left) once the four most changed bores were read again."""
    left = np.log(visit.left.mean(axis=1))
    change = np.log(visit.found[:, 0]) - left - visit.common
    seen = change - np.median(change) if centered else change
    again = np.argsort(-np.abs(seen))[:REREADS]
    change[again] = np.log(visit.found[again, :2].mean(axis=1)) - left[again] - visit.common
    center = np.median(change) if centered else 0.0
    settled: Floats = change - center
    return settled


def carrier(layout: Layout, bore: int) -> Adjuster:
    """The adjuster between a bore and the one before it."""
    bank = layout.bank_of(bore)
    return next((c for c in bank.couplers() if c.far == bore), StopScrew(bank.name))


def right_first(told: Told, visit: Visit, limit: float) -> bool:
    """Alarmed, and the first one suspected did slip."""
    return told.alarm >= limit and told.first in visit.truth


def said(told: Told, visit: Visit) -> bool:
    """Named rightly, or named one thing and said that no round at idle can tell it from what did slip."""
    if told.story is None or told.named in visit.truth:
        return told.named in visit.truth
    return any({alike.other, *alike.also} >= visit.truth for alike in told.story.alike)


Rule = Callable[[Layout, Visit, Meter], Told]
RULES: dict[str, Rule] = {"tool": tool, "most changed": plain, "three sigma": three_sigma}


@dataclass(frozen=True, slots=True)
class Setting:
    """One kind of engine and meter, with what the tool is told of it and the alarm limits that go with it."""

    layout: Layout
    rough: Rough
    seed: int
    limits: dict[str, float]

    @staticmethod
    def tuned(layout: Layout, rough: Rough, engines: int, seed: int, rules: Sequence[str] = ("tool",)) -> "Setting":
        """Alarm limits that one quiet visit in twenty reaches, from the tuning seeds."""
        quiet = visits(layout, rough, 2 * engines, TUNING + seed, 0)
        limits = {
            rule: float(np.quantile([RULES[rule](layout, visit, rough.meter).alarm for visit in quiet], 1 - ALARMS))
            for rule in rules
        }
        return Setting(layout, rough, TESTING + seed, limits)

    def tell(self, rule: str, seen: Sequence[Visit]) -> list[Told]:
        """What a rule says of each visit."""
        return [RULES[rule](self.layout, visit, self.rough.meter) for visit in seen]

    def first(self, rule: str, told: Sequence[Told], seen: Sequence[Visit]) -> float:
        """Right-first at the 5 % setting."""
        return share([right_first(one, visit, self.limits[rule]) for one, visit in zip(told, seen, strict=True)])


def quiet_row(setting: Setting, engines: int) -> str:
    """False alarms on quiet visits of the test seeds."""
    told = setting.tell("tool", visits(setting.layout, setting.rough, engines, setting.seed, 0))
    spoke = share([one.named is not None for one in told])
    slip = share([one.story is not None and one.story.verdict == "slipped" for one in told])
    alarmed = share([one.alarm >= setting.limits["tool"] for one in told])
    reread = np.mean([one.reread for one in told])
    return (
        f"quiet visits ({engines}): says slipped {slip:.4f}, names one {spoke:.4f}, "
        f"above the 5 % limit {alarmed:.3f}, re-readings {reread:.1f}"
    )


def main_table(setting: Setting, engines: int, slips: int, sigmas: Sequence[float]) -> None:
    """Sizes down, rules across."""
    print(f"{'slips':>5} {'sigma':>5} | speaks  right  or said | first: tool  most changed  three sigma | re-readings")
    for sigma in sigmas:
        seen = visits(setting.layout, setting.rough, engines, setting.seed, slips, sigma)
        told = setting.tell("tool", seen)
        spoke = [(one, visit) for one, visit in zip(told, seen, strict=True) if one.named is not None]
        right = share([one.named in visit.truth for one, visit in spoke])
        or_said = share([said(one, visit) for one, visit in spoke])
        firsts = [setting.first(rule, told if rule == "tool" else setting.tell(rule, seen), seen) for rule in RULES]
        reread = np.mean([one.reread for one in told])
        print(
            f"{slips:>5} {sigma:>5g} | {len(spoke) / engines:6.3f} {right:6.3f} {or_said:8.3f} | "
            f"{firsts[0]:11.3f} {firsts[1]:13.3f} {firsts[2]:12.3f} | {reread:.1f}"
        )


def short_row(name: str, setting: Setting, engines: int, sigmas: Sequence[float]) -> None:
    """Right-first and right when it speaks for a few sizes in one line."""
    cells = []
    layout, meter = setting.layout, setting.rough.meter
    quiet = visits(layout, setting.rough, 2 * engines, TUNING + setting.seed, 0)
    calm = setting.tell("tool", quiet)
    for sigma in sigmas:
        seen = visits(setting.layout, setting.rough, engines, setting.seed, 1, sigma)
        told = setting.tell("tool", seen)
        spoke = [one.named in visit.truth for one, visit in zip(told, seen, strict=True) if one.named is not None]
        first = setting.first("tool", told, seen)
        error = np.sqrt(first * (1 - first) / engines)
        alarms = [knowing(layout, v, meter, one.counts, sigma).alarm for one, v in zip(calm, quiet, strict=True)]
        limit = float(np.quantile(alarms, 1 - ALARMS))
        best = [
            right_first(knowing(layout, v, meter, one.counts, sigma), v, limit)
            for one, v in zip(told, seen, strict=True)
        ]
        cells.append(f"{first:.3f} +-{error:.3f} of {share(best):.3f} ({len(spoke) / engines:.2f}, {share(spoke):.3f})")
    print(f"{name:<24} {'  '.join(cells)}   {quiet_row(setting, 2 * engines)}")


def calibration(setting: Setting, engines: int) -> None:
    """Stated odds of every adjuster against how often it had slipped, on three visits quiet in four."""
    parts = [(0, 0.75), (1, 0.17), (2, 0.08)]
    odds, right = [], []
    for slips, part in parts:
        seen = visits(setting.layout, setting.rough, round(4 * engines * part), setting.seed + 7, slips)
        for one, visit in zip(setting.tell("tool", seen), seen, strict=True):
            assert one.story is not None
            for suspect in adjusters_of(setting.layout):
                odds.append(one.story.odds[suspect])
                right.append(suspect in visit.truth)
    stated, true = np.array(odds), np.array(right)
    print(f"{'stated odds':>14} {'mean':>6} {'slipped':>8} {'suspects':>9}")
    for low, high in (
        (0, 0.02),
        (0.02, 0.05),
        (0.05, 0.1),
        (0.1, 0.3),
        (0.3, 0.5),
        (0.5, 0.7),
        (0.7, 0.9),
        (0.9, 1.01),
    ):
        inside = (stated >= low) & (stated < high)
        mean = stated[inside].mean() if inside.any() else float("nan")
        print(f"{low:>7.2f}-{min(high, 1.0):.2f}  {mean:6.3f} {share(true[inside]):8.3f} {inside.sum():9d}")


def main(engines: int, seed: int) -> None:
    """Print all tables."""
    layout, rough = layout_of(8), Rough()
    setting = Setting.tuned(layout, rough, engines, seed, tuple(RULES))
    print(f"8 bores in two banks, {engines} engines a row")
    print(quiet_row(setting, 4 * engines))
    main_table(setting, engines, 1, (1, 2, 3, 4, 5, 6))
    main_table(setting, engines, 2, (3, 4, 5, 6))
    print("\nStated odds of every adjuster, mixed visits (three in four quiet, slips of 1 to 6 sigma)")
    calibration(setting, engines)
    print("\nThe same, 8 on four shafts with couplers on blades and bypass screws")
    calibration(Setting(HARDWARE["8 on four shafts, blades"], rough, TESTING + seed, {}), engines)
    print(
        "\nRight first at the 5 % setting, its standard error, and of what is possible, for 3, 4, 5, 6 sigma "
        "(speaks, right when it speaks)"
    )
    for name, bores, banks in LAYOUTS:
        if bores != len(layout.bores):
            short_row(name, Setting.tuned(layout_of(bores, banks), rough, engines, seed), engines, (3, 4, 5, 6))
    for name in SHARED:
        short_row(name, Setting.tuned(HARDWARE[name], rough, engines, seed), engines, (3, 4, 5, 6))
    for name, other in (
        ("8, noise doubled", replace(rough, repeatability=2 * rough.repeatability)),
        ("8, 3 % misread", replace(rough, misread=0.03)),
        ("8, idle wanders 1 %", replace(rough, wander=0.01)),
    ):
        short_row(name, Setting.tuned(layout, other, engines, seed), engines, (3, 4, 5, 6))


if __name__ == "__main__":
    with report("slips"):
        arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
        arguments.add_argument("--engines", type=int, default=300)
        arguments.add_argument("--seed", type=int, default=0)
        chosen = arguments.parse_args()
        main(chosen.engines, chosen.seed)
