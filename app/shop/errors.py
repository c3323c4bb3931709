"""What the store says no with: one family, each named after what is wrong, mapped to a status once in ``app.web``."""


class RejectedError(Exception):
    """What was asked cannot be stored. ``problems`` maps each field to the sentence that stands beside it."""

    def __init__(self, problems: dict[str, str]) -> None:
        super().__init__("; ".join(problems.values()))
        self.problems = problems


class NotFoundError(RejectedError):
    """The engine, visit or other thing named does not exist."""

    def __init__(self, what: str) -> None:
        super().__init__({"": f"There is no {what} here."})


class ConflictError(RejectedError):
    """Somebody else wrote in between, or the key was used before for something else. Nothing was changed."""
