"""Whether the cause of an uneven engine is named: the diagnosis beside a fixed list, on engines unlike its model.

Every engine is drawn from a seed of its own. A cause is right when cause and bore are; `likely` counts as named.
"""

import argparse
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from statistics import median

from app.sync.diagnosis.diagnose import NAMED, Diagnosis, Verdict, diagnose, is_likely
from app.sync.diagnosis.evidence import Finding, seen
from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind, Use
from tests.benchmarks.fault_bench import Bench
from tests.benchmarks.fault_engine import FAULTS, FaultEngine
from tests.benchmarks.fault_list import Named, listed
from tests.benchmarks.report import report
from tests.benchmarks.small_leak import leaking, untouched

LONGEST = 90.0
ODD, AT_ONCE = 2.5, 1.0
"""Spreads from which a figure is odd, and what a second look may take to be made at once, with the instrument in hand
[min]; a longer one is made where the diagnosis asks for it. Our judgement."""
FAULTY, SOUND, ODD_ONES = 100_000_000, 101_000_000, 102_000_000


@dataclass(frozen=True)
class Case:
    """What was said of one engine: the cause named (None for none), the first two, minutes, odds and verdict."""

    engine: FaultEngine
    named: Named | None
    two: tuple[Named, ...]
    minutes: float
    odds: float
    verdict: Verdict | None

    @property
    def right(self) -> bool:
        """Whether the cause named is true."""
        return self.named in self.engine.truth


def diagnosed(engine: FaultEngine) -> Case:
    """Follow the diagnosis from test to test, until it ends or the time does."""
    bench = Bench(engine)
    allowed = tuple(measure for measure in FindingKind if measure.value in engine.has)
    evened = FindingKind.VACUUM if engine.by_column else FindingKind.AIR
    findings: list[Finding] = []
    while True:
        said = diagnose(engine.banks, findings, allowed, running=bench.running, evened=evened)
        following = said.next_test
        if following is None or bench.minutes + following.minutes > LONGEST:
            return _case(engine, bench, said)
        bench.turn(following.measure.value)
        findings += _read(bench, following.measure, following.bores)


def _read(bench: Bench, measure: FindingKind, bores: tuple[int, ...]) -> list[Finding]:
    if CATALOGUE[measure].scope is Extent.ENGINE:
        return [_finding(bench, measure, None)]
    if CATALOGUE[measure].scope is Extent.BANK:
        return [_finding(bench, measure, bank) for bank in sorted(set(bench.engine.banks))]
    findings = [_finding(bench, measure, bore) for bore in bores]
    if CATALOGUE[measure].use is not Use.WORD and CATALOGUE[measure].each <= AT_ONCE:
        odd = [place for (_, place), one in seen(findings).items() if abs(one.off) > ODD * CATALOGUE[measure].spread]
        for place in odd:
            first = next(one for one in findings if place == one.bore)
            again = [_finding(bench, measure, place)]
            if abs(_of(again[0]) - _of(first)) > 0.15 * abs(_of(first)):
                again.append(_finding(bench, measure, place))
            findings += again
    return findings


def _of(one: Finding) -> float:
    assert one.value is not None
    return one.value


def _finding(bench: Bench, measure: FindingKind, place: int | None) -> Finding:
    value = bench.reading(measure.value, place)
    of_bank = CATALOGUE[measure].scope is Extent.BANK
    bore, bank = (None, place) if of_bank else (place, None)
    if isinstance(value, str):
        return Finding(measure, bore, None, value, bank)
    return Finding(measure, bore, value, "", bank)


def _case(engine: FaultEngine, bench: Bench, said: Diagnosis) -> Case:
    two: tuple[Named, ...] = tuple(
        (one.cause.value, one.bank if one.bore is None else one.bore) for one in said.standing[:2]
    )
    first = said.standing[0]
    verdict = said.verdict
    if verdict is Verdict.GOING:
        verdict = Verdict.LIKELY if is_likely(first, said.sound) else Verdict.NOT_TOLD
    named = two[0] if verdict in (Verdict.FOUND, Verdict.LIKELY) else None
    return Case(engine, named, two, bench.minutes, first.odds, verdict)


def by_list(engine: FaultEngine) -> Case:
    """Follow the fixed list to its first limit passed."""
    bench = Bench(engine)
    named = listed(bench)
    return Case(engine, named, (), min(bench.minutes, 2 * LONGEST), 1.0, None)


def engines(
    first: int, count: int, fault: str | None = None, rough: float = 1.0, by_column: bool = False
) -> Iterator[FaultEngine]:
    """Engines of consecutive seeds."""
    return (FaultEngine(first + number, fault, rough, by_column) for number in range(count))


def share(cases: Iterable[bool]) -> float:
    """The share that is true."""
    kept = list(cases)
    return sum(kept) / len(kept) if kept else 0.0


def summary(name: str, faulty: list[Case], sound: list[Case]) -> str:
    """One row: right first, within two, wrong name, none named, sound accused, minutes."""
    right, wrong = share(c.right for c in faulty), share(c.named is not None and not c.right for c in faulty)
    two = f"{share(bool(set(c.two) & c.engine.truth) for c in faulty):.3f}" if faulty[0].two else ""
    spent, sound_spent = median(c.minutes for c in faulty), median(c.minutes for c in sound)
    return (
        f"| {name} | {right:.3f} | {two} | {wrong:.3f} | {1 - right - wrong:.3f} | "
        f"{share(c.named is not None for c in sound):.3f} | {spent:.0f} | {sound_spent:.0f} |"
    )


def believed(faulty: list[Case], sound: list[Case]) -> str:
    """How often a cause that was named at high odds is true."""
    sure = [c for c in (*faulty, *sound) if c.named and c.odds >= NAMED]
    claimed = sum(c.odds for c in sure) / max(len(sure), 1)
    return f"| named at {NAMED:.2f} or more | {len(sure)} | {claimed:.3f} | {share(c.right for c in sure):.3f} |"


def confusion(faulty: list[Case]) -> Iterator[str]:
    """Percent of each true cause (row) by what was said."""
    yield "| true | n | right | other name | no name | minutes |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for fault in FAULTS:
        mine = [c for c in faulty if c.engine.fault == fault]
        if mine:
            others = Counter(c.named[0] for c in mine if c.named and not c.right)
            told = ", ".join(f"{name} {100 * count / len(mine):.0f}" for name, count in others.most_common())
            none = 100 * share(c.named is None for c in mine)
            yield (
                f"| {fault} | {len(mine)} | {100 * share(c.right for c in mine):.0f} | {told} | {none:.0f} | "
                f"{median(c.minutes for c in mine):.0f} |"
            )


Worked = Callable[[Callable[[FaultEngine], Case], Iterable[FaultEngine]], list[Case]]


def tables(of: Worked, count: int, seed: int) -> None:
    """Print them. ``of`` makes every case, ``count`` engines of each kind from ``seed`` on."""
    more = max(count // 4, 1)
    faulty = of(diagnosed, engines(FAULTY + seed, count))
    sound = of(diagnosed, engines(SOUND + seed, count, ""))
    heads = ("right first", "within two", "wrong name", "no name", "sound accused", "minutes faulty", "sound")
    print(f"| engines | {' | '.join(heads)} |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    print(summary("diagnosis", faulty, sound))
    listed_faulty = of(by_list, engines(FAULTY + seed, count))
    print(summary("fixed list", listed_faulty, of(by_list, engines(SOUND + seed, count, ""))))
    for name, rough, column in (("1.5 times as rough", 1.5, False), ("evened by columns", 1.0, True)):
        print(
            summary(
                name,
                of(diagnosed, engines(ODD_ONES + seed, more, None, rough, column)),
                of(diagnosed, engines(SOUND + 500_000 + seed, more, "", rough, column)),
            )
        )
    strange = of(diagnosed, engines(ODD_ONES + 500_000 + seed, more, "gasket"))
    print("\n| never told of | named otherwise |\n| --- | --- |")
    print(f"| a gasket between two bores | {share(c.named is not None for c in strange):.3f} |\n")
    leaks = of(diagnosed, (leaking(ODD_ONES + 700_000 + seed + number) for number in range(more)))
    print("| every instrument there | plate untouched, leak named | plate turned |\n| --- | --- | --- |")
    alone = share(c.right and untouched(c.engine) for c in leaks)
    print(f"| a leak of 2 mm² behind one plate | {alone:.3f} | {share(not untouched(c.engine) for c in leaks):.3f} |\n")
    print("| odds | n | claimed | true |\n| --- | --- | --- | --- |")
    print(believed(faulty, sound) + "\n")
    print("\n".join(confusion(faulty)))


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--engines", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    with ProcessPoolExecutor(asked.workers) as pool:
        tables(lambda do, them: list(pool.map(do, them, chunksize=4)), asked.engines, asked.seed)


if __name__ == "__main__":
    with report("diagnosis"):
        main()
