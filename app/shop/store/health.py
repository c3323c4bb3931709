"""The condition of a shop: everything that can be checked without changing it, as figures and codes."""

import os
import shutil
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from alembic.config import Config
from alembic.script import ScriptDirectory

from app.places import migrations
from app.shop.reasons import Reason, because
from app.shop.store import copies
from app.shop.store.codes import HealthProblem, Unavailable
from app.shop.store.database import ShopUnavailableError, file_errors
from app.shop.store.integrity import Findings, examine, orphan_rows, read_only

MEGABYTE = 1024 * 1024
LITTLE_SPACE = 200 * MEGABYTE
"""Below this much free space [bytes] the disk is called nearly full. A copy of a large shop takes about 30 MB."""


@dataclass(frozen=True, slots=True)
class Health:
    """What a check of a shop found. Sizes are in bytes.

    ``orphans`` counts the rows of each table that refer to a row that does not exist; ``known`` is the newest version
    of the records that the program knows; ``backup`` is the newest backup, ``backup_damage`` what is wrong with it.
    """

    file: Path
    findings: Findings
    orphans: dict[str, int]
    known: str
    size: int
    free: int
    writable: bool
    backup: copies.Copy | None
    backup_damage: Reason | None

    @property
    def problems(self) -> list[Reason]:
        """Each thing that is wrong; none for a sound shop."""
        found = []
        if self.findings.damage is not None:
            found.append(because(HealthProblem.DAMAGED, found=self.findings.damage))
        if self.orphans:
            counted = (because(HealthProblem.ROWS_OF_TABLE, count=n, table=name) for name, n in self.orphans.items())
            found.append(because(HealthProblem.ORPHAN_ROWS, rows=tuple(counted)))
        if self.findings.revision and self.findings.revision > self.known:
            found.append(because(HealthProblem.NEWER_PROGRAM))
        if self.writable and self.free < LITTLE_SPACE:
            found.append(because(HealthProblem.LOW_DISK_SPACE, free=self.free))
        if self.backup is not None and self.backup_damage is not None:
            name = self.backup.file.name
            found.append(because(HealthProblem.BACKUP_DAMAGED, file=name, found=self.backup_damage))
        return found


def look(shop_folder: Path) -> Health:
    """Check the shop in ``shop_folder``, open or not. Raises ShopUnavailableError when there is none."""
    file = shop_folder / "shop.db"
    if not file.exists():
        raise ShopUnavailableError(because(Unavailable.NO_SHOP, folder=shop_folder))
    with file_errors():
        findings = examine(file)
        orphans: dict[str, int] = {}
        if findings.damage is None:
            with closing(read_only(file)) as connection:
                orphans = orphan_rows(connection)
        backups = copies.listed(copies.folder_of(shop_folder))
        newest = backups[0] if backups else None
        backup_damage = examine(newest.file).damage if newest else None
    return Health(
        file=file,
        findings=findings,
        orphans=orphans,
        known=known_revision(),
        size=sum(part.stat().st_size for part in shop_folder.glob("shop.db*")),
        free=shutil.disk_usage(shop_folder).free,
        writable=os.access(shop_folder, os.W_OK),
        backup=newest,
        backup_damage=backup_damage,
    )


def known_revision() -> str:
    """The newest version of the records that this program knows."""
    config = Config()
    config.set_main_option("script_location", str(migrations()).replace("%", "%%"))
    return ScriptDirectory.from_config(config).get_current_head() or ""
