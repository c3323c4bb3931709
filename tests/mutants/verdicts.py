"""What became of each change tried so far, so that a run that was cut short goes on where it stopped."""

import hashlib
import json
from collections.abc import Callable
from functools import cached_property
from pathlib import Path

from tests.mutants.reach import ROOT
from tests.mutants.trial import Mutant

KEPT = ROOT / ".pytest_cache" / "verdicts.jsonl"


class Verdicts:
    """One that was killed stays so while its module is as it was, one that survived while every test is, too."""

    def __init__(self, kept: Path = KEPT) -> None:
        self.kept = kept
        lines = kept.read_text().splitlines() if kept.exists() else []
        self._known: dict[str, bool] = dict(json.loads(line) for line in lines)

    def of(self, mutant: Mutant, asked: Callable[[], bool]) -> bool:
        """Whether it is killed, ``asked`` where that is not known, and kept at once."""
        module = hashlib.sha256(mutant.source.encode()).hexdigest()
        change = f"{mutant.number} {mutant} {module}"  # two changes of one line may be told in the same words
        killed, survived = change, f"{change} {self._tests}"
        for name, verdict in ((killed, True), (survived, False)):
            if self._known.get(name) is verdict:
                return verdict
        verdict = asked()
        self._known[killed if verdict else survived] = verdict
        self.kept.parent.mkdir(exist_ok=True)
        with self.kept.open("a") as file:
            file.write(json.dumps([killed if verdict else survived, verdict]) + "\n")
        return verdict

    @cached_property
    def _tests(self) -> str:
        """A digest of every test."""
        files = sorted(path for path in (ROOT / "tests").rglob("*.py") if "mutants" not in path.parts)
        return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()
