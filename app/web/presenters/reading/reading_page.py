"""The reading page: which bore is next, what each tile shows, what the verdict and the card say.

Everything here is worked out from the record and its assessment; nothing is stored and nothing judged here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from operator import attrgetter

from app.shop.assessment.assessment import Assessment
from app.shop.assessment.codes import StepReason
from app.shop.at_site import may_write
from app.shop.procedure.items import Phase
from app.shop.procedure.parts import temperatures_of
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.record.entries import MeterReading
from app.shop.store.idempotency import new_key
from app.sync.estimation.evenness import BoreVerdict, RoundResult
from app.sync.planning.advice import AdviceKind, AdviceReason
from app.web.presenters.adjusters import moved_coupler
from app.web.presenters.drawing import drawn_stop, joint_kind, mark_of, shown
from app.web.presenters.filters import clock
from app.web.presenters.reading import bank_card
from app.web.presenters.reading.card_actions import (
    begins_round,
    find_cause,
    first,
    go_on,
    here_of,
    leave,
    move_card,
    one_more,
)
from app.web.presenters.reading.keypad import Pad, Wanted, opening_speed, skip_reasons, speed_item, to_opening_speed
from app.web.presenters.reading.linkage import linkage
from app.web.presenters.reading.tiles import Tiles, blanks, is_vacuum
from app.web.presenters.views import (
    Action,
    BoreRow,
    Card,
    CouplerMark,
    EngineView,
    Entered,
    Keypad,
    LinkageView,
    RoundCount,
    RulerMark,
    Tile,
    VerdictView,
)
from app.wording.message import say
from app.wording.quantities import measured, opening, percent_allowed, unit_of
from app.wording.reasons import in_words
from app.wording.work import reading_page as words
from app.wording.work.next_step import step_words
from app.wording.work.verdicts import ruler_ends, ruler_scale, verdict_sentence, verdict_title

MOST_IN_A_ROW = 6


class ReadingPage:
    """The reading page of one phase.

    Who does not write to the visit, being of another site, is shown what it came to and asked for nothing.
    ``after_speed`` is the entry of the first bore, to which the script of the page goes on while an engine speed waits
    to be sent; None where none is asked for first.
    """

    def __init__(
        self,
        assessment: Assessment,
        phase: Phase,
        wanted: Wanted,
        values: Mapping[str, str],
        problems: Mapping[str, str],
    ) -> None:
        judged = assessment.of(phase)
        self.assessment, self.of_phase = assessment, judged
        self.record, self.phase = judged.record, phase
        self.due, self.step, self.judged = judged.due, judged.step, judged.round
        self.waits = in_words(judged.waits) if judged.waits else ""
        self.wanted = wanted
        self.writes = may_write(self.record.visit.site_id)
        self.opening_speed = opening_speed(judged, wanted)
        self._values = values
        self._problems = problems
        self.unit = unit_of(self.record.meter)
        self.here = here_of(self.record, phase)
        self.after_speed: Keypad | None = None
        if self.opening_speed is not None and self.opening_speed.first and not self.waits:
            self.after_speed = Pad(judged, self.due.bore, Wanted(bore=self.due.bore), {}, {}, self.writes).view

    @property
    def selected(self) -> int | None:
        """The bore that the keypad enters."""
        return self._asked if self.writes else None

    @property
    def _asked(self) -> int | None:
        """The bore that is to be read; none while something comes first, but what was rejected stays in sight."""
        if self.wanted.entry == "speed" or self.opening_speed is not None or (self.waits and not self._problems):
            return None
        if self.wanted.bore in self.record.layout.bores:
            return self.wanted.bore
        if self.record.sign_off is not None:
            return None
        return self.step.bores[0] if self.step.kind is AdviceKind.MEASURE and self.step.bores else self.due.bore

    @property
    def blanks(self) -> tuple[Tile, ...]:
        """Empty tiles that the script of the page fills in while the shop computer does not answer."""
        return blanks()

    @property
    def engine(self) -> EngineView:
        """The engine from above; a long bank that is alone is folded in two, so that its figures keep their size."""
        rows: list[BoreRow] = []
        drawn = Tiles(self.of_phase, self.selected, self.here)
        alone, moved = len(self.record.layout.banks) == 1, moved_coupler(self.step)
        for bank in self.record.layout.banks:
            tiles = tuple([drawn.tile(bore) for bore in bank.bores])
            pairs = zip(bank.bores, bank.bores[1:], bank.kinds, strict=False)
            marks = tuple([CouplerMark(moved == {a, b}, joint_kind(kind)) for a, b, kind in pairs])
            stop = drawn_stop(self.record.layout, bank)
            turns_stop = self.step.kind == AdviceKind.STOP and self.step.bank == bank.name
            half = (len(tiles) + 1) // 2 if alone and len(tiles) > MOST_IN_A_ROW else len(tiles)
            rows.append(BoreRow("" if alone else bank.name, tiles[:half], marks[:half], stop, turns_stop))
            if tiles[half:]:
                rows.append(BoreRow(say(words.REAR_HALF), tiles[half:], marks[half:], stop, turns_stop))
        return EngineView(tuple(rows), tuple(self._strip()), alone, self._round_count)

    @property
    def _round_count(self) -> RoundCount | None:
        current = self.due.current
        if self.record.sign_off is not None or (current is not None and current.closed):
            return None
        read = len(current.latest) + len(current.skipped) if current is not None else 0
        return RoundCount(read, self._readings)

    @property
    def _readings(self) -> int:
        """How many readings make the round: of the bores that it does not leave out, and the drift check."""
        current, bores = self.due.current, self.record.layout.bores
        passed = {*current.latest, *current.skipped} if current is not None else set()
        return len(bores) - len(self.of_phase.left_out.keys() - passed) + 1

    @property
    def question(self) -> tuple[MeterReading, MeterReading] | None:
        """Two readings of one bore, older first, of which a person has to say which counts."""
        return next(iter(self.due.current.in_question), None) if self.due.current else None

    @property
    def verdict(self) -> VerdictView:
        """How even the round is, in a word and a sentence."""
        if self.question is not None:
            title = say(words.TWO_TO_SETTLE, bore=self.question[0].bore)
            return VerdictView("none", title, say(words.SETTLE_FIRST))
        if self.phase.rounds == "openings":
            return bank_card.verdict(self.of_phase)
        judged = self.judged
        if judged is None and self.record.sign_off is not None:
            return VerdictView("none", say(words.NO_ROUND), say(words.NO_ROUND_REASON))
        if judged is None:
            number, current = self.due.round_number, self.due.current
            begun = current is not None and current.row.number == number and bool(current.latest)
            title = say(words.TOO_FEW if begun else words.NONE_YET, round=number)
            return VerdictView("none", title, say(words.VERDICT_FOLLOWS))
        return VerdictView(
            mark_of(judged, self.of_phase.coarse),
            verdict_title(judged, self.of_phase.coarse),
            verdict_sentence(judged, self.unit),
            _ruler_marks(judged),
            [one.verdict for one in judged.standings].count(BoreVerdict.EVEN),
            ends=ruler_ends(is_vacuum(self.record)),
            scale=ruler_scale(judged.window),
        )

    @property
    def linkage(self) -> LinkageView | None:
        """Lever and link rods, at part throttle."""
        if self.phase.rounds != "openings" or self.record.sign_off is not None:
            return None
        return linkage(self.of_phase)

    @property
    def card(self) -> Card:
        """The one next step, or the question why a bore is skipped; no answers where another site gives them."""
        card = self._card
        return card if self.writes or self.record.sign_off is not None else replace(card, answers=(), ways="")

    @property
    def _card(self) -> Card:
        title, reason = step_words(self.of_phase)
        if self.record.sign_off is not None:
            sheet = Action(say(words.OPEN_SHEET), True, href=f"/visits/{self.record.visit.ident}/sheet")
            return Card("none", title, reason, (sheet,))
        if self.question is not None:
            return self._question_card(*self.question)
        if self.wanted.entry == "speed" and speed_item(self.of_phase) is not None:
            return Card("none", say(words.ENTER_SPEED), say(words.SPEED_REASON))
        if self.wanted.skip and self.selected is not None:
            return self._skip_card(self.selected)
        if entered := self._entered(self.wanted.bore):
            return self._entered_card(entered)
        if self.step.why is StepReason.STOPPED:
            list_ = Action(say(words.OPEN_CHECKLIST), True, href=self.here)
            return Card("none", title, reason, (list_, *to_opening_speed(self.of_phase)))
        if self.waits:
            return Card("none", say(words.FIRST), self.waits, (first(self.assessment, self.of_phase),))
        if self.phase.rounds == "openings":
            told = title, reason
            return bank_card.card(self.assessment, self.of_phase, told, self.wanted.above, self.opening_speed)
        if self.phase.rounds == "none":
            return Card("none", title, reason, (Action(say(words.OPEN_CHECKLIST), True, href=self.here),))
        if self.step.kind is AdviceKind.MEASURE and self.due.bore is not None:
            asked = words.READ_AGAIN if self.due.kind == "closing" else words.READ
            ways = leave(self.assessment, self.of_phase)
            return Card("none", say(asked, bore=self._asked), reason, ways)
        return self._advised(title, reason)

    @property
    def keypad(self) -> Keypad:
        """The entry of the next reading, or of the idle speed."""
        typed = self._values, self._problems
        return Pad(self.of_phase, self.selected, self.wanted, *typed, self.writes).view

    def _strip(self) -> list[tuple[str, str]]:
        current, total = self.due.current, self._readings
        if current is not None:
            read = len(current.latest) + len(current.skipped) + int(current.closed)
            said = say(words.COMPLETE if current.closed else words.COUNT_READ, read=read, total=total)
        else:
            said = say(words.COUNT_READ, read=0, total=total)
        ended = current is None and self.record.sign_off is not None
        pairs = [] if ended else [(say(words.ROUND, round=self.due.round_number), said)]
        if self.due.opening:
            lever = opening(self.due.opening, self.due.from_above, self.record.units)
            pairs.append((say(words.LEVER), lever))
        if self.judged is not None:
            if self.phase.rounds != "openings":
                pairs.append((say(words.MEAN), self.unit.show(self.judged.mean)))
                pairs.append((say(words.TOLERANCE), f"±{percent_allowed(self.judged.window)}"))
            if len(self.judged.bank_means) > 1:
                pairs += [(name, self.unit.show(mean)) for name, mean in self.judged.bank_means.items()]
        if len(self.record.layout.banks) == 1:
            metal, _ = temperatures_of(self.record.layout)
            heat = self.record.checks.get((HEAT_SOAKED.slug, metal))
            if heat is not None and heat.number is not None:
                pairs.append((say(words.METAL[metal]), measured(heat.number, "temperature", self.record.units)))
        return pairs

    def _advised(self, title: str, reason: str) -> Card:
        """The adjustment that is advised, or that none is needed or helps."""
        if self.step.kind is AdviceKind.DONE:
            seen = f"/practice/{self.record.visit.ident}/expert"
            truth = Action(say(words.SHOW_TRUTH), href=seen, takes_long=True)
            ways: tuple[Action, ...] = (
                go_on(self.assessment, self.phase),
                truth if self.record.simulated else one_more(),
            )
            if self.phase is HEAT_SOAKED and (self.record.rough or not self.record.simulated):
                ways = (*ways, find_cause(self.record, words.RUNS_ROUGH))
            return begins_round(self.record, self.phase, title, reason, *ways)
        if self.step.why in (StepReason.TIGHTENING, StepReason.UNEVEN):
            recheck = f"{here_of(self.record, HEAT_SOAKED)}/readings"
            back = Action(say(words.BACK_TO_RECHECK), True, recheck)
            return begins_round(self.record, self.phase, title, reason, back, one_more())
        if self.step.why is StepReason.ELECTRONIC:
            return begins_round(self.record, self.phase, title, reason, go_on(self.assessment, self.phase), one_more())
        if self.step.why in (AdviceReason.LEAK_CHECK, StepReason.LEAK):
            record_it = Action(say(words.OPEN_CHECKLIST), True, href=self.here)
            return begins_round(self.record, self.phase, title, reason, record_it, one_more())
        if self.step.kind is AdviceKind.CANNOT:
            cause = find_cause(self.record, words.FIND_CAUSE, advised=True)
            return begins_round(self.record, self.phase, title, reason, cause, one_more())
        if self.step.kind is AdviceKind.MEASURE:
            return begins_round(self.record, self.phase, title, reason, one_more())
        return move_card(self.record, self.phase, self.step, title, reason)

    def _entered(self, bore: int | None) -> tuple[Entered, ...]:
        """Every value of a bore in the round under way, oldest first."""
        rows = self.due.current.entered if self.due.current else ()
        replaced = {row.supersedes_id for row in rows}
        return tuple(
            Entered(shown(row.value, self.record.meter), _entered_by(row), row.ident in replaced)
            for row in rows
            if row.bore == bore and row.value is not None
        )

    def _entered_card(self, entered: tuple[Entered, ...]) -> Card:
        """What a bore that is entered out of turn has had so far, and what becomes of it."""
        says = say(words.ADDS if self.keypad.hidden.get("kind") == "again" else words.REPLACES)
        back = Action(say(words.BACK_TO_ROUND), href=f"{self.here}/readings")
        return Card("none", say(words.BORE_IN_ROUND, bore=self.wanted.bore), says, (back,), values=entered)

    def _question_card(self, older: MeterReading, newer: MeterReading) -> Card:
        meter = self.record.meter
        first, second = (say(words.VALUE_AT, value=shown(r.value, meter), time=clock(r.at)) for r in (older, newer))
        answers = (
            Action(say(words.USE_VALUE, value=shown(older.value, meter)), name="counts", value="older"),
            Action(say(words.USE_VALUE, value=shown(newer.value, meter)), name="counts", value="newer"),
            Action(say(words.USE_MEAN), name="counts", value="both"),
        )
        hidden = {"key": new_key(), "older": str(older.ident), "newer": str(newer.ident), "by": self.record.visit.by}
        title = say(words.WHICH_COUNTS, bore=older.bore)
        reason = say(words.TWO_SAVED, older=first, newer=second)
        return Card("none", title, reason, answers, f"{self.here}/settle", hidden)

    def _skip_card(self, bore: int) -> Card:
        answers = tuple(Action(label, name="why_code", value=code) for code, label in skip_reasons())
        hidden = {**self.keypad.hidden, "skip": "1"}
        return Card("none", say(words.WHY_SKIPPED, bore=bore), "", answers, f"{self.here}/readings", hidden)


def _entered_by(row: MeterReading) -> str:
    """Who entered a value, and when."""
    return say(words.ENTERED_BY, by=row.by, time=clock(row.at))


NUDGES = (0.0, 0.16, -0.16, 0.32, -0.32)
"""Where on the ruler a mark is tried, three to a stack, before it would lie on another."""


def _ruler_marks(judged: RoundResult) -> tuple[RulerMark, ...]:
    """Bores outside the tolerance on a line of three tolerances each way, open plates to the right, stacked or set
    beside where they would meet, and those of which it is not sure."""
    marks: list[RulerMark] = []
    outside = [one for one in judged.standings if one.verdict is not BoreVerdict.EVEN]
    for standing in sorted(outside, key=attrgetter("share")):
        position = max(-1.0, min(1.0, standing.share / (3 * judged.window)))
        sure = standing.verdict is not BoreVerdict.AT_LIMIT
        marks.append((standing.bore, *_free_place(position, marks), sure))
    return tuple(marks)


def _free_place(position: float, marks: Sequence[RulerMark]) -> tuple[float, int]:
    """Where a mark meant for ``position`` covers none of the others: along the line, and how high."""
    for nudge in NUDGES:
        at = position + nudge
        free = {0, 1, 2} - {level for _, there, level, _ in marks if abs(there - at) < 0.155}
        if abs(at) <= 1 and free:
            return at, min(free)
    return position, 2
