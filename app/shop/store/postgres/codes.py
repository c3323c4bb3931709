"""Codes of what a database server cannot do for a shop; ``app.wording.program.server_records`` has the sentences."""

from enum import StrEnum


class ServerProblem(StrEnum):
    """Why the records on a database server cannot be opened, read or written. The values are named beside each."""

    NO_DRIVER = "server-no-driver"
    ADDRESS = "server-address"  # why
    PASSWORD = "server-password"
    UNREACHABLE = "server-unreachable"
    NOT_LET_IN = "server-not-let-in"  # server, why
    LOST = "server-lost"
    UNKNOWN_IF_SAVED = "server-unknown-if-saved"
    STUCK = "server-stuck"
    FULL = "server-full"
    READ_ONLY = "server-read-only"
    RIGHTS = "server-rights"  # why
    DISK_ERROR = "server-disk-error"
    TOO_OLD = "server-too-old"  # version, least
    ENCODING = "server-encoding"  # encoding
    FOREIGN = "server-foreign"  # server
    NEWER_PROGRAM = "server-newer-program"  # server, present, known
    IN_USE = "server-in-use"  # server
    NOT_UPGRADED = "server-not-upgraded"  # server, why
    ROWS_CHANGED = "server-rows-changed"  # server, found
    NOT_A_FOLDER = "server-not-a-folder"
    NO_DUMP = "server-no-dump"  # version
    DUMP_FAILED = "server-dump-failed"  # why
    DUMP_NOT_PROVED = "server-dump-not-proved"  # why
    RESTORED_BY_OPERATOR = "server-restored-by-operator"
    NOT_CARRIED = "server-not-carried"  # why
    NOT_EMPTY = "server-not-empty"  # place
    NOTHING_THERE = "server-nothing-there"  # place


"""What is not of the server itself is of moving a shop to one or back: ``NOT_A_FOLDER`` and what follows it."""
