"""Two banks just off idle: how well a wrong link is recovered, and whether the right cause is named or asked for.

``python -m tests.benchmarks.banks [--engines N] [--seed S]`` prints the tables. Idle is one round, as a visit leaves
it, and how steeply the banks open is the model's; every bore is read once at two openings (10 and 30 mrad of the
lever), then where the story asks for it at a third. The lever's own free play, its opening and the plates' parting off
idle are the engine's; nobody tells the fit.
"""

import argparse
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.sync.banks.bank_means import CENTRAL_LEVER, Opening
from app.sync.banks.banks import BETWEEN_TRAVEL, LEAST_TRAVEL, NEXT_TRAVEL, BankAssessment, balance
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.engine_air import usual_breathing
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Layout
from app.sync.engine.linkage import link_rotation
from app.sync.engine.units import LITER
from tests.benchmarks.report import report
from tests.benchmarks.returning import IDLE_SPEED, Fleet, Floats, Rough, layout_of, share

TESTING = 4_000_000
IDLE_ROUNDS, ASKED = 1, 5
LENGTH_ERROR, RATIO_ERROR, HANDS = 0.008, 0.02, 0.12
PER_BORE = 0.5 * LITER
HARDWARE = likely_hardware(8 * PER_BORE, 8)
PAIR = (LEAST_TRAVEL, NEXT_TRAVEL)
# What tells the true cause from the strongest other one. A wider opening also shows a ratio, and a very late bank.
TELLS: dict[frozenset[Cause], frozenset[str]] = {
    frozenset({Cause.LENGTH, Cause.SLACK}): frozenset({"both_ways", "wider_opening"}),
    frozenset({Cause.NOTHING, Cause.SLACK}): frozenset({"both_ways", "again"}),
    frozenset({Cause.RATIO, Cause.SLACK}): frozenset({"both_ways", "angle_gauge", "wider_opening"}),
    frozenset({Cause.RATIO, Cause.LENGTH}): frozenset({"angle_gauge", "wider_opening"}),
    frozenset({Cause.RATIO, Cause.NOTHING}): frozenset({"angle_gauge", "wider_opening"}),
    frozenset({Cause.LENGTH, Cause.NOTHING}): frozenset({"again"}),
}


@dataclass(frozen=True, slots=True)
class Links:
    """What is truly wrong: how much earlier the second bank leaves [rad], how much faster it opens, as fractions; lost
    motion of the second bank [rad]; which bank, if any, its link holds off the stop.
    """

    offset: Floats
    ratio: Floats
    slack: Floats
    held: bool = False


@dataclass(frozen=True, slots=True)
class Followed:
    """What the tool said after the two openings, and after it was given what it asked for."""

    first: BankAssessment
    last: BankAssessment
    asked: tuple[str, ...]


class Shed:
    """Engines whose idle was read, ready to be read at any opening."""

    def __init__(self, layout: Layout, rough: Rough, links: Links, seed: int) -> None:
        count = len(links.offset)
        self.layout, self.rough, self.links = layout, rough, links
        self.rng = np.random.default_rng([seed, len(layout.bores), count])
        self.fleet = Fleet(layout, count, self.rng, rough)
        self.second = np.array([bore in layout.banks[1].bores for bore in layout.bores])
        self.free_play = self.rng.uniform(0.001, 0.006, count)
        rounds = [self.fleet.read(self.fleet.flow, self.fleet.scale) for _ in range(IDLE_ROUNDS)]
        self.idle = np.mean(rounds, axis=0)
        self.usual = usual_breathing(len(layout.bores), PER_BORE * len(layout.bores), IDLE_SPEED)

    def read(self, travel: float, from_above: bool = False) -> list[Opening]:
        """Every bore once, with the lever on a blade of so much travel [m]."""
        links, rng = self.links, self.rng
        blade = travel / CENTRAL_LEVER * (1 + 0.02 * rng.standard_normal(len(links.offset)))
        lever = (blade + 0.0005 * rng.standard_normal(len(blade)))[:, None]
        wander = 0.0005 * rng.standard_normal(self.fleet.shape)
        play = self.free_play[:, None]
        slack = 0.0 if from_above else links.slack[:, None]
        offset = links.offset[:, None]
        late = np.where(self.second, np.maximum(-offset, 0.0) + slack, np.maximum(offset, 0.0)) + play
        if links.held:  # the held bank moves at once, the other after its own free play
            late = np.where(self.second == (offset > 0), 0.0, np.abs(offset))
        faster = 1 + np.where(self.second, 0.5, -0.5) * links.ratio[:, None]
        opened = np.maximum(faster * lever - late, 0.0) + np.where(faster * lever > late, wander, 0.0)
        flow, _ = self.fleet.breathe(self.fleet.angle + opened, self.fleet.day)
        shown = self.fleet.read(flow, self.fleet.scale)
        return [Opening(travel, self._named(row), from_above=from_above) for row in shown]

    def tell(
        self,
        engine: int,
        openings: Sequence[Opening],
        free_play: bool = True,
        gauged: float | None = None,
        both_hands: bool = False,
        joints_tight: bool = False,
    ) -> BankAssessment:
        """The tool's story of one engine, with what the program has of it."""
        return balance(
            self.layout,
            HARDWARE,
            self._named(self.idle[engine]),
            openings,
            self.rough.meter,
            free_play,
            both_hands,
            engine=self.usual,
            joints_tight=joints_tight,
            idle_times=IDLE_ROUNDS,
            gauged_ratio=gauged,
        )

    def follow(self, travels: Sequence[float] = PAIR) -> list[Followed]:
        """Read the openings, then whatever the tool asks for."""
        rounds = {(travel, False): self.read(travel) for travel in travels}
        followed = []
        for engine in range(len(self.links.offset)):
            openings = [row[engine] for row in rounds.values()]
            proven, gauged, asked = not self.links.held, None, list[str]()
            first = story = self.tell(engine, openings, proven)
            while len(asked) < ASKED and story.extra not in ("none", "free_play"):
                asked.append(story.extra)
                if story.extra == "angle_gauge":
                    gauged = float(self.links.ratio[engine]) + 0.004 * float(self.rng.standard_normal())
                else:
                    above = story.extra == "both_ways"
                    wider = story.extra in ("opening", "wider_opening")
                    for travel in (story.extra_travel,) if wider else travels:
                        openings.append(self.read(travel, above)[engine])
                story = self.tell(engine, openings, proven, gauged)
            followed.append(Followed(first, story, tuple(asked)))
        return followed

    def _named(self, values: Floats) -> dict[int, float]:
        return dict(zip(self.layout.bores, values.tolist(), strict=True))


def wrong_links(count: int, seed: int) -> Links:
    """Links wrong by 8 mrad and levers unequal by 2 %, as standard deviations."""
    rng = np.random.default_rng([seed, count, 1])
    return Links(LENGTH_ERROR * rng.standard_normal(count), RATIO_ERROR * rng.standard_normal(count), np.zeros(count))


def one_wrong(count: int, seed: int, offset: float, ratio: float, slack: float, held: bool = False) -> Links:
    """The same thing wrong on every engine, either way."""
    rng = np.random.default_rng([seed, count, 2])
    signs = rng.choice([-1.0, 1.0], (2, count))
    return Links(offset * signs[0], ratio * signs[1], np.full(count, slack), held)


def bounds(
    layout: Layout, rough: Rough, both_hands: bool, travels: Sequence[float], engines: int = 1000
) -> tuple[float, float]:
    """Share within half a flat at the Cramer-Rao bound: of the banks' differences, and of both banks' levels.

    The simulator's own mean and covariance of the readings are taken as known at every offset, all else averaged over;
    the prior spread of the offset counts as information. The second needs the simulator's own average curve, which no
    shop has. Normal readings are assumed, so a clever use of their shape might do slightly better.
    """
    half, apart = link_rotation(0.5, HARDWARE, both_hands), 0.001
    places = np.linspace(-0.020, 0.0, 9)
    weights = np.exp(-((places / LENGTH_ERROR) ** 2) / 2)
    within = np.zeros((len(places), 2))
    for row, place in enumerate(places):
        seen = [_levels(layout, rough, float(place) + by, travels, engines) for by in (-apart, apart)]
        differences = [one[1::2] - one[::2] for one in seen]
        for column, (below, above) in enumerate((differences, seen)):
            slope = (above.mean(axis=1) - below.mean(axis=1)) / (2 * apart)
            spread = (np.cov(below) + np.cov(above)) / 2
            sd = (float(slope @ np.linalg.solve(spread, slope)) + LENGTH_ERROR**-2) ** -0.5
            within[row, column] = math.erf(half / sd / math.sqrt(2))
    of_differences, of_levels = (float(one) for one in weights @ within / weights.sum())
    return of_differences, of_levels


def _levels(layout: Layout, rough: Rough, offset: float, travels: Sequence[float], engines: int) -> Floats:
    """Rise of ln(flow) of first and second bank at each opening in turn, then the gain learned; rows by engines."""
    ratio = RATIO_ERROR * np.random.default_rng(4).standard_normal(engines)
    shed = Shed(layout, rough, Links(np.full(engines, offset), ratio, np.zeros(engines)), TESTING)
    rows = []
    for travel in travels:
        shown = np.array([[one.readings[bore] for bore in layout.bores] for one in shed.read(travel)])
        rises = np.log(shown / shed.idle)
        rows += [rises[:, ~shed.second].mean(axis=1), rises[:, shed.second].mean(axis=1)]
    return np.array(rows)


def recovery(
    name: str, layout: Layout, rough: Rough, engines: int, seed: int, both_hands: bool, times: int = 1
) -> None:
    """Error of the offset after two openings, and what the flats leave, in halves of a flat."""
    half = link_rotation(0.5, HARDWARE, both_hands)
    shed = Shed(layout, rough, wrong_links(engines, seed), TESTING + seed)
    hands = np.random.default_rng([seed, engines, 3])
    start = shed.links.offset.copy()
    error, stated, left = np.zeros(engines), np.zeros(engines), []
    after, asked = np.zeros(engines), 0
    for correction in range(2):
        rounds = [shed.read(travel) for travel in PAIR for _ in range(times)]
        between = shed.read(BETWEEN_TRAVEL) if correction == 0 else []
        turned = np.zeros(engines)
        for engine in range(engines):
            story = shed.tell(engine, [row[engine] for row in rounds], both_hands=both_hands, joints_tight=True)
            if correction == 0:
                after[engine] = error[engine] = story.offset - start[engine]
                stated[engine] = story.offset_sd
                if story.sharper_travel:
                    asked += 1
                    readings = [*(row[engine] for row in rounds), between[engine]]
                    sharper = shed.tell(engine, readings, both_hands=both_hands, joints_tight=True)
                    after[engine] = sharper.offset - start[engine]
            if story.bank is not None:
                flats = story.flats + HANDS * hands.standard_normal()
                turned[engine] = link_rotation(flats, HARDWARE, both_hands) * (1 if story.bank == "B" else -1)
        shed.links = replace(shed.links, offset=shed.links.offset + turned)
        left.append(np.abs(shed.links.offset))
    differences, levels = bounds(layout, rough, both_hands, [travel for travel in PAIR for _ in range(times)])
    print(
        f"{name:<28} {share(np.abs(error) <= half):6.3f} ({differences:.3f}, {levels:.3f}) "
        f"{share(np.abs(error) <= 2 * half):6.3f} "
        f"{1e3 * error.std():6.2f} {1e3 * np.sqrt(np.mean(stated**2)):6.2f} | "
        f"{asked / engines:5.2f} {share(np.abs(after) <= half):6.3f} | "
        f"{share(left[0] <= 2 * half):6.3f} {share(left[1] <= 2 * half):6.3f}",
        flush=True,
    )


def right_reading(story: BankAssessment, truth: Cause) -> bool:
    """Whether what was asked for tells the true cause from the strongest other one."""
    if story.extra == "free_play":
        return truth is Cause.HELD
    rival = max((cause for cause in story.odds if cause != truth), key=lambda cause: story.odds[cause])
    return story.extra in TELLS.get(frozenset({truth, rival}), frozenset())


def naming(name: str, truth: Cause, layout: Layout, rough: Rough, links: Links, seed: int) -> None:
    """How often the cause is named rightly, the right reading asked for, nothing seen, or the wrong one named."""
    followed = Shed(layout, rough, links, TESTING + seed + 1).follow()
    count = len(followed)
    print(f"{name:<28}", end="")
    for hypotheses in ([one.first for one in followed], [one.last for one in followed]):
        named = [story for story in hypotheses if story.cause is not Cause.UNKNOWN]
        right = [story.cause == truth for story in named]
        asked = [right_reading(story, truth) for story in hypotheses if story.cause is Cause.UNKNOWN]
        missed = sum(story.cause is Cause.NOTHING and truth is not Cause.NOTHING for story in named)
        shares = (sum(right), sum(asked), missed, len(named) - sum(right) - missed)
        print("".join(f" {number / count:6.3f}" for number in shares), end=" |")
    print(f" {np.mean([len(one.asked) for one in followed]):.1f}")


CASES: tuple[tuple[str, Cause, tuple[float, float, float], bool], ...] = (
    ("nothing wrong", Cause.NOTHING, (0.0, 0.0, 0.0), False),
    ("length 5 mrad", Cause.LENGTH, (0.005, 0.0, 0.0), False),
    ("length 9 mrad", Cause.LENGTH, (0.009, 0.0, 0.0), False),
    ("length 15 mrad", Cause.LENGTH, (0.015, 0.0, 0.0), False),
    ("ratio 5 %", Cause.RATIO, (0.0, 0.05, 0.0), False),
    ("ratio 8 %", Cause.RATIO, (0.0, 0.08, 0.0), False),
    ("lost motion 9 mrad", Cause.SLACK, (0.0, 0.0, 0.009), False),
    ("held off its stop 8 mrad", Cause.HELD, (0.008, 0.0, 0.0), True),
)


def main(engines: int, seed: int) -> None:
    """Print both tables."""
    rough = Rough()
    doubled = replace(rough, repeatability=2 * rough.repeatability)
    print(f"Recovery of the offset, links wrong by 8 mrad (sd), levers by 2 %; {engines} engines a row")
    print(
        f"{'':<28} half a flat (bound: differences, levels), a flat; error sd, stated [mrad] | third opening "
        "asked for, half a flat with it | left within a flat after one, two corrections"
    )
    for bores in (4, 6, 8, 12):
        recovery(f"{bores} bores, single thread", layout_of(bores), rough, engines, seed, False)
    recovery("8, left/right rod", layout_of(8), rough, engines, seed, True)
    recovery("8, read twice", layout_of(8), rough, engines, seed, False, 2)
    recovery("8, noise doubled", layout_of(8), doubled, engines, seed, False)
    recovery("8, doubled, left/right rod", layout_of(8), doubled, engines, seed, True)
    print("\nCause after two openings, and after what was asked for: right, right reading asked, nothing seen, wrong")
    for name, truth, wrong, held in CASES:
        naming(name, truth, layout_of(8), rough, one_wrong(engines, seed, *wrong, held), seed)
    nine = one_wrong(engines, seed, 0.009, 0.0, 0.0)
    for name, bores, other in (("noise doubled", 8, doubled), ("4 bores", 4, rough), ("12 bores", 12, rough)):
        naming(f"length 9 mrad, {name}", Cause.LENGTH, layout_of(bores), other, nine, seed)


if __name__ == "__main__":
    with report("banks"):
        arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
        arguments.add_argument("--engines", type=int, default=200)
        arguments.add_argument("--seed", type=int, default=0)
        chosen = arguments.parse_args()
        main(chosen.engines, chosen.seed)
