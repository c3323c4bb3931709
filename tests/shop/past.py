"""Engines with a past, written as rows: visits that were read, moved and signed off, without the hours they took."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sqlmodel import Session

from app.shop.commands import engines
from app.shop.procedure.phases import HEAT_SOAKED, LOCK_DOWN
from app.shop.store.database import Database
from app.shop.store.tables import CheckRow, MoveRow, ReadingRow, RoundRow, SignOff, Visit
from app.sync.engine.layout import Layout
from tests.shop.yard import AT, V8, engine, key

Values = Mapping[int, float] | Sequence[float]


@dataclass
class Past:
    """Writes visits of one engine, half a year apart. Values are kg/h in the order of the layout's bores."""

    shop: Database
    layout: Layout = V8
    serial: str = "31-0217"
    engine_id: int = 0
    visits: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.engine_id = engine(self.shop, self.layout, self.serial)

    def visit(
        self,
        found: Sequence[float],
        left: Sequence[float] | None = None,
        *,
        signed: bool = True,
        air: Mapping[str, float] | None = None,
        left_speed: float | None = 850.0,
        meter_id: int = 1,
        rounds: int = 1,
        by: str = "KM",
        intake: str | None = None,
        intake_note: str | None = None,
    ) -> int:
        """A visit as found and, after one reset of coupler 2–3 when ``left`` is given, as left. Returns its id.

        ``air`` with the idle speed is recorded before that move, ``left_speed`` [rev/min] after it.
        """
        began = datetime.fromisoformat(AT) + timedelta(days=182 * len(self.visits))
        with self.shop.writing() as session:
            number = len(self.visits) + 1
            fitting = engines.fitting_now(session, self.engine_id).ident
            row = Visit(
                key=key(), payload="", engine_id=self.engine_id, fitting_id=fitting, meter_id=meter_id, number=number,
                place="vehicle" if number > 1 else "test cell", job=f"{1000 + number}", why="Rough when hot", by=by,
                opened_at=began.isoformat(timespec="milliseconds"), intake=intake, intake_note=intake_note,
            )  # fmt: skip
            session.add(row)
            session.flush()
            for item, value in {"coolant": 84.0, **(air or {})}.items():
                session.add(self._check(row.ident, item, value, began))
            at = 1
            for _ in range(rounds):
                newest = self._round(session, row.ident, HEAT_SOAKED.slug, at, found, began)
                at += 1
            if left is not None:
                made = self._move(row.ident, newest, began)
                session.add(made)
                session.flush()
                if air is not None and left_speed is not None:
                    session.add(self._check(row.ident, "idle", left_speed, began, LOCK_DOWN.slug, made.ident))
                for _ in range(rounds):
                    self._round(session, row.ident, LOCK_DOWN.slug, at, left, began)
                    at += 1
            if signed:
                session.add(
                    SignOff(key=key(), payload="", visit_id=row.ident, name="Foreman of the yard", at=row.opened_at)
                )
            self.visits.append(row.ident)
            return row.ident

    def _round(
        self, session: Session, visit_id: int, phase: str, number: int, values: Sequence[float], began: datetime
    ) -> int:
        begun = began + timedelta(minutes=10 * number)
        one = RoundRow(
            key=key(), payload="", visit_id=visit_id, phase=phase, number=number, opening=0.0, begun_at=_text(begun)
        )
        session.add(one)
        session.flush()
        bores = self.layout.bores
        walk = [*zip(bores, values, ["turn"] * len(bores), strict=True), (bores[0], values[0], "closing")]
        newest = 0
        for at, (bore, value, kind) in enumerate(walk):
            row = ReadingRow(
                key=key(), payload="", round_id=one.ident, bore=bore, kind=kind, value=value, unit="kg/h", why="",
                by="KM", at=_text(begun + timedelta(seconds=18 * at)),
            )  # fmt: skip
            session.add(row)
            session.flush()
            newest = row.ident
        return newest

    def _move(self, visit_id: int, after_reading: int, began: datetime) -> MoveRow:
        return MoveRow(
            key=key(), payload="", visit_id=visit_id, phase=HEAT_SOAKED.slug, kind="blade", bank="A", near=2, far=3,
            amount=7.62e-5, leaves="7.62e-05", advised=1, after_reading=after_reading, by="KM", at=_text(began),
        )  # fmt: skip

    def _check(
        self,
        visit_id: int,
        item: str,
        value: float,
        began: datetime,
        phase: str = HEAT_SOAKED.slug,
        after_move: int = 0,
    ) -> CheckRow:
        return CheckRow(
            key=key(), payload="", visit_id=visit_id, phase=phase, item=item, number=value, text="",
            after_move=after_move, by="KM", at=_text(began),
        )  # fmt: skip


def _text(at: datetime) -> str:
    return at.isoformat(timespec="milliseconds")
