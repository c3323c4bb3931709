"""Work that the program does in a process of its own, for less than that costs.

Done in the process of the test it is done soon, and open to what the test patches. Begun apart only when there is work,
it is as in the program but for the process that each page with a file's field begins ahead, two seconds of a processor.
"""

from collections.abc import Callable

from app.shop.apart import Apart, Talk, Wanted


class AtOnce(Apart):
    """Begins no process."""

    def make_ready(self) -> None:
        """Nothing is to be begun."""

    def talk(self, wanted: Wanted, work: Callable[..., Talk], *told: object) -> Talk:
        """The work itself."""
        return work(*told)


class WhenAsked(Apart):
    """Begins a process once there is work for it, and none ahead."""

    def make_ready(self) -> None:
        """It is early enough when the work is there."""
