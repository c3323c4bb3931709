"""Whether the tests would notice a change: the share of changes killed, by part of the program.

``python -m tests.mutants`` tries a fixed sample; ``--module`` names a part (``app.sync.slips``, ``app.web.security``),
``--each`` how many changes of every part are tried, ``--slice 2/5`` the second fifth of them, and ``--write`` puts the
table into the README beside this. A run that was cut short goes on where it stopped.
"""

import argparse
import ast
import random
import sys
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from tests.benchmarks.report import keep
from tests.mutants.changes import changes
from tests.mutants.forked import warm
from tests.mutants.reach import ROOT, reach
from tests.mutants.trial import Mutant, killed, witnesses
from tests.mutants.verdicts import Verdicts

README = Path(__file__).parent / "README.md"
TOPS = ("app/sync", "app/shop", "app/web/security")
SEED = 20260101
EACH = 32
"""Changes of every part: some 540 in all."""


def parts(module: str = "app") -> dict[str, list[Mutant]]:
    """By part, a folder of the program: every change that could be made in it, of modules under ``module`` alone."""
    found: dict[str, list[Mutant]] = defaultdict(list)
    for top in TOPS:
        for path in sorted((ROOT / top).rglob("*.py")):
            file = path.relative_to(ROOT).as_posix()
            if not f"{Mutant(file, 0).module}.".startswith(f"{module}."):
                continue
            if count := len(changes(ast.parse(path.read_text(encoding="utf-8")))):
                below = file.removeprefix(f"{top}/").split("/")
                part = f"{top}/{below[0]}" if len(below) > 1 else top
                found[part] += [Mutant(file, number) for number in range(count)]
    return found


def sample(found: Mapping[str, Sequence[Mutant]], each: int) -> dict[str, list[Mutant]]:
    """The changes tried of every part: always the same ones of the same program."""
    return {
        part: sorted(random.Random(f"{SEED} {part}").sample(mutants, min(each, len(mutants))), key=repr)
        for part, mutants in found.items()
    }


def table(tried: Mapping[str, Sequence[bool]], sizes: Mapping[str, int]) -> str:
    """Parts with the share killed; of a layer that of its parts, weighed by the changes that could be made in them."""
    lines = ["| part | changes | tried | killed |", "| --- | ---: | ---: | ---: |"]
    for top in TOPS:
        of_top = [part for part in tried if part == top or part.startswith(f"{top}/")]
        for part in of_top:
            lines.append(_row(part, sizes[part], len(tried[part]), sum(tried[part]) / len(tried[part])))
        if of_top[1:]:
            size = sum(sizes[part] for part in of_top)
            share = sum(sizes[part] / size * sum(tried[part]) / len(tried[part]) for part in of_top)
            lines.append(_row(f"**{top}**", size, sum(len(tried[part]) for part in of_top), share))
    return "\n".join(lines)


def _row(part: str, size: int, count: int, share: float) -> str:
    return f"| {part} | {size} | {count} | {share:.0%} |"


def main(arguments: Sequence[str]) -> None:
    """Try the sample, say what survived, and print the table."""
    asked = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    asked.add_argument("--module", default="app")
    asked.add_argument("--each", type=int, default=EACH)
    asked.add_argument("--slice", default="1/1")
    asked.add_argument("--write", action="store_true")
    told = asked.parse_args(arguments)
    found = parts(told.module)
    first, of = map(int, told.slice.split("/"))
    chosen = {part: some for part, all_ in sample(found, told.each).items() if (some := all_[first - 1 :: of])}
    warm()
    seen, verdicts = reach(), Verdicts()
    tried: dict[str, list[bool]] = defaultdict(list)
    for part, mutants in chosen.items():
        for mutant in mutants:
            tests = witnesses(mutant, seen)
            tried[part].append(verdicts.of(mutant, partial(killed, mutant, tests)))
            if not tried[part][-1]:
                print(f"survived {len(tests)} tests: {mutant}", flush=True)
    printed = table(tried, {part: len(mutants) for part, mutants in found.items()})
    print(printed)
    if told.write:
        command = " ".join(["python -m tests.mutants", *arguments])
        keep(README, "mutants", command.removesuffix(" --write"), printed, f"{datetime.now(UTC):%Y-%m-%d}")


if __name__ == "__main__":
    main(sys.argv[1:])
