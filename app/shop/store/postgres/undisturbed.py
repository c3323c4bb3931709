"""What is known to hold as long as nothing at all was added to the records but by this process.

Every row that a visit depends on is told to programs, by a change with the next number. So where the newest change is
still the one that this process made, what it had in mind then holds, and one number is asked for instead of how far
the visit goes. Where another process wrote meanwhile, the visit itself is asked for.
"""

from app.shop.store.both.records import Answers, Statement
from app.shop.store.lru import LruCache

NEWEST_CHANGE = Statement("SELECT coalesce(max(seq), 0) FROM change")

MOST_HELD = 2000
"""Visits that are written to at one time, and more (our judgement)."""


class Undisturbed:
    """Answers that hold up to the newest change that is known here.

    One thread at a time: the one that has the turn of this process's writes.
    """

    def __init__(self) -> None:
        self._since = self._newest = 0
        """Each change after ``_since``, up to ``_newest``, is one row that was ``stored`` from here, and there was no
        other between."""
        self._held = LruCache(MOST_HELD)
        """By statement its answer, and a change that it held at."""

    def instead(self, answers: Answers) -> Answers | None:
        """What is to be asked in place of ``answers``; None where it is not known that they follow from that."""
        for asked, answer in answers.items():
            known = self._held.get(asked)
            if known is None or known[0] != answer or known[1] < self._since:
                return None
        return {NEWEST_CHANGE: (self._newest,)}

    def stored(self, change: int, answers: Answers) -> None:
        """A row was stored with the number ``change``, and it changed no answer but these, which are so since."""
        if change != self._newest + 1:
            self._since = change
        self._newest = change
        for asked, answer in answers.items():
            self._held.put(asked, (answer, change))
