"""A port that nobody listens on."""

import socket


def free_port() -> int:
    """A port of the loopback interface that is free now."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        port: int = door.getsockname()[1]
        return port
