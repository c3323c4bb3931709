"""What an operator reads about the records: why they are unavailable, what is damaged, what a check found."""

import sqlite3
from collections.abc import Mapping
from enum import StrEnum
from typing import TYPE_CHECKING

from app.shop.reasons import Reason
from app.shop.store.codes import Damage, HealthProblem, Noticed, Unavailable
from app.wording.message import Message, say
from app.wording.reasons import TABLES, Worded, in_words

if TYPE_CHECKING:  # the command line words errors of the store before it needs the database
    from app.shop.store.health import Health

UNAVAILABLE: Mapping[StrEnum, Message] = {
    Unavailable.FILE_IN_USE: Message(
        "Another program is using the shop's records. Nothing was saved. Close that program, then try again."
    ),
    Unavailable.DISK_FULL: Message("The disk is full. Nothing was saved. Free disk space, then try again."),
    Unavailable.READ_ONLY: Message(
        "The shop's records are write-protected. Nothing was saved. Give this user write access to the shop's folder."
    ),
    Unavailable.FILE_MISSING: Message(
        "The shop's records cannot be opened. Nothing was saved. Check that the disk is connected."
    ),
    Unavailable.FILE_REPLACED: Message(
        "The shop's records were deleted, moved or replaced in {folder}. Nothing was saved. "
        "Restart the program: it shows how to restore a backup."
    ),
    Unavailable.DISK_ERROR: Message(
        "The disk reported an error. Nothing was saved. Check the disk, then restart the program."
    ),
    Unavailable.DAMAGED_WHILE_OPEN: Message(
        "The shop's records are damaged. Nothing was saved. Restart the program: it shows how to restore a backup."
    ),
    Unavailable.WRITE_STUCK: Message("An earlier save did not finish. Nothing was saved. Restart the program."),
    Unavailable.OPEN_ELSEWHERE: Message(
        "The shop in {folder} is already open in another Evenbore program. "
        "Close that program first, or choose another folder with --data."
    ),
    Unavailable.FOLDER_READ_ONLY: Message(
        "The folder {folder} is write-protected ({why}). "
        "Give this user write access, or choose another folder with --data."
    ),
    Unavailable.FOLDER_NOT_CREATED: Message(
        "The folder {folder} cannot be created ({why}). Choose another folder with --data."
    ),
    Unavailable.NOT_OPENED: Message("The shop in {folder} cannot be opened ({why})."),
    Unavailable.NOT_CREATED: Message(
        "The shop in {folder} could not be created ({why}). Report this message to the maintainer of the program."
    ),
    Unavailable.DAMAGED: Message(
        "{file} is damaged. {found} The file was not changed, and restoring a backup keeps it in another folder. "
        "To restore the backup of {at:%Y-%m-%d %H:%M} UTC, type: {command}"
    ),
    Unavailable.DAMAGED_WITHOUT_BACKUP: Message(
        "{file} is damaged. {found} The file was not changed, and starting an empty shop keeps it in another folder. "
        "No sound backup was found. To start an empty shop, type: {command}"
    ),
    Unavailable.MISSING: Message(
        "{file} is missing, though there are backups of it. Nothing was created. "
        "To restore the backup of {at:%Y-%m-%d %H:%M} UTC, type: {command}. To start an empty shop, type: {empty}"
    ),
    Unavailable.NEWER_PROGRAM: Message(
        "A newer version of this program wrote the shop in {folder} (version {present} of the records, this program "
        "reads up to {known}). Nothing was changed. Update the program."
    ),
    Unavailable.UPGRADE_FAILED: Message(
        "{file} could not be upgraded ({why}). The records were not changed. The backup made before the upgrade is "
        "{backup}. Use the previous version of the program, and report this message to its maintainer."
    ),
    Unavailable.NO_SHOP: Message("There is no shop in {folder}. Name its folder with --data."),
    Unavailable.BACKUP_EXISTS: Message("{file} already exists and was not replaced. Choose another name."),
    Unavailable.BACKUP_ELSEWHERE: Message(
        "The folder {folder} is write-protected. Name another place for the backup with --to."
    ),
    Unavailable.BACKUP_FAILED: Message("No backup was saved in {folder}. {found}"),
    Unavailable.NO_BACKUP_FILE: Message("There is no file {file}. Nothing was changed."),
    Unavailable.BACKUP_DAMAGED: Message("The backup {file} is damaged. {found} Nothing was changed."),
    Unavailable.RESTORE_FAILED: Message("The backup was not restored. {found}"),
    Unavailable.SYSTEM_MESSAGE: Message("System message: {text}."),
}

DAMAGE: Mapping[StrEnum, Message] = {
    Damage.EMPTY_FILE: Message("The file is empty."),
    Damage.FOREIGN_FILE: Message("The file belongs to another program."),
    Damage.NO_VERSION: Message("The file does not name the version of its records."),
    Damage.JOURNAL_ONLY: Message("The file is missing, but its journal {journal} is present."),
    Damage.FILE_GONE: Message("The file is missing, though there are backups of it."),
    Damage.DATABASE_CHECK: Message("The database reports: {found}."),
    Damage.ROWS_CHANGED: Message("Rows changed outside the program: {rows}."),
    Damage.MORE_ROWS_CHANGED: Message("Rows changed outside the program: {rows} and {more} more."),
    Damage.ROW: Message("{table} {id}", note="A row: its table and its number."),
    Damage.ROWS_GONE: Message("Rows deleted outside the program: {rows}."),
}

LOW_SPACE = Message("Only {size} free on this disk. Free disk space.")


def _low_space(reason: Reason) -> str:
    return say(LOW_SPACE, size=_size(reason.values["free"]))


UNFINISHED = Message("A backup or a restore was interrupted and left these files: {files}. Delete them.")
NOT_CLOSED = Message("The program was not closed properly last time.")
JOURNAL_CUT = Message(
    "The program was not closed properly last time, and the end of its journal is missing. "
    "Check whether the last entries are saved."
)
NEWEST_ENTRY = Message("The newest entry saved is of {at:%Y-%m-%d %H:%M} UTC.")
NO_ENTRY = Message("No entry is saved.")


def _unfinished(reason: Reason) -> str:
    return say(UNFINISHED, files=", ".join(map(str, reason.values["files"])))


def _not_closed(reason: Reason) -> str:
    return f"{say(NOT_CLOSED)} {_newest_entry(reason)}"


def _journal_cut(reason: Reason) -> str:
    return f"{say(JOURNAL_CUT)} {_newest_entry(reason)}"


def _newest_entry(reason: Reason) -> str:
    at = reason.values["at"]
    return say(NO_ENTRY) if at is None else say(NEWEST_ENTRY, at=at)


HEALTH_PROBLEMS: Mapping[StrEnum, Worded] = {
    HealthProblem.DAMAGED: Message(
        "The records are damaged. {found} Start the program: it shows how to restore a backup."
    ),
    HealthProblem.ORPHAN_ROWS: Message(
        "Rows that refer to a missing row: {rows}. Another program changed the file. Restore a backup."
    ),
    HealthProblem.ROWS_OF_TABLE: Message("{count} in {table}", note="How many rows, and their table."),
    HealthProblem.NEWER_PROGRAM: Message("A newer version of this program wrote the records. Update the program."),
    HealthProblem.LOW_DISK_SPACE: _low_space,
    HealthProblem.BACKUP_DAMAGED: Message("The newest backup, {file}, is damaged. {found} Make a new one."),
}

NOTICES: Mapping[StrEnum, Worded] = {
    Noticed.UNFINISHED: _unfinished,
    Noticed.NOT_CLOSED: _not_closed,
    Noticed.JOURNAL_CUT: _journal_cut,
    Noticed.BACKUP_HAS_MORE: Message(
        "Entries of the backup of {at:%Y-%m-%d %H:%M} UTC that are not in the records: {count}. "
        "If no older backup was restored on purpose, close the program and type: {command}"
    ),
    Noticed.OPEN_TO_OTHERS: Message(
        "Other users of this computer can open {folder}, where the records name customers. "
        "Allow only this user, or choose another folder with --data."
    ),
    Noticed.FILE_HELD: Message(
        "Another program is using the shop's records, so what was deleted may still be in their journal. "
        "Close that program."
    ),
    Noticed.HELD_AT_CLOSE: Message(
        "Another program is using the shop's records. Part of them is still in {file}: keep it beside them."
    ),
    Noticed.PAIRING_TRIED: Message(
        "Wrong pairing codes from {address}: {tries}, the last {ago} ago. "
        "If no one in the shop mistyped it, check who uses the network."
    ),
    Noticed.RESCUED: Message(
        "The shop's records were deleted, moved or replaced. What was saved until then is in {file}. "
        "Restart the program: it shows how to restore it."
    ),
    Noticed.DAMAGE_FOUND: Message(
        "The records are damaged. {found} Restart the program: it shows how to restore a backup."
    ),
}

TABLES[Noticed] = NOTICES
TABLES[Unavailable] = UNAVAILABLE
TABLES[Damage] = DAMAGE
TABLES[HealthProblem] = HEALTH_PROBLEMS

RECORDS = Message("Records: {file}, {size}, {free} free on this disk")
SOUND = Message("File: sound")
DAMAGED = Message("File: damaged. {found}")
VERSION_CURRENT = Message("Version of the records: {version} (current)")
VERSION_OTHER = Message("Version of the records: {version} (this program writes {known})")
VERSION_UNKNOWN = Message("Version of the records: unknown")
ROWS_VERIFIED = Message("Rows verified: {rows}")
ROWS_UNVERIFIED = Message("Rows saved before row hashes existed: {rows}")
ORPHAN_ROWS = Message("Rows that refer to a missing row: {rows}")
DATABASE = Message("SQLite {version}")
NEWEST_BACKUP = Message("Newest backup: {file}")
NO_BACKUP = Message("Newest backup: none")
ONLY_HERE = Message("Only the shop computer itself can restore the records.")
MEGABYTES = Message("{size:.1f}\u00a0MB")
GIGABYTES = Message("{size:.0f}\u00a0GB")

MEGABYTE = 1024**2
GIGABYTE = 1024**3
GIGABYTES_FROM = 10 * GIGABYTE


def health_problems(health: "Health") -> list[str]:
    """Each thing that a check found wrong, and what to do."""
    return [in_words(problem) for problem in health.problems]


def health_facts(health: "Health") -> list[str]:
    """What a check looked at and found, a line each."""
    findings = health.findings
    lines = [
        say(RECORDS, file=health.file, size=_size(health.size), free=_size(health.free)),
        say(SOUND) if findings.damage is None else say(DAMAGED, found=in_words(findings.damage)),
        _version(findings.revision, health.known),
        say(ROWS_VERIFIED, rows=findings.sealed),
        say(ORPHAN_ROWS, rows=sum(health.orphans.values())),
        say(DATABASE, version=sqlite3.sqlite_version),
        say(NEWEST_BACKUP, file=health.backup.file.name) if health.backup else say(NO_BACKUP),
    ]
    if findings.unsealed:
        lines.insert(4, say(ROWS_UNVERIFIED, rows=findings.unsealed))
    return lines


def _version(revision: str, known: str) -> str:
    if not revision:
        return say(VERSION_UNKNOWN)
    return say(VERSION_CURRENT if revision == known else VERSION_OTHER, version=revision, known=known)


def _size(size: int) -> str:
    if size < GIGABYTES_FROM:
        return say(MEGABYTES, size=size / MEGABYTE)
    return say(GIGABYTES, size=size / GIGABYTE)
