"""Many engine files at once: taken out of a zip, looked at together, imported one after another.

Each engine is imported whole or not at all, in a transaction of its own. A question about a meter is asked once for all
of them; an engine with a question of its own waits until its file is imported alone.
"""

import io
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlmodel import Session

from app.shop.apart import Talk
from app.shop.errors import ConflictError, RejectedError
from app.shop.exchange.codes import FileChoice
from app.shop.exchange.imports import LARGEST, Conflict, Reading, drafted, plan, read
from app.shop.exchange.versions import v6 as v6
from app.shop.reasons import Reason, because
from app.shop.rejections import Rejection
from app.shop.stopwatch import Allowance, TookTooLongError

MOST_FILES = 500
MOST_ENTRIES = 4 * MOST_FILES
LARGEST_TOGETHER = 48 * 1024 * 1024
"""How many files one zip may hold, how many entries of any kind, and how long the files may be together [bytes] (our
judgement: a minute's work)."""

ZIP, ENTRY = b"PK\x03\x04", b"PK\x01\x02"
METER = "meter-"
"""What the name of a question about a meter begins with."""

Named = tuple[str, bytes]
"""A file's name and what is in it."""


@dataclass(frozen=True, slots=True)
class FileLooked:
    """One of several files: the serial of its engine, what it would add or has added, and what stands against it.

    ``waits``: a person has to choose something first, with this file alone. ``engine_id`` once it was imported.
    """

    name: str
    serial: str = ""
    adds: Mapping[str, int] = field(default_factory=dict)
    problem: Reason | None = None
    waits: bool = False
    engine_id: int | None = None


@dataclass(frozen=True, slots=True)
class Batch:
    """Several files, and what is asked about the meters of all of them."""

    files: tuple[FileLooked, ...]
    conflicts: tuple[Conflict, ...]

    @property
    def ready(self) -> int:
        """How many may be imported."""
        return sum(one.problem is None and not one.waits for one in self.files)


def unzipped(name: str, sent: bytes) -> list[Named]:
    """The engine files in what was sent: those of a zip, or the one that it is. Raises RejectedError."""
    try:
        if not sent.startswith(ZIP):
            return [(name, sent)]
        return _of_zip(sent)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError):
        raise RejectedError({"file": because(Rejection.FILE_NOT_AN_ENGINE)}) from None


def zipped(files: Sequence[Named]) -> bytes:
    """A zip that ``unzipped`` takes apart again."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as to:
        for number, (name, held) in enumerate(files):
            to.writestr(f"{number}/{name.rpartition('/')[2] or 'engine'}", held)
    return made.getvalue()


def look(session: Session, files: Sequence[Named], time: Allowance) -> Batch:
    """What the files would add here, with nothing stored; for the last ones there may be no ``time`` left."""
    looked: list[FileLooked] = []
    asked: dict[str, Conflict] = {}
    for name, held in files:
        if time.over:
            looked.append(FileLooked(name, problem=because(Rejection.FILE_WITHOUT_TIME)))
            continue
        try:
            file = read(held)
            made = plan(session, file, {}, time)
        except TookTooLongError:
            looked.append(FileLooked(name, problem=because(Rejection.FILE_WITHOUT_TIME)))
            continue
        except RejectedError as refusal:
            looked.append(FileLooked(name, problem=_first(refusal)))
            continue
        of_meters = {one.name: one for one in made.conflicts if one.name.startswith(METER)}
        asked |= of_meters
        looked.append(FileLooked(name, file.engine.serial, made.adds, waits=len(of_meters) < len(made.conflicts)))
    return Batch(tuple(looked), tuple(asked.values()))


def all_drafted(reading: Reading, files: Sequence[Named], choices: Mapping[str, str], time: Allowance) -> Talk:
    """Drafts of every file that may be imported, one after another, as long as there is ``time``, for ``carry_on``.

    Returns the Batch. Raises ConflictError while something is asked about a meter.
    """
    with reading() as session:
        batch = look(session, files, time)
    if open_questions := {c.name: c.question for c in batch.conflicts if choices.get(c.name) not in c.options}:
        raise ConflictError(open_questions)
    chosen = {one.name: choices[one.name] for one in batch.conflicts}
    brought = []
    for one, (_, held) in zip(batch.files, files, strict=True):
        brought.append((yield from _drafted(reading, one, held, chosen, time)))
    return Batch(tuple(brought), ())


def _drafted(reading: Reading, one: FileLooked, held: bytes, chosen: Mapping[str, str], time: Allowance) -> Talk:
    """A meter that was not known here before the first file is the same instrument in all of them."""
    if one.problem is not None or one.waits:
        return one
    late = FileLooked(one.name, one.serial, problem=because(Rejection.FILE_WITHOUT_TIME))
    if time.over:
        return late
    file = read(held)
    same = {f"{METER}{meter.key}": FileChoice.SAME_METER.value for meter in file.meters}
    try:
        engine_id = yield from drafted(reading, file, {**same, **chosen}, time)
        return FileLooked(one.name, one.serial, one.adds, engine_id=engine_id)
    except TookTooLongError:
        return late
    except RejectedError as refusal:
        return FileLooked(one.name, one.serial, problem=_first(refusal))


def _of_zip(sent: bytes) -> list[Named]:
    most = LARGEST_TOGETHER // 1024 // 1024
    too_large = RejectedError({"file": because(Rejection.FILES_TOO_LARGE, most=most, files=MOST_FILES)})
    if sent.count(ENTRY) > MOST_ENTRIES:  # a list of them is not to be built only to be found too long
        raise too_large
    with zipfile.ZipFile(io.BytesIO(sent)) as held:
        entries = [entry for entry in held.infolist() if entry.filename.endswith(".json")]
        if len(entries) > MOST_FILES or sum(entry.file_size for entry in entries) > LARGEST_TOGETHER:
            raise too_large
        found = []
        for entry in entries:
            with held.open(entry) as one:
                found.append((entry.filename, one.read(LARGEST + 1)))
    return found


def _first(refusal: RejectedError) -> Reason:
    return next(iter(refusal.problems.values()))
