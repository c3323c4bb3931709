"""From readings to the next move: pure functions on frozen dataclasses, in base units, without files or a clock."""
