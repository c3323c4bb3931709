"""What an operator reads about records on a database server: why they are unavailable, what a check found."""

from collections.abc import Mapping
from enum import StrEnum
from typing import TYPE_CHECKING

from app.shop.store.postgres.codes import ServerProblem
from app.wording.message import Message, say
from app.wording.program.store import ROWS_VERIFIED
from app.wording.reasons import TABLES, Worded, in_words

if TYPE_CHECKING:
    from app.shop.store.postgres.proof import ServerHealth

SERVER_PROBLEMS: Mapping[StrEnum, Worded] = {
    ServerProblem.NO_DRIVER: Message(
        "Records on a database server need a package that is not installed. Type: pip install 'evenbore[group]'"
    ),
    ServerProblem.ADDRESS: Message(
        "The address after --data is not one of a database ({why}). "
        "Write it as postgresql://user@server/database, or name a folder."
    ),
    ServerProblem.PASSWORD: Message(
        "The address after --data has a password in it, which other users of this computer can read. "
        "Take it out, and put the password in a file that only you can read: name that file in PGPASSFILE."
    ),
    ServerProblem.UNREACHABLE: Message(
        "The database server takes no more connections. Nothing was saved. Try again, and tell the person who runs "
        "the server."
    ),
    ServerProblem.NOT_LET_IN: Message(
        "The database {server} cannot be opened ({why}). Check the address after --data and that the server runs."
    ),
    ServerProblem.LOST: Message(
        "The connection to the database server was lost. Nothing was saved. Try again when the server is back."
    ),
    ServerProblem.UNKNOWN_IF_SAVED: Message(
        "The connection to the database server was lost while saving. It is not known whether this was saved. "
        "Send it again: it is saved once."
    ),
    ServerProblem.STUCK: Message("Another program is still saving. Nothing was saved. Try again."),
    ServerProblem.FULL: Message(
        "The disk of the database server is full. Nothing was saved. Tell the person who runs the server."
    ),
    ServerProblem.READ_ONLY: Message(
        "The database server takes no writes. Nothing was saved. Tell the person who runs the server."
    ),
    ServerProblem.RIGHTS: Message(
        "The database user lacks a right ({why}). Nothing was saved. Start the program once as the owner of the "
        "database, who makes its tables and grants the rights."
    ),
    ServerProblem.DISK_ERROR: Message(
        "The database server reported an error of its disk or of its files. Nothing was saved. "
        "Tell the person who runs the server."
    ),
    ServerProblem.TOO_OLD: Message("The database server is PostgreSQL {version}. Version {least} or newer is needed."),
    ServerProblem.ENCODING: Message(
        "The database keeps text as {encoding}. Make one that keeps it as UTF8, and name that one."
    ),
    ServerProblem.FOREIGN: Message(
        "The database {server} has tables of another program. Nothing was changed. Make an empty database for the shop."
    ),
    ServerProblem.NEWER_PROGRAM: Message(
        "A newer version of this program wrote the records in {server} (version {present} of the records, this program "
        "reads up to {known}). Nothing was changed. Update the program."
    ),
    ServerProblem.IN_USE: Message(
        "The records in {server} need an upgrade, and other programs have them open. Nothing was changed. "
        "Close Evenbore on every computer, then start this one first."
    ),
    ServerProblem.NOT_UPGRADED: Message(
        "The tables in {server} could not be made or upgraded ({why}). Nothing was changed. "
        "Start the program once as the owner of the database. If the owner started it, report this message to the "
        "maintainer of the program."
    ),
    ServerProblem.ROWS_CHANGED: Message(
        "The records in {server} are damaged. {found} Tell the person who runs the server: "
        "a backup may have these rows."
    ),
    ServerProblem.NOT_A_FOLDER: Message(
        "This is for a shop in a folder. To back up the records of a database server, type: "
        "evenbore backup --data ADDRESS."
    ),
    ServerProblem.NO_DUMP: Message(
        "A backup of a database server needs pg_dump and pg_restore of PostgreSQL {version} or newer, which this "
        "computer does not have. Install PostgreSQL's client programs, or carry the shop into a folder: "
        "evenbore carry --from ADDRESS --to FOLDER."
    ),
    ServerProblem.DUMP_FAILED: Message("No backup was saved ({why})."),
    ServerProblem.DUMP_NOT_PROVED: Message(
        "The backup was read to its end, but its rows were not verified ({why}). A database user who may create "
        "databases has them verified in one that is deleted afterwards."
    ),
    ServerProblem.RESTORED_BY_OPERATOR: Message(
        "A backup of a database server is restored by the person who runs it: pg_restore into an empty database, then "
        "evenbore check of that one. Nothing was changed."
    ),
    ServerProblem.NOT_CARRIED: Message("Nothing was carried over ({why}). Both shops are as they were."),
    ServerProblem.NOT_EMPTY: Message("{place} has records already. Nothing was changed. Carry into an empty shop."),
    ServerProblem.NOTHING_THERE: Message("There is no shop in {place}. Name its folder, or its database, with --from."),
}
TABLES[ServerProblem] = SERVER_PROBLEMS

RECORDS = Message("Records: {server}, {size:.1f}\u00a0MB")
MEGABYTE = 1024**2
DATABASE = Message("PostgreSQL {version}")
BACKUPS = Message("Backups: by evenbore backup, or by the person who runs the server")
DUMPED = Message("Backup saved: {file}. Rows verified: {rows}.")
DUMPED_UNPROVED = Message("Backup saved: {file}.")
CARRIED = Message("Carried over: {rows} rows. Row hashes verified on both sides: {proved}.")


def facts_of(found: "ServerHealth") -> list[str]:
    """What a check of records on a server looked at and found, a line each."""
    return [
        say(RECORDS, server=found.server, size=found.size / MEGABYTE),
        say(ROWS_VERIFIED, rows=found.sound),
        say(DATABASE, version=found.version),
        say(BACKUPS),
    ]


def problems_of(found: "ServerHealth") -> list[str]:
    """What it found wrong."""
    return [] if found.damage is None else [in_words(found.damage)]
