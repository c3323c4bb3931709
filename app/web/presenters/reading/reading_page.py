"""The reading page: which bore is next, how the tiles stand, what the verdict and the card say.

Everything here is worked out from the story; nothing is stored and nothing is judged that the brain has not judged.
"""

from collections.abc import Mapping
from functools import cached_property

from app.shop.assessment.advising import next_step, waits_for
from app.shop.assessment.verdicts import balance_of, evenness_of
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.read_order import NextReading, next_reading
from app.shop.record.entries import MeterReading
from app.shop.record.visit_record import VisitRecord
from app.shop.store.idempotency import new_key
from app.sync.banks.banks import BankAssessment
from app.sync.planning.advice import Advice
from app.sync.readings.rounds import RoundResult
from app.web.presenters.drawing import blades_of, by_bore, joint_kind, shape_of, unit_of, value_of, word_of
from app.web.presenters.filters import clock
from app.web.presenters.reading import bank_card
from app.web.presenters.reading.card_actions import ONE_MORE, begins_round, go_on, here_of, leave, move_card
from app.web.presenters.reading.keypad import SKIP_REASONS, Pad, Wanted, speed_item
from app.web.presenters.reading.linkage import linkage
from app.web.presenters.views import (
    Action,
    Card,
    CouplerMark,
    EngineView,
    Entered,
    Keypad,
    LinkageView,
    RoundCount,
    Row,
    State,
    Tile,
    VerdictView,
)
from app.wording import words
from app.wording.reasons import in_words
from app.wording.step_words import said

MOST_IN_A_ROW = 6
SPEED_SAYS = "The tachometer reads the air of all bores at once: after a move it tells how much more they let in."


class ReadingPage:
    """The reading page of one phase; ``simulated`` for a practice engine."""

    def __init__(
        self,
        record: VisitRecord,
        phase: Phase,
        wanted: Wanted,
        values: Mapping[str, str],
        problems: Mapping[str, str],
        simulated: bool = False,
    ) -> None:
        self.simulated = simulated
        self.record = record
        self.phase = phase
        self.wanted = wanted
        self._values = values
        self._problems = problems
        self.unit = unit_of(record.meter)
        self.here = here_of(record, phase)

    @cached_property
    def due(self) -> NextReading:
        """What the round asks for next."""
        return next_reading(self.record, self.phase)

    @cached_property
    def step(self) -> Advice:
        """The one next step."""
        return next_step(self.record, self.phase)

    @cached_property
    def waits(self) -> str:
        """What comes before any reading here, as a sentence; empty for nothing, and once the visit is signed off."""
        waits = None if self.record.sign_off is not None else waits_for(self.record, self.phase)
        return in_words(waits) if waits else ""

    @cached_property
    def balance(self) -> BankAssessment | None:
        """The brain's word on the banks, off idle."""
        return balance_of(self.record) if self.phase.rounds == "openings" else None

    @cached_property
    def before_move(self) -> Mapping[int, MeterReading]:
        """The newest values from before the last move, at the opening now read: stale, but all there is."""
        here = (self.due.opening, self.due.from_above)
        rounds = (r for r in self.record.rounds if r is not self.due.current)
        last = [r for r in rounds if (r.row.opening, bool(r.row.from_above)) == here]
        moved = [r for r in last if self.record.moved_since(r)]
        stale: dict[int, MeterReading] = {}
        for one in moved:
            stale.update(one.latest)
        return stale

    @cached_property
    def now(self) -> Mapping[int, MeterReading]:
        """The values of the round under way."""
        return self.due.current.latest if self.due.current else {}

    @cached_property
    def judged(self) -> RoundResult | None:
        """How even the bores stand in the round under way, as far as it was read."""
        current = self.due.current
        if current is None or len(current.latest) < min(2, len(self.record.layout.bores)):
            return None
        return evenness_of(self.record, current, self.record.settings.window(self.phase.slug))

    @property
    def selected(self) -> int | None:
        """The bore that the keypad enters; none while something comes first, but what was refused stays in sight."""
        if self.wanted.entry == "speed" or (self.waits and not self._problems):
            return None
        if self.wanted.bore in self.record.layout.bores:
            return self.wanted.bore
        if self.record.sign_off is not None:
            return None
        return self.step.bores[0] if self.step.kind == "measure" and self.step.bores else self.due.bore

    @property
    def blanks(self) -> tuple[Tile, ...]:
        """Empty tiles that the script of the page fills in while the shop computer does not answer."""
        words: dict[State, str] = {
            "to-read": "to read",
            "next": "read now",
            "closing": "closing",
            "held": "waiting",
            "refused": "not kept",
        }
        return tuple(Tile(0, "", word, state, "none", 0, "", "", "") for state, word in words.items())

    @property
    def engine(self) -> EngineView:
        """The engine from above; a long bank that is alone is folded in two, so that its figures keep their size."""
        rows: list[Row] = []
        for bank in self.record.layout.banks:
            tiles = tuple(self._tile(bore) for bore in bank.bores)
            pairs = zip(bank.bores, bank.bores[1:], bank.kinds, strict=False)
            marks = tuple(CouplerMark(self._moves_coupler(a, b), joint_kind(kind)) for a, b, kind in pairs)
            turns_stop = self.step.kind == "stop" and self.step.bank == bank.name
            alone = len(self.record.layout.banks) == 1
            half = (len(tiles) + 1) // 2 if alone and len(tiles) > MOST_IN_A_ROW else len(tiles)
            rows.append(Row(bank.name, tiles[:half], marks[:half], bank.stop, turns_stop))
            if tiles[half:]:
                rows.append(Row(f"{bank.name}, rear", tiles[half:], marks[half:], bank.stop, turns_stop))
        return EngineView(tuple(rows), tuple(self._strip()), self._round_count)

    @property
    def _round_count(self) -> RoundCount | None:
        current = self.due.current
        if self.record.sign_off is not None or (current is not None and current.closed):
            return None
        read = len(current.latest) + len(current.skipped) if current is not None else 0
        return RoundCount(read, len(self.record.layout.bores) + 1)

    @property
    def question(self) -> tuple[MeterReading, MeterReading] | None:
        """Two readings of one bore, older first, of which a person has to say which counts."""
        return next(iter(self.due.current.in_question), None) if self.due.current else None

    @property
    def verdict(self) -> VerdictView:
        """How even the round is, in a word and a sentence."""
        if self.question is not None:
            title = f"Bore {self.question[0].bore} has two values"
            return VerdictView("none", title, "The verdict comes once it is said which of them counts.")
        if self.phase.rounds == "openings":
            return bank_card.verdict(self.record, self.balance, self.due)
        judged = self.judged
        if judged is None and self.record.sign_off is not None:
            return VerdictView("none", "No round stands here", "A move came after the last. The sheet has them all.")
        if judged is None:
            number, current = self.due.round_number, self.due.current
            begun = current is not None and current.row.number == number and bool(current.latest)
            title = f"Round {number}: too few read yet" if begun else f"Round {number}: nothing read yet"
            return VerdictView("none", title, "The verdict comes with the readings.")
        marks = {"even": "even", "not even": "not-even", "too close to call": "close"}
        outside = [s for s in judged.standings if s.verdict != "even"]
        return VerdictView(
            marks.get(judged.verdict, "none"),  # type: ignore[arg-type]
            words.verdict_title(judged),
            words.verdict_sentence(judged, self.unit),
            _ruler_marks(judged),
            len(judged.standings) - len(outside),
        )

    @property
    def linkage(self) -> LinkageView | None:
        """Lever and links, off idle."""
        if self.phase.rounds != "openings" or self.record.sign_off is not None:
            return None
        return linkage(self.record, self.step, self.balance, self.due)

    @property
    def card(self) -> Card:
        """The one next move, or the question why a bore is skipped."""
        title, reason = said(self.record, self.phase, self.step)
        if self.record.sign_off is not None:
            sheet = Action("Handover sheet", True, href=f"/visits/{self.record.visit.ident}/sheet")
            return Card("none", title, reason, (sheet,))
        if self.question is not None:
            return self._question_card(*self.question)
        if self.wanted.entry == "speed" and speed_item(self.record, self.phase) is not None:
            return Card("none", "Type the idle speed", SPEED_SAYS)
        if self.wanted.skip and self.selected is not None:
            return self._skip_card(self.selected)
        if entered := self._entered(self.wanted.bore):
            return self._entered_card(entered)
        if self.step.why == "stopped":
            return Card("none", title, reason, (Action("See what was recorded", True, href=self.here),))
        if self.waits:
            return Card("none", "Not yet", self.waits, (go_on(self.record, self.phase),))
        if self.phase.rounds == "openings":
            told = title, reason
            return bank_card.card(self.record, self.phase, self.step, told, self.balance, self.due, self.wanted.above)
        if self.phase.rounds == "none":
            return Card("none", title, reason, (Action("Steps", True, href=self.here),))
        if self.step.kind == "measure" and self.due.bore is not None:
            again = " again" if self.due.kind == "closing" else ""
            return Card("none", f"Read bore {self.selected}{again}", reason, leave(self.record, self.phase, self.due))
        return self._advised(title, reason)

    @property
    def keypad(self) -> Keypad:
        """The entry of the next reading, or of the idle speed."""
        typed = self._values, self._problems
        return Pad(self.record, self.phase, self.due, self.selected, self.wanted, *typed, bool(self.waits)).view

    def _tile(self, bore: int) -> Tile:
        reading, standing = self.now.get(bore), by_bore(self.judged).get(bore)
        current = self.due.current
        corner = ""
        state: State
        if bore == self.selected:
            state = "closing" if self.due.kind == "closing" and bore == self.due.bore else "next"
            corner = value_of(reading, self.record.meter) if reading else ""
            word = "closing" if state == "closing" else "read now"
        elif reading is not None:
            state, word = "read", word_of(standing, self.unit) or "read"
            old = current and next((r for r in current.entered if r.ident == reading.supersedes_id), None)
            if old:
                state, corner = "corrected", value_of(old, self.record.meter)
            if self.judged is not None and bore in self.judged.outliers:
                state = "suspicious"
            for pair in current.in_question if current else ():
                if pair[0].bore == bore:
                    state, word = "suspicious", " or ".join(value_of(r, self.record.meter) for r in pair)
        elif current is not None and bore in current.skipped:
            state, word = "skipped", "skipped"
        elif bore in self.before_move:
            state, word, reading = "stale", "before move", self.before_move[bore]
        else:
            state, word = "to-read", "to read"
        value = value_of(reading, self.record.meter) if reading else ""
        even = standing is not None and standing.verdict == "even" and state in ("read", "corrected", "suspicious")
        shaft = self.record.layout.bank_of(bore).shaft(bore)
        return Tile(
            bore=bore,
            value=value,
            word=word,
            state=state,
            shape=shape_of(standing) if state in ("read", "corrected", "suspicious") else "none",
            blades=blades_of(standing, self.judged.tolerance) if self.judged else 0,
            corner=corner,
            href=f"{self.here}/readings?bore={bore}",
            name=", ".join(part for part in (f"Bore {bore}", value, word, "saved" if reading else "") if part),
            reading=f"{reading.ident} {reading.kind}" if reading and state != "stale" else "",
            line_left=even,
            line_right=even,
            shaft_front=len(shaft) > 1 and bore != shaft[0],
            shaft_rear=len(shaft) > 1 and bore != shaft[-1],
            bypass=bore in self.record.layout.bypass,
            bypass_adjuster=self.step.kind == "bypass" and self.step.near == bore,
        )

    def _moves_coupler(self, a: int, b: int) -> bool:
        return self.step.kind in ("blade", "screw") and {self.step.near, self.step.far} == {a, b}

    def _strip(self) -> list[tuple[str, str]]:
        current, bores = self.due.current, self.record.layout.bores
        total = len(bores) + 1
        if current is not None:
            read = len(current.latest) + len(current.skipped) + int(current.closed)
            said = f"closed, {read} of {total}" if current.closed else f"{read} of {total} read"
        else:
            said = f"0 of {total} read"
        ended = current is None and self.record.sign_off is not None
        pairs = [] if ended else [(f"Round {self.due.round_number}", said)]
        if self.due.opening:
            lever = words.opening(self.due.opening, self.due.from_above, self.record.units.metric)
            pairs.append(("lever on", lever))
        if self.judged is not None:
            if self.phase.rounds != "openings":
                pairs.append(("mean", self.unit.show(self.judged.mean)))
                pairs.append(("window", f"±{self.unit.show(self.judged.tolerance)}"))
            if len(self.judged.bank_means) > 1:
                pairs += [(name, self.unit.show(mean)) for name, mean in self.judged.bank_means.items()]
        coolant = self.record.checks.get((HEAT_SOAKED.slug, "coolant"))
        if len(self.record.layout.banks) == 1 and coolant is not None and coolant.number is not None:
            pairs.append(("coolant", self.record.units.of("temperature").says(coolant.number)))
        return pairs

    def _advised(self, title: str, reason: str) -> Card:
        """The move that is asked for, or the word that none is needed or helps."""
        if self.step.kind == "done":
            truth = Action("See the true state", href=f"/practice/{self.record.visit.ident}/expert", takes_long=True)
            ways = (go_on(self.record, self.phase), truth if self.simulated else ONE_MORE)
            return begins_round(self.record, self.phase, title, reason, *ways)
        if self.step.why == "tightening":
            recheck = f"{here_of(self.record, HEAT_SOAKED)}/readings"
            back = Action(f"Back to the {HEAT_SOAKED.title.lower()}", True, recheck)
            return begins_round(self.record, self.phase, title, reason, back, ONE_MORE)
        if self.step.kind in ("measure", "cannot"):
            return begins_round(self.record, self.phase, title, reason, ONE_MORE)
        return move_card(self.record, self.phase, self.step, title, reason)

    def _entered(self, bore: int | None) -> tuple[Entered, ...]:
        """Every value of a bore in the round under way, oldest first."""
        rows = self.due.current.entered if self.due.current else ()
        replaced = {row.supersedes_id for row in rows}
        return tuple(
            Entered(value_of(row, self.record.meter), f"{row.by}, {clock(row.at)}", row.ident in replaced)
            for row in rows
            if row.bore == bore and row.value is not None
        )

    def _entered_card(self, entered: tuple[Entered, ...]) -> Card:
        """What a bore that is entered out of turn has had so far, and what becomes of it."""
        says = "What is typed takes the place of the last one, which stays in sight, struck."
        if self.keypad.hidden.get("kind") == "again":
            says = "What is typed counts beside what stands here: the bore goes with their mean."
        back = Action("Back to the round", href=f"{self.here}/readings")
        return Card("none", f"Bore {self.wanted.bore} in this round", says, (back,), values=entered)

    def _question_card(self, older: MeterReading, newer: MeterReading) -> Card:
        meter = self.record.meter
        entered = [f"{value_of(r, meter)} at {clock(r.at)}" for r in (older, newer)]
        answers = (
            Action(f"{value_of(older, meter)} counts", name="counts", value="older"),
            Action(f"{value_of(newer, meter)} counts", name="counts", value="newer"),
            Action("Both count", name="counts", value="both"),
        )
        hidden = {"key": new_key(), "older": str(older.ident), "newer": str(newer.ident), "by": self.record.visit.by}
        title = f"Which value of bore {older.bore} counts?"
        reason = f"Two tablets kept one: {entered[0]} and {entered[1]}."
        return Card("none", title, reason, answers, f"{self.here}/settle", hidden)

    def _skip_card(self, bore: int) -> Card:
        answers = tuple(Action(reason, name="why", value=reason) for reason in SKIP_REASONS)
        keypad = self.keypad
        hidden = {**keypad.hidden, "skip": "1"}
        return Card("none", f"Why is bore {bore} skipped?", "", answers, f"{self.here}/readings", hidden)


NUDGES = (0.0, 0.16, -0.16, 0.32, -0.32)
"""Where on the ruler a mark is tried, three to a stack, before it would lie on another."""


def _ruler_marks(judged: RoundResult) -> tuple[tuple[int, float, int], ...]:
    """Bores outside the window on a line three windows each way, stacked or set beside where they would meet."""
    marks: list[tuple[int, float, int]] = []
    for standing in sorted((s for s in judged.standings if s.verdict != "even"), key=lambda s: s.deviation):
        position = max(-1.0, min(1.0, standing.deviation / (3 * judged.tolerance)))
        free = (
            (at, level)
            for nudge in NUDGES
            for level in range(3)
            if abs(at := position + nudge) <= 1
            and not any(taken == level and abs(there - at) < 0.155 for _, there, taken in marks)
        )
        at, level = next(free, (position, 2))
        marks.append((standing.bore, at, level))
    return tuple(marks)
