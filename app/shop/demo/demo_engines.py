"""The engines of the demonstration yard and what happened to each. All of it is invented."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Piece:
    """One engine of the demonstration and what happened to it. ``until`` leaves its last visit open there, ``now``
    with work on it going on this minute."""

    serial: str
    description: str
    liters: float
    customer: str
    vehicle: str
    banks: tuple[tuple[int, ...], ...]
    visits: tuple[tuple[str, str, str, int], ...]
    slips: tuple[int, int] | None = None
    until: str = ""
    springless: frozenset[int] = frozenset()
    inches: bool = False
    now: bool = False


PIECES = (
    Piece(
        "31-0217",
        "Eight with raised intakes",
        3.9,
        "C-104",
        "Blue coupe",
        ((1, 2, 3, 4), (5, 6, 7, 8)),
        (
            ("test cell", "1007", "First sync", 640),
            ("vehicle", "1061", "Rough when hot", 400),
            ("vehicle", "1184", "Idle wanders", 0),
        ),
        slips=(2, 3),
        until="heat",
        now=True,
        springless=frozenset({3, 7}),
    ),
    Piece(
        "31-0305",
        "Twelve for the launch",
        5.3,
        "C-131",
        "Harbor launch",
        ((1, 2, 3, 4, 5, 6), (7, 8, 9, 10, 11, 12)),
        (("test cell", "1120", "First sync", 210), ("test cell", "1201", "Before the season", 2)),
        slips=(9, 10),
        until="heat",
    ),
    Piece(
        "22-0098",
        "Four in line, hill engine",
        2.0,
        "C-077",
        "Club racer",
        ((1, 2, 3, 4),),
        (
            ("test cell", "0988", "First sync", 700),
            ("telephone", "1040", "Own ring fitted at home", 330),
            ("vehicle", "1190", "Another exhaust", 1),
        ),
        slips=(2, 3),
        until="lock",
    ),
    Piece(
        "22-0311",
        "Six in line, estate",
        3.0,
        "C-150",
        "White estate",
        ((1, 2, 3, 4, 5, 6),),
        (("test cell", "1130", "First sync", 180), ("vehicle", "1203", "Fitted to the car", 3)),
        slips=(4, 5),
        until="fire",
    ),
    Piece(
        "18-0264",
        "Six in two banks",
        2.7,
        "C-092",
        "Hill climb car",
        ((1, 3, 5), (2, 4, 6)),
        (("test cell", "1096", "First sync", 300), ("test cell", "1196", "Popping at light throttle", 4)),
        slips=(3, 5),
        until="bank",
    ),
    Piece(
        "31-0312",
        "Eight, touring",
        7.4,
        "C-160",
        "Touring car",
        ((1, 3, 5, 7), (2, 4, 6, 8)),
        (("test cell", "1143", "First sync", 90), ("vehicle", "1204", "After the first thousand", 6)),
        slips=(4, 6),
        until="done",
        inches=True,
    ),
    Piece(
        "31-0330",
        "Eight, new build",
        4.4,
        "C-171",
        "Not in a car yet",
        ((1, 2, 3, 4), (5, 6, 7, 8)),
        (("test cell", "1211", "First sync", 0),),
        until="cold",
    ),
)
"""Seven engines. A visit is place, job, reason, and how many days before today."""
