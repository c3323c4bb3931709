"""``python -m app.server`` is ``evenbore``."""

from app.server.cli import main

main()
