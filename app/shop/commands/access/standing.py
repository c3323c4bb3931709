"""The row that a change of who has access takes the place of."""

from collections.abc import Iterable
from typing import TypeVar

from sqlmodel import Session

from app.shop.errors import ConflictError, NotFoundError
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.rows import Evidence

R = TypeVar("R", bound=Evidence)


def standing(
    session: Session,
    table: type[R],
    ident: int,
    known: Iterable[R],
    missing: Rejection,
    changed: Rejection = Rejection.CHANGED_BY_ANOTHER_TABLET,
) -> R:
    """The row of that id, which is among those ``known`` that nothing took the place of.

    Raises NotFoundError with ``missing`` for none, ConflictError with ``changed`` for one without access now.
    """
    row = session.get(table, ident)
    if row is None:
        raise NotFoundError(because(missing))
    if row.ident not in {one.ident for one in known}:
        raise ConflictError({"": because(changed)})
    return row
