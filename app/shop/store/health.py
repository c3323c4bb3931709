"""How a shop is: everything that can be checked without changing it, as facts and as sentences."""

import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from alembic.config import Config
from alembic.script import ScriptDirectory

from app.places import migrations
from app.shop.store import copies
from app.shop.store.database import ShopUnavailableError, plain_words
from app.shop.store.integrity import Findings, examine, orphans, read_only

LITTLE_SPACE = 200 * 1024 * 1024
"""Below this much free space [bytes] the disk is called nearly full. A copy of a large shop takes about 30 MB."""


@dataclass(frozen=True, slots=True)
class Health:
    """Sizes are in bytes. ``copy`` is the newest copy, ``copy_wrong`` what is wrong with it."""

    file: Path
    findings: Findings
    loose: dict[str, int]
    known: str
    size: int
    free: int
    copy: copies.Copy | None
    copy_wrong: str

    @property
    def problems(self) -> list[str]:
        """Each thing that is not as it should be, and what to do."""
        found = []
        if self.findings.wrong:
            found.append(f"The records are damaged: {self.findings.wrong}. Start the program to see the way out.")
        if self.loose:
            where = ", ".join(f"{rows} of {table}" for table, rows in sorted(self.loose.items()))
            found.append(f"Rows that belong to nothing: {where}. Another program has changed the file.")
        if self.findings.revision and self.findings.revision > self.known:
            found.append("The records were written by a later version of this program. Update the program.")
        if self.free < LITTLE_SPACE:
            found.append(f"Only {megabytes(self.free)} are free on this disk. Free some space.")
        if self.copy_wrong and self.copy is not None:
            found.append(f"The newest copy, {self.copy.file.name}, is damaged: {self.copy_wrong}. Make a new one.")
        return found

    @property
    def lines(self) -> list[str]:
        """What was looked at and found, a sentence each."""
        findings = self.findings
        behind = "the newest" if findings.revision == self.known else f"this program's is {self.known}"
        return [
            f"Records: {self.file}, {megabytes(self.size)}, {megabytes(self.free)} free on this disk",
            f"Whole: {'no, ' + findings.wrong if findings.wrong else 'yes'}",
            f"Version of the records: {findings.revision or 'not known'} ({behind})",
            f"Rows as they were stored: {findings.sealed}"
            + (f"; {findings.unsealed} from before there were seals" if findings.unsealed else ""),
            f"Rows that belong to nothing: {sum(self.loose.values())}",
            f"SQLite {sqlite3.sqlite_version}",
            f"Newest copy: {self.copy.file.name if self.copy else 'none yet'}",
        ]


def look(shop_folder: Path) -> Health:
    """Look at the shop in ``shop_folder``, open or not. Raises ShopUnavailableError when there is none to look at."""
    file = shop_folder / "shop.db"
    if not file.exists():
        raise ShopUnavailableError(f"There is no shop in {shop_folder}. Name its folder with --data.")
    with plain_words():
        findings = examine(file)
        loose: dict[str, int] = {}
        if not findings.wrong:
            with closing(read_only(file)) as connection:
                loose = orphans(connection)
        held = copies.listed(copies.folder_of(shop_folder))
        newest = held[0] if held else None
        copy_wrong = examine(newest.file).wrong if newest else ""
    return Health(
        file=file,
        findings=findings,
        loose=loose,
        known=known_revision(),
        size=sum(part.stat().st_size for part in shop_folder.glob("shop.db*")),
        free=shutil.disk_usage(shop_folder).free,
        copy=newest,
        copy_wrong=copy_wrong,
    )


def known_revision() -> str:
    """The newest version of the records that this program knows."""
    config = Config()
    config.set_main_option("script_location", str(migrations()).replace("%", "%%"))
    return ScriptDirectory.from_config(config).get_current_head() or ""


def megabytes(size: int) -> str:
    """A size as a person reads it."""
    return f"{size / 1024 / 1024:.1f} MB" if size < 10 * 1024**3 else f"{size / 1024**3:.0f} GB"
