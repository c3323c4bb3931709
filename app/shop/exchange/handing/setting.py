"""Where the engines of a shop go by themselves: a file of its folder, which ``evenbore hand-over`` writes."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path

SETTING = "hand-over.json"


@dataclass(frozen=True, slots=True)
class Receiver:
    """Where engines go: the address of the other shop's program, the token that it gave, and as PEM the certificate
    that it is trusted by, "" for those of this computer."""

    to: str
    token: str
    authority: str = ""


def keep(folder: Path, receiver: Receiver) -> None:
    """Hand over from now on. The file is for this user only, since it holds the token."""
    growing = folder / f"{SETTING}.new"
    growing.unlink(missing_ok=True)
    growing.touch(mode=0o600)
    growing.write_text(json.dumps(asdict(receiver)), encoding="utf-8")
    growing.replace(folder / SETTING)


def forget(folder: Path) -> bool:
    """Hand over no more. False where nothing was handed over."""
    there = (folder / SETTING).exists()
    (folder / SETTING).unlink(missing_ok=True)
    return there


def kept(folder: Path) -> Receiver | None:
    """Where engines go, None for nowhere."""
    try:
        return Receiver(**json.loads((folder / SETTING).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return None
