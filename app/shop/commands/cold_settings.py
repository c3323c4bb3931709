"""Plates of the cold engine set on a feeler: rows of the table of moves, in the cold preset and in no other phase.

A row names the stop screw or the coupler that set the plate; its ``leaves`` are the feeler. The turns of a screw are
not counted then: the amount is 0, but for a coupler that is reset on feelers.
"""

from dataclasses import dataclass, replace

from app.shop.assessment.advising import starting
from app.shop.assessment.cold_setting import ColdStep, ColdWork, cold_work, has_run
from app.shop.assessment.gates import require_open
from app.shop.commands.moves import feeler_problems
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.phases import COLD_PRESET
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.entries import MoveEntry
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import MoveRow
from app.sync.engine.adjusters.registry import kind_at


@dataclass(frozen=True, slots=True)
class NewSetting:
    """A plate that was closed on a feeler of ``leaves`` [m], one or two, and checked.

    ``supersedes`` names the setting of that plate whose feeler was told wrongly; None where it was set, or set anew.
    """

    bore: int
    leaves: tuple[float, ...]
    by: str
    supersedes: int | None = None


def set_plate(shop: Database, visit_id: int, key: str, new: NewSetting, at: str) -> int:
    """Store that a plate was set and return the id of its row. Raises RejectedError, with nothing stored.

    ConflictError when the setting that is corrected was corrected before.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, cold_setting=new)
    with loader.writing(shop, visit_id, MoveRow, key) as session:
        if again := earlier(session, MoveRow, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        require_open(record, COLD_PRESET.slug)
        step = _step(_work(record), new)
        if problems := feeler_problems(record, new.leaves):
            raise RejectedError(problems)
        if new.supersedes is not None and new.supersedes not in {row.ident for row in record.cold_settings}:
            raise ConflictError({"": because(Rejection.CHANGED_BY_ANOTHER_TABLET)})
        kind = kind_at(record.layout, step.adjuster)
        place = kind.place(step.adjuster)
        row = MoveRow(
            key=key,
            payload=sent,
            visit_id=visit_id,
            phase=COLD_PRESET.slug,
            kind=kind.slug,
            bank=record.layout.bank_of(new.bore).name,
            near=place.near,
            far=place.far,
            amount=sum(new.leaves) if kind.unit == "leaves" else 0.0,
            leaves=" ".join(f"{leaf:.9f}" for leaf in new.leaves),
            advised=1,
            after_reading=record.last_reading,
            by=new.by.strip() or record.visit.by,
            at=at,
            supersedes_id=new.supersedes,
        )
        session.add(row)
        session.flush()
        loader.remember(session, replace(record, all_moves=(*record.all_moves, MoveEntry.of(row))))
        return row.ident


def _work(record: VisitRecord) -> ColdWork:
    """The cold setting of a visit. Raises RejectedError where nothing may be set in it now."""
    if has_run(record):
        raise RejectedError({"": because(Rejection.ENGINE_HAS_RUN)})
    work = cold_work(record, starting(record))
    if work is None:
        raise RejectedError({"": because(Rejection.NOT_SET_COLD)})
    if not work.is_preset:
        raise RejectedError({"": because(Rejection.PRESET_FIRST)})
    if not work.safe:
        raise RejectedError({"": because(Rejection.COLD_SETTING_UNSAFE)})
    return work


def _step(work: ColdWork, new: NewSetting) -> ColdStep:
    """The step that sets a plate. Raises RejectedError for a plate that has none, or whose turn it is not."""
    step = next((step for step in work.steps if step.bore == new.bore), None)
    if step is None:
        raise RejectedError({"bore": because(Rejection.NOT_SET_COLD)})
    if new.supersedes is not None:
        return step
    due = next(one for one in work.steps if one.bore == new.bore or not (one.stands or _elsewhere(work, one, step)))
    if due is not step:
        raise RejectedError({"bore": because(Rejection.SET_BEFORE, bore=due.bore)})
    return step


def _elsewhere(work: ColdWork, one: ColdStep, step: ColdStep) -> bool:
    """Whether a plate does not carry another: it is set in another bank or beyond another coupler."""
    bank = work.record.layout.bank_of(step.bore)
    if one.bore not in bank.bores:
        return True
    carrier = bank.carrier(one.bore)
    return carrier is not None and step.bore not in bank.beyond(carrier)
