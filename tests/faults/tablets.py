"""Four tablets on one visit, at once and without mercy.

``python -m tests.faults.tablets --seconds 600`` lets them go on for longer than the test beside it does.
"""

import argparse
import math
import random
import re
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.upgrade import open_shop
from tests.faults.bench import Answer, Ledger, Tablet, audit, readings_path, rows_of, shop_with_visits
from tests.serving import serving

TABLETS = 4


class Hand(threading.Thread):
    """Someone at a tablet who reads, corrects, moves and looks, whatever the others do."""

    def __init__(self, address: str, ledger: Ledger, over: Callable[[], bool], seed: int) -> None:
        super().__init__()
        self.tablet = Tablet(address)
        self.ledger = ledger
        self.over = over
        self.chance = random.Random(seed)
        self.answers: Counter[int] = Counter()
        self.trouble: BaseException | None = None
        self.number = seed
        self.round = 2
        self.start()

    def run(self) -> None:
        try:
            with self.tablet:
                while not self.over():
                    self.act()
        except BaseException as error:
            self.trouble = error

    def look(self) -> Answer:
        """See the page, and which round is read now: a move ends the one before it."""
        answer = self.tablet.get(readings_path(1))
        found = re.search(r'data-round="(\d+)"', answer.page)
        self.round = int(found[1]) if found else self.round
        return answer

    def act(self) -> None:
        """One thing, chosen by chance."""
        self.number += 1
        what = self.chance.random()
        if what < 0.1:
            self.answers[self.look().status] += 1
            return
        if what < 0.15:
            key = self.ledger.new_reading(0)["key"]
            self.ledger.sent.discard(key)
            answer = self.tablet.post(
                f"/visits/1/{HEAT_SOAKED.slug}/moves",
                {"key": key, "kind": "blade", "place": "2-3", "leaf": "3", "by": "KM"},
            )
            self.answers[answer.status] += 1
            return
        fields = self.ledger.new_reading(self.number, self.round)
        if what < 0.3:
            fields["supersedes"] = str(self.chance.randint(1, 40))  # often one that another tablet corrected
        answer = self.tablet.post(readings_path(1), fields)
        self.answers[answer.status] += 1
        stored = self.ledger.note(fields["key"], answer)
        if stored == (answer.status >= 400):
            raise AssertionError(f"{answer.status} and a key of {answer.saved}")
        if answer.status == 409:
            self.look()
        if answer.status == 422:  # an extra reading of a bore that this round has none of yet
            first = {**self.ledger.new_reading(self.number, self.round), "kind": "turn"}
            again = self.tablet.post(readings_path(1), first)
            self.answers[again.status] += 1
            self.ledger.note(first["key"], again)
        if stored and what > 0.9:  # an answer that got lost on the way back
            self.ledger.note(fields["key"], self.tablet.post(readings_path(1), fields))


def run(folder: Path, seconds: float, enough: float = math.inf) -> Counter[int]:
    """Let the tablets loose on a shop in ``folder`` for so long, audit what is left, and say how they were answered.

    They stop sooner once ``enough`` readings were acknowledged.
    """
    before = shop_with_visits(folder)
    ledger = Ledger()
    shop = open_shop(folder)
    with serving(shop) as address:
        until = time.monotonic() + seconds

        def over() -> bool:
            return time.monotonic() > until or len(ledger.acknowledged) >= enough

        hands = [Hand(address, ledger, over, 1000 * number) for number in range(TABLETS)]
        for hand in hands:
            hand.join()
    shop.close()
    for hand in hands:
        if hand.trouble is not None:
            raise hand.trouble
    audit(folder, before, ledger)
    if rows_of(folder)["reading"] != len(before) + len(set(ledger.acknowledged)):
        raise AssertionError("more readings are stored than were acknowledged")
    return sum((hand.answers for hand in hands), Counter())


def main() -> None:
    """For as long as the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    seconds = parser.parse_args().seconds
    with tempfile.TemporaryDirectory() as folder:
        answers = run(Path(folder) / "shop", seconds)
    told = ", ".join(f"{count} times {status}" for status, count in sorted(answers.items()))
    print(f"{TABLETS} tablets, {seconds:g} s: {told}; the file is whole, nothing lost, nothing twice")


if __name__ == "__main__":
    main()
