"""What a program of others may do, and for how long at most. Light, since the command line reads it for its help."""

from enum import StrEnum

MOST_DAYS = 365
"""The longest that a token is good for [days]."""


class AccessScope(StrEnum):
    """What a program may do. The JSON interface publishes the values, so none of them changes."""

    READ = "read"
    RECORD = "record"
    ENGINES = "engines"
    EVENTS = "events"
    HAND_OVER = "hand-over"
