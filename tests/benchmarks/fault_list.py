"""A careful person's fixed list: the same instruments, plain limits, always in the same order."""

from collections.abc import Iterator
from statistics import median

from tests.benchmarks.fault_bench import Bench

Named = tuple[str, int | None]


def listed(bench: Bench) -> Named | None:
    """What the list names, None where it comes to its end. The bench keeps the minutes."""
    return next(_named(bench), None)


def _off(bench: Bench, test: str) -> list[float]:
    """How far each bore is off the middle, as a fraction; an odd one is read again."""
    figures = bench.round(test)
    return [
        figure / middle - 1 if (middle := median(figures[:bore] + figures[bore + 1 :])) else 0.0
        for bore, figure in enumerate(figures)
    ]


def _named(bench: Bench) -> Iterator[Named]:
    yield from _air(bench)
    yield from _vacuum(bench)
    yield from _weak(bench)
    yield from _rest(bench)


def _air(bench: Bench) -> Iterator[Named]:
    for bore, off in enumerate(_off(bench, "air")):
        if abs(off) > 0.10:
            yield ("coupler" if bench.once("reset", bore) < 0.5 else "plate"), bore


def _vacuum(bench: Bench) -> Iterator[Named]:
    if "vacuum" not in bench.has:
        return
    for bore, off in enumerate(_off(bench, "vacuum")):
        if abs(off) > 0.13:
            if bench.word("spray", bore) == "moved":
                yield "leak", bore
            if abs(bench.once("adapter", bore) - 1) > 0.08:
                yield "meter", bore


def _weak(bench: Bench) -> Iterator[Named]:
    heats = bench.round("heat")
    drops = _off(bench, "drop")
    for bore, heat in enumerate(heats):
        cold = heat - median(heats[:bore] + heats[bore + 1 :])
        if cold > -75 and drops[bore] > -0.5:
            continue
        if bench.word("spray", bore) == "moved":
            yield "leak", bore
        if bench.word("swap", bore) == "moved":
            yield "spark", bore
        if bench.word("resistance", bore) == "wrong":
            yield "no_fuel", bore
        yield from _flow(bench)
        yield from _compression(bench)


def _flow(bench: Bench) -> Iterator[Named]:
    if "flow" in bench.has:
        for bore, off in enumerate(_off(bench, "flow")):
            if abs(off) > 0.12:
                yield ("rich" if off > 0 else "no_fuel" if off < -0.8 else "lean"), bore


def _compression(bench: Bench) -> Iterator[Named]:
    for bore, off in enumerate(_off(bench, "compression")):
        if off < -0.12:
            blows = bench.word("leak_down", bore) if "leak_down" in bench.has else "valve"
            yield ("rings" if blows == "crankcase" else "valve"), bore


def _rest(bench: Bench) -> Iterator[Named]:
    for bore in range(len(bench.engine.bores)):
        if (felt := bench.word("feel", bore)) != "free" and bench.word("feel", bore) == felt:
            yield ("slack" if felt == "slack" else "sticking"), bore
    if bench.once("squeeze", None) > 0.4:
        yield "shared_leak", None
    if "timing" in bench.has:
        degrees = bench.round("timing")
        for bore, early in enumerate(degrees):
            if abs(early - median(degrees[:bore] + degrees[bore + 1 :])) > 4.5:
                yield "timing", bore
    if "back_pressure" in bench.has:
        for bank in sorted(set(bench.engine.banks)):
            if bench.once("back_pressure", bank) > 9:
                yield "exhaust", bank
    yield from _compression(bench)
    yield from _flow(bench)
