"""The tiles of the reading page: what is known of each bore in the round under way, and the word below its figure."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from app.shop.assessment.assessment import PhaseAssessment
from app.shop.procedure.read_order import NextReading
from app.shop.record.entries import MeterReading
from app.shop.record.visit_record import VisitRecord
from app.sync.estimation.evenness import BoreResult, BoreVerdict, RoundResult
from app.web.presenters.adjusters import screw_mark
from app.web.presenters.drawing import blades_of, by_bore, shape_of, shown
from app.web.presenters.views import ScrewMark, State, Tile
from app.wording.message import say
from app.wording.work import reading_page as words
from app.wording.work.verdicts import bore_word

BLANKS: tuple[State, ...] = ("to-read", "next", "closing", "held", "refused")
JUDGED: tuple[State, ...] = ("read", "corrected", "suspicious", "stands")
"""States of a tile whose plate is drawn as the reading shows it."""

NOT_OF_THE_ROUND: tuple[State, ...] = ("stands", "stale")
"""States of a tile whose value was read before the last adjustment."""


def blanks() -> tuple[Tile, ...]:
    """Empty tiles that the script of the page fills in while the shop computer does not answer."""
    return tuple(Tile(0, "", say(words.TILE_WORDS[one]), one, "none", 0, "", "", "") for one in BLANKS)


def is_vacuum(record: VisitRecord) -> bool:
    """Whether the visit is read by a vacuum gauge, where a high column is a closed plate; not so an absolute one."""
    return record.meter.quantity == "vacuum" and not record.meter.absolute


@dataclass(frozen=True, eq=False)
class Tiles:
    """What the tiles are drawn from: what is judged of the phase, its round under way and its next step among that.

    ``selected`` is the bore that the keypad enters; ``here`` is where the phase's pages are.
    """

    of_phase: PhaseAssessment
    selected: int | None
    here: str

    @cached_property
    def record(self) -> VisitRecord:
        """The visit."""
        return self.of_phase.record

    @cached_property
    def due(self) -> NextReading:
        """The reading to take next."""
        return self.of_phase.due

    @cached_property
    def judged(self) -> RoundResult | None:
        """How even the round under way is."""
        return self.of_phase.round

    @cached_property
    def _vacuum(self) -> bool:
        """Whether a high reading is a closed plate."""
        return is_vacuum(self.record)

    def tile(self, bore: int) -> Tile:
        """One bore from above."""
        state, standing = self._state(bore), self._results.get(bore)
        reading = self._reading(bore, state)
        value = shown(reading.value, self.record.meter) if reading and state != "stale" else ""
        word = self._word(bore, state)
        saved = say(words.TILE_SAVED) if reading else ""
        even = standing is not None and standing.verdict is BoreVerdict.EVEN and state in JUDGED
        shaft = self.record.layout.shafts[bore]
        return Tile(
            bore=bore,
            value=value,
            word=word,
            state=state,
            shape=shape_of(standing) if state in JUDGED else "none",
            blades=blades_of(standing, self.judged.tolerance) if self.judged else 0,
            corner=self._corner(bore, state),
            href=f"{self.here}/readings?bore={bore}",
            name=", ".join(filter(None, (say(words.TILE_NAME, bore=bore), value, word, saved))),
            reading=f"{reading.ident} {reading.kind}" if reading and state not in NOT_OF_THE_ROUND else "",
            line_left=even,
            line_right=even,
            shaft_front=len(shaft) > 1 and bore != shaft[0],
            shaft_rear=len(shaft) > 1 and bore != shaft[-1],
            screws=self._screws.get(bore, ()),
        )

    def _reading(self, bore: int, state: State) -> MeterReading | None:
        """The reading whose value a tile shows."""
        if state == "stale":
            return self._before_move[bore]
        return self.of_phase.left_out[bore] if state == "stands" else self._now.get(bore)

    @cached_property
    def _now(self) -> Mapping[int, MeterReading]:
        """The values of the round under way."""
        return self.due.current.latest if self.due.current else {}

    @cached_property
    def _screws(self) -> Mapping[int, tuple[ScrewMark, ...]]:
        step = self.of_phase.step
        return {
            bore: tuple(screw_mark(kind, step.adjuster is kind and step.near == bore) for kind in kinds)
            for bore, kinds in self.of_phase.screws.items()
        }

    @cached_property
    def _results(self) -> Mapping[int, BoreResult]:
        return by_bore(self.judged)

    @cached_property
    def _before_move(self) -> Mapping[int, MeterReading]:
        """The newest values of the phase from before the last adjustment, at the opening now read.

        None where the newest round still stands: what was before an adjustment then says nothing any more.
        """
        here = (self.due.opening, self.due.from_above)
        rounds = (r for r in self.record.rounds if r is not self.due.current)
        last = [r for r in rounds if r.lever == here]
        if not last or not self.record.moved_since(last[-1]):
            return {}
        mine = (r for r in last if r.row.phase == last[-1].row.phase and self.record.moved_since(r))
        return {bore: reading for one in mine for bore, reading in one.latest.items()}

    @cached_property
    def _in_question(self) -> Mapping[int, tuple[MeterReading, MeterReading]]:
        """By bore, two readings of which one has to be chosen, older first."""
        return {pair[0].bore: pair for pair in self.due.current.in_question} if self.due.current else {}

    @cached_property
    def _corrected(self) -> Mapping[int, MeterReading]:
        """By bore, the reading of this round that its own one took the place of."""
        entered = {row.ident: row for row in self.due.current.entered} if self.due.current else {}
        return {bore: entered[row.supersedes_id] for bore, row in self._now.items() if row.supersedes_id in entered}

    def _state(self, bore: int) -> State:
        """What is known of a bore in the round under way."""
        current = self.due.current
        if bore == self.selected:
            return "closing" if self.due.kind == "closing" and bore == self.due.bore else "next"
        if bore in self._now:
            if bore in self._in_question or (self.judged is not None and bore in self.judged.outliers):
                return "suspicious"
            return "corrected" if bore in self._corrected else "read"
        if current is not None and bore in current.skipped:
            return "skipped"
        if bore in self.of_phase.left_out:
            return "stands"
        return "stale" if bore in self._before_move else "to-read"

    def _word(self, bore: int, state: State) -> str:
        """What is below the figure of a bore."""
        if state == "stale":
            return say(words.WAS, value=shown(self._before_move[bore].value, self.record.meter))
        if state not in JUDGED:
            return say(words.TILE_WORDS[state])
        if bore in self._in_question:
            older, newer = (shown(one.value, self.record.meter) for one in self._in_question[bore])
            return say(words.TWO_VALUES, older=older, newer=newer)
        if self.judged is None or self.judged.alone or bore not in self._results:
            return say(words.TILE_WORDS["stands" if state == "stands" else "read"])
        return bore_word(self._results[bore], self._vacuum, self.of_phase.coarse)

    def _corner(self, bore: int, state: State) -> str:
        """The value that a bore had before: the one that is entered again, or the one that was corrected."""
        old = None
        if state in ("next", "closing"):
            old = self._now.get(bore) or self.of_phase.left_out.get(bore)
        elif state in JUDGED:
            old = self._corrected.get(bore)
        return shown(old.value, self.record.meter) if old else ""
