"""What a column of a logger's file holds, in words."""

from app.wording.causes import tests
from app.wording.message import Message, say

LEFT_OUT = Message("Leave out", context="column")
TIME = Message("Time, s")
SPEED = Message("Engine speed, rpm")
MEASURED = Message("{test}, {unit}")


def left_out() -> str:
    """The choice of a column that is not read."""
    return say(LEFT_OUT)


def time() -> str:
    """The choice of the column that holds the time."""
    return say(TIME)


def speed() -> str:
    """The choice of the column that holds the engine's speed."""
    return say(SPEED)


def measured(test: str, unit: str) -> str:
    """The choice of a column that holds what a test reads, with its unit."""
    return say(MEASURED, test=test, unit=tests.unit(unit))
