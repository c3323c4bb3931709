"""How far the records of a visit go, told cheaply: a page asks it every second whether it is out of date."""

from sqlmodel import Session, col, func, select

from app.shop.refusals import NotThereError
from app.shop.tables import CheckRow, MoveRow, Override, ReadingRow, RoundRow, SignOff, Visit

OF_A_VISIT = (RoundRow, MoveRow, CheckRow, Override, SignOff)


def version(session: Session, visit_id: int) -> str:
    """A short text that changes with every row added to a visit. Raises NotThereError."""
    if session.get(Visit, visit_id) is None:
        raise NotThereError("visit of that number")
    newest = [
        session.exec(select(func.max(ReadingRow.id)).join(RoundRow).where(RoundRow.visit_id == visit_id)).one(),
        *(
            session.exec(select(func.max(col(table.id))).where(table.visit_id == visit_id)).one()
            for table in OF_A_VISIT
        ),
    ]
    return ".".join(str(number or 0) for number in newest)
