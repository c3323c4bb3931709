"""Work that the program does in a process of its own, done in that of the test: soon, and open to what it patches."""

from collections.abc import Callable

from app.shop.apart import Apart, Talk, Wanted


class AtOnce(Apart):
    """Begins no process."""

    def make_ready(self) -> None:
        """Nothing is to be begun."""

    def talk(self, wanted: Wanted, work: Callable[..., Talk], *told: object) -> Talk:
        """The work itself."""
        return work(*told)
