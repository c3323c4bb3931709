"""Programs of others: each with a token, what it may do, until when, and which rows were written through it."""

import secrets
from collections.abc import Iterator, Mapping, Sequence, Set
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from app.shop.at_site import ASKING, WRITING
from app.shop.commands.access.dry_run import TRIED, DryRunEnded
from app.shop.commands.access.scopes import MOST_DAYS, AccessScope
from app.shop.commands.access.sites import require_own, sites_of
from app.shop.commands.access.standing import standing
from app.shop.commands.access.tablets import hashed
from app.shop.commands.engines import LONGEST
from app.shop.errors import ConflictError, Problems, RejectedError
from app.shop.reasons import because
from app.shop.record.superseding import current
from app.shop.rejections import Rejection
from app.shop.store.access.program_rows import ProgramAccess, ProgramWrite
from app.shop.store.database import Database, raw_connection
from app.shop.store.idempotency import checked, earlier, fingerprint, new_key
from app.shop.store.row_hashes import store

THROUGH: ContextVar[int | None] = ContextVar("THROUGH", default=None)
"""The row of the program that this request came through; None for a person at a page."""


@dataclass(frozen=True, slots=True)
class Program:
    """A program that has access: the ``ident`` of its row, its name, and what it may do."""

    ident: int
    name: str
    scopes: frozenset[AccessScope]
    good_until: datetime
    site: int | None = None

    @staticmethod
    def of(row: ProgramAccess) -> "Program":
        """From its row."""
        until = datetime.fromisoformat(row.good_until)
        return Program(row.ident, row.name, frozenset(map(AccessScope, row.scopes.split())), until, row.site_id)


@dataclass(frozen=True, slots=True)
class Programs:
    """The programs that have access, each by the hash of its token."""

    known: Mapping[str, Program]

    @staticmethod
    def of(rows: Sequence[ProgramAccess]) -> "Programs":
        """The programs that these rows give access."""
        return Programs({row.token: Program.of(row) for row in rows})

    def named_by(self, token: str, now: datetime) -> Program | None:
        """The program that has that token, None where there is none or its time is over."""
        found = self.known.get(hashed(token))
        return found if found is not None and now < found.good_until else None


def let_in(session: Session) -> list[ProgramAccess]:
    """The programs whose access was not removed, in the order in which they got it; the time of some may be over."""
    rows = session.exec(select(ProgramAccess).order_by(col(ProgramAccess.id))).all()
    return [row for row in current(rows) if row.active]


def let_one_in(
    shop: Database,
    key: str,
    name: str,
    scopes: Set[AccessScope],
    days: float,
    now: datetime,
    site: int | None = None,
) -> str:
    """Give a program access for so many ``days`` and return its token, which is kept nowhere; with ``site`` it works
    for that site only. Raises RejectedError."""
    key, name = checked(key), name.strip()
    sent = fingerprint(name=name, scopes=sorted(scopes), days=days, **({} if site is None else {"site": site}))
    token = secrets.token_urlsafe(32)
    with shop.writing() as session:
        if earlier(session, ProgramAccess, key, sent) is not None:
            raise ConflictError({"": because(Rejection.TOKEN_SHOWN)})
        wrong = _problems(session, name, scopes, days)
        if site is not None and not sites_of(session).named(site):
            wrong["site"] = because(Rejection.NO_SUCH_SITE)
        if wrong:
            raise RejectedError(wrong)
        at = now.isoformat(timespec="milliseconds")
        session.add(
            ProgramAccess(
                key=key,
                payload=sent,
                name=name,
                token=hashed(token),
                scopes=" ".join(scope for scope in AccessScope if scope in scopes),
                good_until=(now + timedelta(days=days)).isoformat(timespec="milliseconds"),
                active=1,
                made_at=at,
                at=at,
                site_id=site,
            )
        )
    return token


def shut_out(shop: Database, key: str, program_id: int, at: str) -> None:
    """End a program's access. Raises NotFoundError, ConflictError."""
    key = checked(key)
    sent = fingerprint(program=program_id)
    with shop.writing() as session:
        if earlier(session, ProgramAccess, key, sent) is not None:
            return
        unknown = Rejection.NO_SUCH_PROGRAM
        before = standing(session, ProgramAccess, program_id, let_in(session), unknown, changed=unknown)
        kept = {name: getattr(before, name) for name in ("name", "token", "scopes", "good_until", "made_at", "site_id")}
        session.add(ProgramAccess(key=key, payload=sent, active=0, at=at, supersedes_id=before.ident, **kept))


def watched() -> bool:
    """Whether a write comes through a program, whose rows are named, or is only tried. A tablet of a site is held to
    its visits as they are read for a write, too."""
    return THROUGH.get() is not None or TRIED.get()


@contextmanager
def naming(session: Session) -> Iterator[None]:
    """Names the program, where the write inside comes through one, with every row that the write adds or changes, and
    keeps tablets and programs to visits of their site.

    Raises DryRunEnded where the write is only tried: it is taken back then. Raises ElsewhereError.
    """
    through, tried = THROUGH.get(), TRIED.get()
    if not watched() and ASKING.get() is None:
        yield
        return
    session.info[WRITING] = True
    connection = raw_connection(session)
    (before,) = connection.execute("SELECT coalesce(max(seq), 0) FROM change").fetchone()
    yield
    session.flush()
    require_own(session, before)
    if tried:
        raise DryRunEnded
    if through is None:
        return
    written = "SELECT row_table, row_id FROM change WHERE seq > ? AND row_table <> 'engine' ORDER BY seq"
    for table, row_id in connection.execute(written, (before,)).fetchall():
        key = new_key()
        said = {"program_id": through, "row_table": table, "row_id": row_id}
        store(session, ProgramWrite, {"key": key, "payload": fingerprint(**said), **said})


def _problems(session: Session, name: str, scopes: Set[AccessScope], days: float) -> Problems:
    wrong: Problems = {}
    if not name:
        wrong["name"] = because(Rejection.NAME_MISSING)
    elif len(name) > LONGEST:
        wrong["name"] = because(Rejection.TOO_LONG, most=LONGEST)
    elif any(row.name.casefold() == name.casefold() for row in let_in(session)):
        wrong["name"] = because(Rejection.NAME_TAKEN)
    if not scopes:
        wrong["scopes"] = because(Rejection.SCOPES_MISSING)
    if not 1 <= days <= MOST_DAYS:
        wrong["days"] = because(Rejection.TOKEN_DAYS, most=MOST_DAYS)
    return wrong
