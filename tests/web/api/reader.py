"""Who reads a stream of changes."""

import json
from collections.abc import Iterator
from typing import Any


def told(stream: Iterator[str]) -> Iterator[dict[str, Any]]:
    """The changes of a stream, each with its id held to its seq."""
    said: dict[str, str] = {}
    for line in stream:
        name, _, value = line.partition(": ")
        if line:
            said[name] = value
        elif "data" in said:
            change = json.loads(said["data"])
            assert (said["event"], int(said["id"])) == ("change", change["seq"])
            yield change
            said = {}
