"""What an operator reads: every code of the store has its sentence, and the sentences of the voice guide hold."""

import ast
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from pathlib import Path
from string import Formatter

import pytest
from typer.main import get_command

from app.server import announcing, certificates, network, options, pairing_codes, place, tls
from app.server import cli as commands
from app.server.certificates import CertificateProblem
from app.server.commands import (
    autostart_commands,
    backup_commands,
    carry_command,
    feed_commands,
    live_commands,
    program_command,
)
from app.shop.reasons import Reason, because
from app.shop.store import database
from app.shop.store.codes import Damage, HealthProblem, Noticed, Unavailable
from app.shop.store.copies import Copy
from app.shop.store.health import Health
from app.shop.store.integrity import Findings
from app.web.pages.shop import damaged
from app.wording.message import Message
from app.wording.program import cli, hand_over, store
from app.wording.program.store import health_facts, health_problems
from app.wording.reasons import TABLES, Worded, in_words

SOURCES = (
    announcing,
    autostart_commands,
    backup_commands,
    carry_command,
    certificates,
    commands,
    pairing_codes,
    network,
    feed_commands,
    live_commands,
    options,
    program_command,
    tls,
    store,
    damaged,
    place,
)
"""The modules that say what the command line shows."""

FOLDER = Path("/records")
FILE = FOLDER / "shop.db"
ROW = because(Damage.ROW, table="reading", id=3)
FOUND = because(Damage.ROWS_CHANGED, rows=(ROW, because(Damage.ROW, table="sign_off", id=1)))
VALUES = {
    "folder": FOLDER,
    "file": FILE,
    "why": "No space left on device",
    "found": FOUND,  # a sentence of its own
    "at": datetime(2026, 11, 25, 9, 5, tzinfo=UTC),
    "command": "evenbore restore --data /records --empty",
    "empty": "evenbore restore --data /records --empty",
    "files": (FOLDER / "copies" / ".evenbore-1",),
    "address": "192.168.7.99",
    "tries": 3,
    "ago": timedelta(minutes=5),
    "present": "0013",
    "known": "0012",
    "backup": FOLDER / "copies" / "auto.db",
    "text": "disk I/O error",
    "journal": "shop.db-wal",
    "rows": (ROW,),
    "more": 4,
    "table": "reading",
    "id": 3,
    "count": 2,
    "free": 12 * 1024**2,
}
MESSAGES: Mapping[type[StrEnum], Mapping[StrEnum, Worded]] = {
    Unavailable: store.UNAVAILABLE,
    Damage: store.DAMAGE,
    HealthProblem: store.HEALTH_PROBLEMS,
    Noticed: store.NOTICES,
}
PARTS = {Damage.ROW, HealthProblem.ROWS_OF_TABLE}
"""Codes of what is only ever part of a sentence."""


def named(message: Worded) -> set[str]:
    """The values that a message names; all where a function words them."""
    if not isinstance(message, Message):
        return set(VALUES)
    return {name for _, name, _, _ in Formatter().parse(message.text) if name}


def source_of(module: object) -> str:
    """The source of a module."""
    return Path(str(vars(module)["__file__"])).read_text(encoding="utf-8")


def messages(module: object) -> Iterator[tuple[str, Message]]:
    """Every message of a module of words, by name."""
    for name, value in vars(module).items():
        if isinstance(value, Message):
            yield name, value
        elif isinstance(value, Mapping) and name != "TABLES":
            yield from ((f"{name}.{key}", one) for key, one in value.items() if isinstance(one, Message))


@pytest.mark.parametrize("codes", MESSAGES)
def test_every_code_has_its_sentence(codes: type[StrEnum]) -> None:
    assert TABLES[codes] is MESSAGES[codes]
    assert set(MESSAGES[codes]) == set(codes)


def test_every_certificate_problem_has_its_sentence() -> None:
    assert set(cli.CERTIFICATE_PROBLEMS) == set(CertificateProblem)


@pytest.mark.parametrize("code", [code for codes in MESSAGES for code in codes])
def test_a_reason_becomes_sentences_with_an_end(code: StrEnum) -> None:
    message = MESSAGES[type(code)][code]
    said = in_words(Reason(code, {name: VALUES[name] for name in named(message)}))
    assert "{" not in said
    if code not in PARTS:
        assert said[0].isupper() or said.startswith(str(FILE))
        assert said.endswith((".", str(VALUES["command"])))


def test_damage_is_told_row_by_row() -> None:
    assert in_words(FOUND) == "Rows changed outside the program: reading 3, sign_off 1."
    many = because(Damage.MORE_ROWS_CHANGED, rows=(ROW,), more=4)
    assert in_words(many) == "Rows changed outside the program: reading 3 and 4 more."


def test_a_damaged_shop_is_told_with_the_command_that_restores_it() -> None:
    reason = because(
        Unavailable.DAMAGED, file=FILE, found=because(Damage.EMPTY_FILE), at=VALUES["at"], command="evenbore restore X"
    )
    assert in_words(reason) == (
        "/records/shop.db is damaged. The file is empty. The file was not changed, and restoring a backup keeps it in "
        "another folder. To restore the backup of 2026-11-25 09:05 UTC, type: evenbore restore X"
    )


NOT_STORED = (
    Unavailable.FILE_IN_USE,
    Unavailable.DISK_FULL,
    Unavailable.READ_ONLY,
    Unavailable.FILE_MISSING,
    Unavailable.DISK_ERROR,
    Unavailable.DAMAGED_WHILE_OPEN,
    Unavailable.WRITE_STUCK,
)


def test_a_failed_write_says_that_nothing_was_saved_and_what_to_do() -> None:
    assert set(database.CAUSES.values()) | {Unavailable.WRITE_STUCK} == set(NOT_STORED)
    for code in NOT_STORED:
        what, saved, then = in_words(because(code)).split(". ", 2)
        assert what
        assert saved == "Nothing was saved"
        assert then.endswith(".")


def checked(**changed: object) -> Health:
    """A sound shop, but for what is changed."""
    facts: dict[str, object] = {
        "file": FILE,
        "findings": Findings(None, "0012", 812, 0),
        "orphans": {},
        "known": "0012",
        "size": 3 * 1024**2,
        "free": 50 * 1024**3,
        "writable": True,
        "backup": Copy(FOLDER / "copies" / "auto-1.db", "auto", datetime(2026, 11, 25, tzinfo=UTC)),
        "backup_damage": None,
    }
    return Health(**(facts | changed))  # type: ignore[arg-type]


def test_a_check_of_a_sound_shop() -> None:
    assert health_problems(checked()) == []
    lines = health_facts(checked())
    assert lines[:5] == [
        "Records: /records/shop.db, 3.0\u00a0MB, 50\u00a0GB free on this disk",
        "File: sound",
        "Version of the records: 0012 (current)",
        "Rows verified: 812",
        "Rows that refer to a missing row: 0",
    ]
    assert lines[-1] == "Newest backup: auto-1.db"


def test_a_check_that_finds_problems() -> None:
    broken = checked(
        findings=Findings(FOUND, "0013", 10, 2),
        orphans={"check": 1, "reading": 3},
        free=20 * 1024**2,
        backup_damage=because(Damage.EMPTY_FILE),
    )
    assert health_problems(broken) == [
        "The records are damaged. Rows changed outside the program: reading 3, sign_off 1. "
        "Start the program: it shows how to restore a backup.",
        "Rows that refer to a missing row: 1 in check, 3 in reading. Another program changed the file. "
        "Restore a backup.",
        "A newer version of this program wrote the records. Update the program.",
        "Only 20.0\u00a0MB free on this disk. Free disk space.",
        "The newest backup, auto-1.db, is damaged. The file is empty. Make a new one.",
    ]
    lines = health_facts(broken)
    assert "File: damaged. Rows changed outside the program: reading 3, sign_off 1." in lines
    assert "Version of the records: 0013 (this program writes 0012)" in lines
    assert lines.index("Rows saved before row hashes existed: 2") == lines.index("Rows verified: 10") + 1
    assert health_facts(checked(findings=Findings(FOUND), backup=None))[-1] == "Newest backup: none"
    assert "Version of the records: unknown" in health_facts(checked(findings=Findings(FOUND)))


@pytest.mark.parametrize("module", [cli, store])
def test_every_message_is_used(module: object) -> None:
    used = {
        node.attr if isinstance(node, ast.Attribute) else node.id
        for source in SOURCES
        for node in ast.walk(ast.parse(source_of(source)))
        if (isinstance(node, ast.Attribute) or (isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)))
    }
    assert {name.split(".")[0] for name, _ in messages(module)} <= used


def test_the_help_of_every_command_and_option_comes_from_the_messages() -> None:
    known = {message.text for module in (cli, hand_over) for _, message in messages(module)}
    command = get_command(commands.cli)
    group = command.commands  # type: ignore[attr-defined]
    several = {"serve", "demo", "autostart", "backup", "restore", "check", "carry", "program", "live", "feed"}
    several |= {"hand-over"}
    assert set(group) == several
    for name, one in [*group.items(), *group["autostart"].commands.items()]:
        assert one.help in known, name
        for parameter in one.params:
            if parameter.name != "help":
                assert parameter.help in known, (name, parameter.name)
