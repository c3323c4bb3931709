"""Codes of what the store reports: why the records are unavailable, what is damaged, what a check found wrong.

The values of each code are named beside it; ``app.wording.program.store`` has the sentences.
"""

from enum import StrEnum


class Unavailable(StrEnum):
    """Why the records cannot be opened, read, written, backed up or restored."""

    FILE_IN_USE = "file-in-use"
    DISK_FULL = "disk-full"
    READ_ONLY = "read-only"
    FILE_MISSING = "file-missing"
    FILE_REPLACED = "file-replaced"  # folder
    DISK_ERROR = "disk-error"
    DAMAGED_WHILE_OPEN = "damaged-while-open"
    WRITE_STUCK = "write-stuck"
    OPEN_ELSEWHERE = "open-elsewhere"  # folder
    FOLDER_READ_ONLY = "folder-read-only"  # folder, why
    FOLDER_NOT_CREATED = "folder-not-created"  # folder, why
    NOT_OPENED = "not-opened"  # folder, why
    NOT_CREATED = "not-created"  # folder, why
    DAMAGED = "damaged"  # file, found, at (of the newest sound backup), command (restores it)
    DAMAGED_WITHOUT_BACKUP = "damaged-without-backup"  # file, found, command (starts an empty shop)
    MISSING = "missing"  # file, at (of the newest sound backup), command (restores it), empty (starts an empty shop)
    NEWER_PROGRAM = "newer-program"  # folder, present, known
    UPGRADE_FAILED = "upgrade-failed"  # file, why, backup
    NO_SHOP = "no-shop"  # folder
    BACKUP_EXISTS = "backup-exists"  # file
    BACKUP_ELSEWHERE = "backup-elsewhere"  # folder
    BACKUP_FAILED = "backup-failed"  # folder, found
    NO_BACKUP_FILE = "no-backup-file"  # file
    BACKUP_DAMAGED = "backup-damaged"  # file, found
    RESTORE_FAILED = "restore-failed"  # found
    SYSTEM_MESSAGE = "system-message"  # text, as the system or the database reports it


class Damage(StrEnum):
    """What is wrong with a file of records."""

    EMPTY_FILE = "empty-file"
    FOREIGN_FILE = "foreign-file"
    NO_VERSION = "no-version"
    JOURNAL_ONLY = "journal-only"  # journal
    FILE_GONE = "file-gone"
    DATABASE_CHECK = "database-check"  # found, as the database reports it
    ROWS_CHANGED = "rows-changed"  # rows
    MORE_ROWS_CHANGED = "more-rows-changed"  # rows, more
    ROW = "row"  # table, id
    ROWS_GONE = "rows-gone"  # rows, each a HealthProblem.ROWS_OF_TABLE


class HealthProblem(StrEnum):
    """What a check of the records found wrong."""

    DAMAGED = "damaged"  # found
    ORPHAN_ROWS = "orphan-rows"  # rows
    ROWS_OF_TABLE = "rows-of-table"  # count, table
    NEWER_PROGRAM = "newer-program"
    LOW_DISK_SPACE = "low-disk-space"  # free [bytes]
    BACKUP_DAMAGED = "backup-damaged"  # file, found


class Noticed(StrEnum):
    """What the people of the shop are to know, of its files and its network; the program goes on."""

    UNFINISHED = "unfinished"  # files
    NOT_CLOSED = "not-closed"  # at (of the newest entry), None where there is none
    JOURNAL_CUT = "journal-cut"  # at, likewise
    BACKUP_HAS_MORE = "backup-has-more"  # count, at (of the backup), command (restores it)
    OPEN_TO_OTHERS = "open-to-others"  # folder
    FILE_HELD = "file-held"
    HELD_AT_CLOSE = "held-at-close"  # file
    RESCUED = "rescued"  # file
    DAMAGE_FOUND = "damage-found"  # found, a Damage
    PAIRING_TRIED = "pairing-tried"  # address, tries, ago, a timedelta
