"""The clock of the program goes on when that of the computer is put back, and follows it forward."""

from app.web.steady_clock import SteadyClock


class Computer:
    """A computer whose clock is set, and that sleeps: asleep, its clock goes on and what it counts does not."""

    def __init__(self) -> None:
        self.wall, self.passed = 1000.0, 50.0

    def wait(self, seconds: float, *, asleep: bool = False) -> None:
        self.wall += seconds
        self.passed += 0 if asleep else seconds

    def clock(self) -> SteadyClock:
        return SteadyClock(lambda: self.wall, lambda: self.passed)


def test_it_follows_the_clock_forward_and_through_a_sleep() -> None:
    computer = Computer()
    clock = computer.clock()
    computer.wait(60)
    assert clock().timestamp() == 1060
    computer.wait(7200, asleep=True)
    assert clock().timestamp() == 8260
    computer.wall += 3600
    assert clock().timestamp() == 11860


def test_put_back_it_goes_on_by_what_passes() -> None:
    computer = Computer()
    clock = computer.clock()
    computer.wall -= 3600
    computer.wait(1500)
    assert clock().timestamp() == 2500
    computer.wait(60)
    assert clock().timestamp() == 2560
