"""``python -m app`` is ``evenbore``."""

from app.cli import main

main()
