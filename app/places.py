"""Where things lie: the files that come with the program, and the folder that a shop's records go into by default."""

from pathlib import Path

from platformdirs import user_data_path

PACKAGE = Path(__file__).parent


def _with_the_program(name: str) -> Path:
    """A wheel carries the folder inside the package; a checkout has it beside the package."""
    inside = PACKAGE / name
    return inside if inside.is_dir() else PACKAGE.parent / name


def templates() -> Path:
    """The folder of page templates."""
    return _with_the_program("templates")


def static() -> Path:
    """The folder of files that the server hands out as they are."""
    return _with_the_program("static")


def migrations() -> Path:
    """The folder of Alembic's environment and revisions."""
    return _with_the_program("migrations")


def default_data_folder() -> Path:
    """The platform's usual place for user data. It need not exist yet."""
    return user_data_path("evenbore", appauthor=False)
