"""How often one sender may ask, by a clock that the test moves: a bucket that is full again after a second."""

from app.web.security.rate import MOST_SENDERS, Rate


class Clock:
    """Seconds, as set."""

    now = 100.0

    def __call__(self) -> float:
        return self.now


def taken(of: Rate, sender: str, times: int) -> int:
    return sum(of.takes(sender) for _ in range(times))


def test_a_bucket_of_four_gives_one_more_each_quarter_of_a_second_and_never_more_than_four() -> None:
    clock = Clock()
    bucket = Rate(4, clock)
    assert taken(bucket, "bench", 9) == 4
    clock.now += 0.25
    assert taken(bucket, "bench", 9) == 1
    clock.now += 0.125
    assert taken(bucket, "bench", 9) == 0  # half of one is left for later
    clock.now += 0.125
    assert taken(bucket, "bench", 9) == 1
    clock.now += 60
    assert taken(bucket, "bench", 9) == 4
    assert taken(bucket, "other", 9) == 4


def test_what_is_known_of_senders_is_forgotten_only_once_there_are_too_many() -> None:
    bucket = Rate(1, Clock())
    assert bucket.takes("first")
    for number in range(MOST_SENDERS - 1):
        assert bucket.takes(number)
    assert not bucket.takes("first")
    assert bucket.takes("one too many")
    assert bucket.takes("first")  # which gives whoever came too often one second's worth, and no more
    assert not bucket.takes("first")
