"""The sites of a group and their rooms: added, changed and closed; and who asks from where."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from sqlmodel import Session, col, select

from app.shop.at_site import ASKING, NO_SITE, Asker, own_site, require_site, sees_all_sites
from app.shop.commands.access.standing import standing
from app.shop.commands.access.tablets import named
from app.shop.errors import ElsewhereError, RejectedError
from app.shop.queries.changes import changes_after
from app.shop.reasons import Reason, because
from app.shop.record import stored_settings
from app.shop.record.superseding import current
from app.shop.rejections import Rejection
from app.shop.store.database import Database, raw_connection
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import RoomRow, SiteRow, Tablet


@dataclass(frozen=True, slots=True)
class Room:
    """A room, by the row that it began with."""

    ident: int
    row_id: int
    name: str


@dataclass(frozen=True, slots=True)
class Site:
    """A site, by the row that it began with and that row's key; ``row_id`` is the row that holds now."""

    ident: int
    key: str
    row_id: int
    name: str
    head_office: bool
    rooms: tuple[Room, ...]


@dataclass(frozen=True, slots=True)
class SitesRead:
    """What a page that tells of sites offers who asks: ``all`` to choose from, none where only one is read; ``limited``
    then, and ``own`` is what that one is called, empty for a tablet or program of none."""

    all: tuple[Site, ...]
    limited: bool
    own: str


@dataclass(frozen=True, slots=True)
class Sites:
    """The sites that are open, in the order in which they were added, and whether they keep customers to themselves."""

    all: tuple[Site, ...] = ()
    hide_customers: bool = False
    _site_of_room: Mapping[int, Site] = field(default_factory=dict)

    def of_room(self, room: int | None) -> Site | None:
        """The site of a room; None for no room, and for one that was closed."""
        return self._site_of_room.get(room or 0)

    def of(self, site: int | None) -> Site | None:
        """The site of that id; None for none, and for one that was closed."""
        return next((one for one in self.all if one.ident == site), None)

    def named(self, site: int | None) -> str:
        """The name of a site; empty for none."""
        found = self.of(site)
        return found.name if found is not None else ""

    def read_here(self) -> SitesRead:
        """Which of them who asks reads."""
        every = sees_all_sites()
        return SitesRead(self.all if every else (), not every, self.named(own_site()))

    def asking_in(self, room: int | None) -> Asker | None:
        """Who asks from a room."""
        of = self.of_room(room)
        return self.asking(of.ident if of is not None else None)

    def asking(self, site: int | None) -> Asker | None:
        """Who asks from a site, None where there are no sites."""
        if not self.all:
            return None
        of = self.of(site)
        head_office = of is not None and of.head_office
        return Asker(of.ident if of else None, head_office, self.hide_customers and not head_office)

    @property
    def of_shop_computer(self) -> int | None:
        """The site that the shop computer works for: the only one, else the head office."""
        if len(self.all) == 1:
            return self.all[0].ident
        return next((one.ident for one in self.all if one.head_office), None)


R = TypeVar("R", SiteRow, RoomRow)

MOST_WRITTEN = 1_000_000
"""More rows than one write adds."""

OF_VISIT = "SELECT id, site_id FROM visit WHERE id = ?"
OF_ENGINE = "SELECT id, site_id FROM visit WHERE engine_id = ? ORDER BY number DESC"


def _ident(row: SiteRow | RoomRow) -> int:
    """The id that a site or room has for good: that of the row it began with."""
    return row.first_id or row.ident


def _open(session: Session, table: type[R]) -> list[R]:
    rows: Sequence[R] = session.exec(select(table).order_by(col(table.id))).all()
    return sorted((row for row in current(rows) if row.active), key=_ident)


def sites_of(session: Session) -> Sites:
    """The sites as they are now; one query in a shop that has none."""
    sites = _open(session, SiteRow)
    if not sites:
        return Sites()
    keys = {row.ident: row.key for row in session.exec(select(SiteRow)).all()}
    rooms = _open(session, RoomRow)
    found = []
    for row in sites:
        ident = _ident(row)
        mine = tuple(Room(_ident(one), one.ident, one.name) for one in rooms if one.site_id == ident)
        found.append(Site(ident, keys[ident], row.ident, row.name, bool(row.head_office), mine))
    hides = stored_settings.of_site(session, None)[1].hide_customers
    return Sites(tuple(found), hides, {room.ident: site for site in found for room in site.rooms})


def site_for_new(session: Session) -> int | None:
    """The site that a visit opened now belongs to."""
    asking = ASKING.get()
    return asking.site if asking is not None else sites_of(session).of_shop_computer


def add(shop: Database, key: str, name: str, by: str, at: str, *, head_office: bool = False) -> int:
    """Add a site, and return the id that it has for good. Raises RejectedError by field."""
    key, name = checked(key), named(name)
    sent = fingerprint(site=name, head_office=head_office, by=by)
    with shop.writing() as session:
        if again := earlier(session, SiteRow, key, sent):
            return again.ident
        _require(session, name, by, head_office=head_office, beside=0)
        row = SiteRow(key=key, payload=sent, name=name, head_office=int(head_office), active=1, by=by.strip(), at=at)
        session.add(row)
        session.flush()
        return row.ident


def change(
    shop: Database, key: str, row_id: int, name: str, by: str, at: str, *, head_office: bool, active: bool = True
) -> int:
    """Name a site otherwise, mark it as head office or not, or close it. ``row_id`` is the row that was shown.

    Returns the id of the site. Raises RejectedError by field, NotFoundError, ConflictError.
    """
    key, name = checked(key), named(name)
    sent = fingerprint(row=row_id, name=name, head_office=head_office, active=active, by=by)
    with shop.writing() as session:
        if again := earlier(session, SiteRow, key, sent):
            return _ident(again)
        before = standing(session, SiteRow, row_id, _open(session, SiteRow), Rejection.NO_SUCH_SITE)
        first = _ident(before)
        _require(session, name, by, head_office=head_office and active, beside=first)
        row = SiteRow(key=key, payload=sent, name=name, head_office=int(head_office), active=int(active), by=by, at=at)
        row.first_id, row.supersedes_id = first, before.ident
        session.add(row)
        return first


def _require(session: Session, name: str, by: str, *, head_office: bool, beside: int) -> None:
    """Raises RejectedError where a site cannot be called so, or is a second head office."""
    others = [one for one in _open(session, SiteRow) if _ident(one) != beside]
    wrong = _wrong(others, name, by)
    if head_office and any(one.head_office for one in others):
        wrong["head_office"] = because(Rejection.SECOND_HEAD_OFFICE)
    if wrong:
        raise RejectedError(wrong)


def add_room(shop: Database, key: str, site_id: int, name: str, by: str, at: str) -> int:
    """Add a room to a site, and return the id that it has for good. Raises RejectedError by field."""
    key, name = checked(key), named(name)
    sent = fingerprint(site=site_id, room=name, by=by)
    with shop.writing() as session:
        if again := earlier(session, RoomRow, key, sent):
            return again.ident
        if site_id not in {_ident(one) for one in _open(session, SiteRow)}:
            raise RejectedError({"site": because(Rejection.NO_SUCH_SITE)})
        _require_room(session, site_id, name, by, beside=0)
        row = RoomRow(key=key, payload=sent, site_id=site_id, name=name, active=1, by=by.strip(), at=at)
        session.add(row)
        session.flush()
        return row.ident


def change_room(shop: Database, key: str, row_id: int, name: str, by: str, at: str, *, active: bool = True) -> int:
    """Name a room otherwise, or close it; the id of the room. Raises RejectedError, NotFoundError, ConflictError."""
    key, name = checked(key), named(name)
    sent = fingerprint(row=row_id, room=name, active=active, by=by)
    with shop.writing() as session:
        if again := earlier(session, RoomRow, key, sent):
            return _ident(again)
        before = standing(session, RoomRow, row_id, _open(session, RoomRow), Rejection.NO_SUCH_ROOM)
        first = _ident(before)
        _require_room(session, before.site_id, name, by, beside=first)
        row = RoomRow(key=key, payload=sent, site_id=before.site_id, name=name, active=int(active), by=by, at=at)
        row.first_id, row.supersedes_id = first, before.ident
        session.add(row)
        return first


def _require_room(session: Session, site_id: int, name: str, by: str, beside: int) -> None:
    others = [one for one in _open(session, RoomRow) if one.site_id == site_id and _ident(one) != beside]
    if wrong := _wrong(others, name, by):
        raise RejectedError(wrong)


def _wrong(others: Sequence[SiteRow | RoomRow], name: str, by: str) -> dict[str, Reason]:
    """What stands against a ``name`` beside ``others``, and against who gives it, by field."""
    wrong = {}
    if any(one.name.casefold() == name.casefold() for one in others):
        wrong["name"] = because(Rejection.NAME_TAKEN)
    if not by.strip():
        wrong["by"] = because(Rejection.INITIALS_MISSING)
    return wrong


def rooms_of(session: Session, tablets: Sequence[Tablet]) -> dict[int, tuple[Site, Room]]:
    """By tablet's row, the site and the room in which it stands."""
    where = {room.ident: (site, room) for site in sites_of(session).all for room in site.rooms}
    return {row.ident: where[row.room_id] for row in tablets if row.room_id in where}


def require_own(session: Session, after: int) -> None:
    """Refuse a write of another site's tablet or program: looked at as it stands, so that no verb can forget to ask.

    ``after`` is the newest change before the write. A visit belongs to the site that it was opened at; an engine's
    facts and hardware to that of its newest visit. A visit that the write itself adds is opened here, or came in a
    file.
    Raises ElsewhereError.
    """
    if ASKING.get() is None:
        return
    written = changes_after(session, after, MOST_WRITTEN)
    new = {row.row_id for row in written if row.table == "visit"}
    for visit_id in {row.visit_id for row in written if row.visit_id is not None} - new:
        _require_site(session, OF_VISIT, visit_id, Rejection.OTHER_SITE)
    for engine_id in {row.engine_id for row in written if row.visit_id is None and row.engine_id is not None}:
        _require_site(session, OF_ENGINE, engine_id, Rejection.OTHER_SITES_ENGINE, new)


def last_site(session: Session, engine_id: int) -> int | None:
    """The site whose an engine's facts and hardware are: that of its newest visit, None for everybody's."""
    found = raw_connection(session).execute(OF_ENGINE, (engine_id,)).fetchone()
    return None if found is None else found[1]


def _require_site(session: Session, query: str, ident: int, refusal: Rejection, new: Iterable[int] = ()) -> None:
    found = raw_connection(session).execute(query, (ident,)).fetchall()
    require_site(session, next((of for visit, of in found if visit not in new), None), refusal)


def read_for(wanted: int | None) -> int | None:
    """The site for which statistics or the log are read, ``wanted`` at a page; None for all of a group, which head
    office and the shop computer read. Raises ElsewhereError."""
    if sees_all_sites():
        return wanted
    asking = ASKING.get()
    own = asking.site if asking is not None else None
    if wanted not in (None, own):
        raise ElsewhereError(because(Rejection.HEAD_OFFICE_ONLY))
    return own or NO_SITE


def called(session: Session, name: str) -> int | None:
    """The site of a ``name``, in small letters or large; None where there is none. Stores that were set up apart have
    the same site under two keys, so that only its name tells it."""
    return next((one.ident for one in sites_of(session).all if one.name.casefold() == name.strip().casefold()), None)
