"""What an import makes of what was sent, as work that may be done in another process.

Each answer has what its page shows and the file as the page holds it, packed, for the person's answer: the server keeps
nothing of it.
"""

import base64
import binascii
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from app.shop.apart import Talk
from app.shop.errors import RejectedError
from app.shop.exchange import several
from app.shop.exchange.beside import reading_of
from app.shop.exchange.imports import LARGEST, ImportPlan, Reading, drafted, plan, read
from app.shop.exchange.sealing import unsealed
from app.shop.exchange.several import Batch, Named
from app.shop.exchange.versions import v6 as v6
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.stopwatch import Allowance


@dataclass(frozen=True, slots=True)
class OneLooked:
    """One file: what is in it, what it would add here, and why it was not imported where it was to be.

    ``first`` and ``last`` are when the first and the newest of its ``visits`` began, empty without one. ``unsealed``
    of its entries the other shop did not prove.
    """

    engine: v6.Engine
    exported_at: str
    visits: int
    first: str
    last: str
    plan: ImportPlan
    held: str
    unsealed: int
    refusal: RejectedError | None = None


@dataclass(frozen=True, slots=True)
class SeveralLooked:
    """Several files, and why they were not imported where they were to be."""

    batch: Batch
    held: str
    refusal: RejectedError | None = None


def look(records: Path | str, sent: Sequence[Named]) -> Talk:
    """What was sent, before anything of it is stored: OneLooked or SeveralLooked. Raises RejectedError,
    TookTooLongError."""
    files = [one for name, held in sent for one in several.unzipped(name, held)]
    if not files:
        raise RejectedError({"file": because(Rejection.FILE_MISSING)})
    if len(files) == 1:
        return _one(reading_of(records), files[0][1], {})
    with reading_of(records)() as session:
        return _several(several.look(session, files, Allowance()), files)
    yield  # the other work comes in parts, so that this is a generator too


def bring(records: Path | str, held: str, choices: Mapping[str, str]) -> Talk:
    """The one file that a page held, for ``imports.carry_on``: the id of its engine, or OneLooked where something is
    still to be chosen. Raises RejectedError, TookTooLongError."""
    sent, reading = unpacked(held), reading_of(records)
    file = read(sent)
    try:
        return (yield from drafted(reading, file, choices, Allowance()))
    except RejectedError as refusal:
        return _one(reading, sent, choices, refusal)


def bring_several(records: Path | str, held: str, choices: Mapping[str, str]) -> Talk:
    """The files that a page held, for ``imports.carry_on``: the Batch that was imported, or SeveralLooked where
    something is still to be chosen. Raises RejectedError, TookTooLongError."""
    try:
        files = several.unzipped("", base64.b64decode(held, validate=True))
    except (RejectedError, binascii.Error, ValueError):
        raise RejectedError({"file": because(Rejection.FILE_LOST)}) from None
    time, reading = Allowance(), reading_of(records)
    try:
        return (yield from several.all_drafted(reading, files, choices, time))
    except RejectedError as refusal:
        with reading() as session:
            return _several(several.look(session, files, time), files, refusal)


def packed(sent: bytes) -> str:
    """A file that waits in the page for a person's answer."""
    return base64.b64encode(zlib.compress(sent, 6)).decode()


def unpacked(held: str) -> bytes:
    """The file that ``packed`` held. Raises RejectedError when it is none, or longer than any file may be."""
    lost = RejectedError({"file": because(Rejection.FILE_LOST)})
    try:
        squeezed = zlib.decompressobj()
        sent = squeezed.decompress(base64.b64decode(held, validate=True), LARGEST + 1)
        if squeezed.unconsumed_tail or not squeezed.eof:
            raise lost
    except (binascii.Error, zlib.error, ValueError):
        raise lost from None
    return sent


def _one(reading: Reading, sent: bytes, choices: Mapping[str, str], refusal: RejectedError | None = None) -> OneLooked:
    file = read(sent)
    with reading() as session:
        made = plan(session, file, choices)
    times = [visit.opened_at for visit in file.visits] or [""]
    return OneLooked(
        file.engine,
        file.exported_at,
        len(file.visits),
        times[0],
        times[-1],
        made,
        packed(sent),
        unsealed(file),
        refusal,
    )


def _several(batch: Batch, files: Sequence[Named], refusal: RejectedError | None = None) -> SeveralLooked:
    return SeveralLooked(batch, base64.b64encode(several.zipped(files)).decode(), refusal)
