"""The one place where a refusal of the store becomes a status."""

from app.shop.refusals import ConflictError, NotThereError, RefusedError

STATUS = {NotThereError: 404, ConflictError: 409, RefusedError: 422}


def status_of(refusal: RefusedError) -> int:
    """The status that a refusal answers with."""
    return next(status for kind, status in STATUS.items() if isinstance(refusal, kind))
