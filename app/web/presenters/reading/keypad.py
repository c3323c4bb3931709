"""The keypad of the reading page: the entry of the next reading, or once, of the idle speed.

Everything here is worked out from the record and from what was asked of the page.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from app.shop.assessment.assessment import PhaseAssessment
from app.shop.procedure.doubtful_values import ASKED_TIMES, ROUGHLY_TIMES
from app.shop.procedure.items import Item
from app.shop.procedure.opening_speed import FASTEST, SLOWEST, SpeedDue
from app.shop.procedure.read_order import NextReading
from app.shop.procedure.requirements import Requirement
from app.shop.reasons import because
from app.shop.record.visit_record import SPEEDS, VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.idempotency import new_key
from app.sync.planning.advice import AdviceKind, AdviceReason
from app.sync.readings.rounds import MISREAD_OTHERS
from app.web.forms import Typed
from app.web.presenters.views import Action, Keypad, Keys
from app.wording.message import say
from app.wording.quantities import feeler, unit_of
from app.wording.reasons import in_words
from app.wording.work import reading_page as words
from app.wording.work.phases import unit_label

Entry = Literal["", "again", "correct", "speed"]

RPM = "rpm"

NAMED = 3
"""Bores named of those that follow."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What was asked of the page: a bore out of turn, again or corrected, to skip it, or the idle speed.

    ``above``: the round that is begun approaches its opening from open.
    """

    bore: int | None = None
    entry: Entry = ""
    skip: bool = False
    above: bool = False

    @staticmethod
    def typed(form: Typed, skips: bool) -> "Wanted":
        """What a rejected form was about."""
        bore = form.text("bore")
        entry: Entry = "again" if form.text("kind") == "again" else ""
        return Wanted(
            int(bore) if bore.isdecimal() else None,
            "correct" if form.text("supersedes") else entry,
            skips,
            form.text("from_above") == "1",
        )


def opening_speed(judged: PhaseAssessment, wanted: Wanted) -> SpeedDue | None:
    """The engine speed off idle that the keypad enters: asked for, or due before the first bore; else None."""
    due, stopped = judged.speed, judged.waits is not None and judged.waits.code is Requirement.OVER_REV_LIMIT
    if due is None or (judged.waits is not None and not stopped):
        return None
    first = due.first and wanted.bore is None and not stopped
    return due if wanted.entry == "speed" or first else None


def to_opening_speed(judged: PhaseAssessment) -> tuple[Action, ...]:
    """The way to the engine speed off idle, where it is to be entered; else nothing."""
    if opening_speed(judged, Wanted(entry="speed")) is None:
        return ()
    here = f"/visits/{judged.record.visit.ident}/{judged.phase.slug}"
    return (Action(say(words.OPENING_SPEED_HERE), href=f"{here}/readings?entry=speed"),)


def speed_item(judged: PhaseAssessment) -> Item | None:
    """The item under which a phase saves the idle speed; None where it asks for none, or nothing may be saved."""
    if judged.record.sign_off is not None:
        return None
    return next((item for item in judged.items if item.slug in SPEEDS), None)


@dataclass(frozen=True, eq=False)
class Pad:
    """What the keypad is drawn from.

    ``selected`` is the bore that it enters, None for none; ``values`` and ``problems`` are those of a rejected form;
    ``writes``: not a visit of another site.
    """

    judged: PhaseAssessment
    selected: int | None
    wanted: Wanted
    values: Mapping[str, str]
    problems: Mapping[str, str]
    writes: bool

    @cached_property
    def record(self) -> VisitRecord:
        """The visit."""
        return self.judged.record

    @cached_property
    def due(self) -> NextReading:
        """The reading to take next."""
        return self.judged.due

    @property
    def here(self) -> str:
        """Where its forms go."""
        return f"/visits/{self.record.visit.ident}/{self.judged.phase.slug}"

    @property
    def view(self) -> Keypad:
        """The keypad as it is drawn."""
        if not self.writes:
            return self._closed(None)
        speed = speed_item(self.judged)
        if (off_idle := opening_speed(self.judged, self.wanted)) is not None:
            return self._of_opening_speed(off_idle)
        if self.wanted.entry == "speed" and speed is not None:
            return self._of_speed(speed)
        if self.selected is None or self.record.sign_off is not None or self.judged.phase.rounds == "none":
            return self._closed(self._to_speed(speed))
        return self._of_bore(self.selected, self._to_speed(speed))

    def _of_bore(self, bore: int, other: Action | None) -> Keypad:
        current = self.due.current
        read = current.latest.get(bore) if current else None
        closed = current is not None and current.closed
        kind, supersedes = "turn", ""
        heading = words.BORE
        if read is not None and (self.wanted.bore == bore or closed):
            entry = self.wanted.entry or ("again" if closed else "correct")
            if entry == "again":
                kind, heading = "again", words.BORE_ALSO
                other = Action(say(words.CORRECT_VALUE), href=f"{self.here}/readings?bore={bore}&entry=correct")
            else:
                kind, supersedes, heading = read.kind, str(read.ident), words.BORE_CORRECTED
                other = Action(say(words.READ_ALSO), href=f"{self.here}/readings?bore={bore}&entry=again")
        elif self.due.kind == "closing" and bore == self.due.bore:
            kind, heading = "closing", words.BORE_AGAIN
        return Keypad(
            heading=say(heading, bore=bore),
            unit=unit_of(self.record.meter).name,
            follows=self._follows(bore, kind, corrects=bool(supersedes)),
            keys=keys_for(self.record.meter.step),
            open=True,
            action=f"{self.here}/readings",
            hidden={
                "key": self.values.get("key", "") or new_key(),
                "round": str(self.due.round_number),
                "bore": str(bore),
                "kind": kind,
                "supersedes": supersedes,
                "by": self.record.visit.by,
                "sure": self.values.get("sure", ""),
                **self._reached,
            },
            typed=self.values.get("value", ""),
            message=" ".join(self.problems.values()),
            other=other,
            reasons=skip_reasons(),
            all_bores=f"{self.here}/look",
            facts=self._facts,
        )

    @property
    def _reached(self) -> dict[str, str]:
        """How the opening is reached, once that is said: before the first reading the card asks for it."""
        if not self.due.opening or (self.due.current is None and not self.wanted.skip):
            return {}
        above = self.due.from_above if self.due.current is not None else self.wanted.above
        return {"from_above": str(int(above))}

    def _of_speed(self, item: Item) -> Keypad:
        kept = self.record.checks.get((self.judged.phase.slug, item.slug))
        last = f"{kept.number:g}" if kept is not None and kept.number is not None else ""
        return Keypad(
            heading=say(words.IDLE_SPEED),
            unit=unit_label(item.unit_in(self.record.units)),
            follows=say(words.LAST_SPEED, speed=last) if last else say(words.THEN_ROUND),
            keys="whole",
            open=True,
            action=f"{self.here}/speed",
            hidden={"key": self.values.get("key", "") or new_key(), "by": self.record.visit.by},
            typed=self.values.get("value", ""),
            message=" ".join(self.problems.values()),
            other=Action(say(words.BACK_TO_BORES), href=f"{self.here}/readings"),
            facts={
                "unit": RPM,
                "low": f"{item.low:g}",
                "high": f"{item.high:g}",
                "range": in_words(item.range_in(self.record.units)),
            },
        )

    def _of_opening_speed(self, asked: SpeedDue) -> Keypad:
        begun, lever = self.due.current is not None, feeler(asked.opening, self.record.units)
        without = asked.first and not self.judged.waits
        bores = f"{self.here}/readings" + (f"?bore={self.due.bore}" if without else "")
        return Keypad(
            heading=say(words.ENGINE_SPEED),
            unit=unit_label(RPM),
            follows=say(words.ENGINE_SPEED_AT, feeler=lever, round=asked.round_number),
            keys="whole",
            open=True,
            action=f"{self.here}/speed",
            hidden={
                "key": self.values.get("key", "") or new_key(),
                "round": str(asked.round_number),
                "by": self.record.visit.by,
                **({"from_above": str(int(asked.from_above))} if begun else {}),
            },
            typed=self.values.get("value", ""),
            message=" ".join(self.problems.values()),
            other=Action(say(words.WITHOUT_SPEED if without else words.BACK_TO_BORES), href=bores),
            facts={
                "unit": RPM,
                "low": f"{SLOWEST:g}",
                "high": f"{FASTEST:g}",
                "range": in_words(because(Rejection.OUT_OF_RANGE, low=SLOWEST, high=FASTEST, unit=RPM)),
            },
        )

    def _to_speed(self, item: Item | None) -> Action | None:
        """The way to the idle speed: once after each move, and at the end of a round; never while a round is read."""
        if ways := to_opening_speed(self.judged):
            return ways[0]
        if item is None or self.judged.waits:
            return None
        kept, current = self.record.checks.get((self.judged.phase.slug, item.slug)), self.due.current
        known = kept is not None and kept.after_move >= self.record.last_move
        if known and (current is None or not current.closed):
            return None
        return Action(say(words.ENTER_SPEED_HERE), href=f"{self.here}/readings?entry=speed")

    @property
    def _facts(self) -> dict[str, str]:
        """What the script of the page needs to go through the round without the shop computer."""
        now = self.due
        left = (now.bore, *now.follow) if now.kind == "turn" and now.bore is not None else ()
        return {
            "round": str(now.round_number),
            "walk": " ".join(map(str, left)),
            "first": str(now.last or ""),
            "unit": self.record.meter.unit,
            "proves": "1" if self._proves else "",
            "ends": "" if now.current is not None and now.current.closed else "1",
            "low": f"{self.record.meter.low:g}",
            "high": f"{self.record.meter.high:g}",
            "range": in_words(self.judged.meter_range),
            "times": f"{ASKED_TIMES:g}"
            if self.record.meter.quantity == "flow"
            else "0",  # a column is no air to it: the server asks
            "last": " ".join(f"{bore}:{value:g}" for bore, value in self.judged.last_values.items()),
            "others": str(MISREAD_OTHERS),
            "roughly": " ".join(f"{bore}:{value:.4g}" for bore, value in self.judged.known_roughly.items()),
            "roughly-times": f"{ROUGHLY_TIMES[self.record.meter.quantity]:g}",
        }

    @property
    def _proves(self) -> bool:
        """Whether one carried probe is to read the bore: where it has, a sensor of the bore's own says nothing more."""
        last = self.due.current.latest.get(self.selected) if self.due.current and self.selected else None
        return self.judged.step.why is AdviceReason.ONE_PROBE or (last is not None and not last.fixed)

    def _closed(self, other: Action | None) -> Keypad:
        heading, follows = say(words.NOTHING_TO_READ_YET if self.judged.waits else words.NOTHING_TO_READ), ""
        if self.due.current is not None and self.due.current.closed:
            heading = say(words.ROUND_COMPLETE, round=self.due.round_number)
            follows = "" if self.judged.waits else say(words.TAP_A_BORE)
        if self.record.sign_off is not None:
            heading, follows = say(words.SIGNED_OFF), ""
        return Keypad(
            heading,
            unit_of(self.record.meter).name,
            follows,
            keys_for(self.record.meter.step),
            False,
            f"{self.here}/readings",
            {},
            message=" ".join(self.problems.values()),
            other=other,
            facts=self._facts,
        )

    def _follows(self, bore: int, kind: str, *, corrects: bool) -> str:
        if self.wanted.bore is None and self.judged.step.kind not in (AdviceKind.MEASURE, AdviceKind.DONE):
            return say(words.OR_READ_ON)  # the card asks for something else, and comes first
        if kind == "closing" and not corrects:
            return say(words.ENDS_ROUND)
        if corrects or kind == "again" or bore != self.due.bore:
            after = words.THEN_ROUND if corrects else words.EXTRA_READING
            return say(after) if self.due.bore is not None else ""
        first = self.due.last or bore
        then = ", ".join(map(str, self.due.follow[:NAMED]))
        if not then:
            return say(words.THEN_FIRST, first=first)
        return say(words.THEN_MORE if len(self.due.follow) > NAMED else words.THEN_SOME, bores=then, first=first)


def skip_reasons() -> tuple[tuple[str, str], ...]:
    """Why a bore may be skipped: the code, and what the button says."""
    return tuple((str(code), say(message)) for code, message in words.SKIP_REASONS.items())


def keys_for(step: float) -> Keys:
    """The last column of keys for a meter of that step."""
    named: dict[float, Keys] = {0.25: "quarter", 0.5: "half", 1.0: "whole"}
    return named.get(step, "tenth")
