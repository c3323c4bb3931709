"""What a server reports, as codes. Classes of SQLSTATE: PostgreSQL documentation, appendix A, "Error Codes"."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

import psycopg
from sqlalchemy.exc import DBAPIError, IntegrityError

from app.shop.reasons import because
from app.shop.store.database import ShopUnavailableError
from app.shop.store.postgres.codes import ServerProblem

CAUSES: Mapping[str, ServerProblem] = {
    "08": ServerProblem.LOST,  # connection exception
    "25006": ServerProblem.READ_ONLY,  # a standby, or a server that was set to take no writes
    "25P03": ServerProblem.LOST,  # idle in a transaction for too long
    "40": ServerProblem.STUCK,  # deadlock, serialization
    "53": ServerProblem.UNREACHABLE,  # out of memory, of connections
    "53100": ServerProblem.FULL,
    "55P03": ServerProblem.STUCK,  # lock_timeout
    "57": ServerProblem.LOST,  # shut down, crashed, starting
    "57014": ServerProblem.STUCK,  # canceled
    "58": ServerProblem.DISK_ERROR,
    "XX": ServerProblem.DISK_ERROR,  # internal error, data corrupted
}
"""By SQLSTATE, or by its class, which is its first two characters."""

RIGHTS = "42501"
OUT_OF_RANGE = "22003"


@dataclass(slots=True)
class CommitStage:
    """How far a transaction is: ``ending`` while its commit is under way, whose answer may be lost."""

    ending: bool = False


@contextmanager
def server_errors() -> Iterator[CommitStage]:
    """Turn what a server reports of itself into ShopUnavailableError, and a number that no table can hold into
    OverflowError; let every other error through."""
    stage = CommitStage()
    try:
        yield stage
    except IntegrityError:
        raise
    except (psycopg.Error, DBAPIError) as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        code = getattr(cause, "sqlstate", None) or ""
        if code == OUT_OF_RANGE:
            raise OverflowError(str(cause)) from error
        if code == RIGHTS:
            raise ShopUnavailableError(because(ServerProblem.RIGHTS, why=first_line(cause))) from error
        known = CAUSES.get(code) or CAUSES.get(code[:2])
        if known is None and not code and isinstance(cause, psycopg.OperationalError):
            known = ServerProblem.LOST
        if known is None:
            raise
        if stage.ending and known is ServerProblem.LOST:
            known = ServerProblem.UNKNOWN_IF_SAVED
        raise ShopUnavailableError(because(known)) from error


def first_line(error: BaseException | None) -> str:
    """What a server says, without the statement that it quotes."""
    return next(iter(str(error).splitlines()), "").strip()
