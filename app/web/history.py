"""An engine's visits as lines to read in a second, and this visit set against how the engine was left."""

from dataclasses import dataclass

from app.shop.judgement import evenness_of
from app.shop.phases import HEAT_SOAKED
from app.shop.story import Round, Story
from app.sync.rounds import Evenness
from app.web.drawing import unit_of


@dataclass(frozen=True, slots=True)
class VisitLine:
    """One visit: spreads are widest less tightest, in the meter's unit; empty when there was no such round."""

    number: int
    opened_at: str
    place: str
    why: str
    job: str
    found: str
    left: str
    unit: str
    moves: int
    href: str
    sheet: str
    by: str
    signed: str


@dataclass(frozen=True, slots=True)
class Change:
    """One bore as it was left, as it was found, and the change, in the meter's unit with its sign."""

    bore: int
    left: str
    found: str
    change: str


@dataclass(frozen=True, slots=True)
class SinceLeft:
    """This visit's first round against the last one left."""

    left_at: str
    visit_number: int
    unit: str
    changes: tuple[Change, ...]
    sentence: str


def history(stories: list[Story]) -> tuple[VisitLine, ...]:
    """The visits of an engine, in the order given."""
    return tuple(_line(story) for story in stories)


def since_left(story: Story) -> SinceLeft | None:
    """What changed since the engine was last left; None before this visit's first round, and on a first visit."""
    found, before = story.as_found(), story.before
    left = before.as_left() if before else None
    if found is None or before is None or left is None or before.meter.unit != story.meter.unit:
        return None
    then, now = _means(before, left), _means(story, found)
    unit = unit_of(story.meter)
    shared = [bore for bore in story.layout.bores if bore in then and bore in now]
    if not shared:
        return None
    changes = tuple(
        Change(b, unit.show(then[b]), unit.show(now[b]), f"{(now[b] - then[b]) / unit.size:+.{unit.decimals}f}")
        for b in shared
    )
    most = max(shared, key=lambda b: abs(now[b] - then[b]))
    common = sum(now[b] - then[b] for b in shared) / len(shared)
    sentence = (
        f"Bore {most} changed most, by {(now[most] - then[most]) / unit.size:+.{unit.decimals}f}; "
        f"all bores together by {common / unit.size:+.{unit.decimals}f} on average."
    )
    return SinceLeft(before.visit.opened_at, before.visit.number, unit.name, changes, sentence)


def judged(story: Story, one: Round | None) -> Evenness | None:
    """How even a round was, by the fine window."""
    return evenness_of(story, one, HEAT_SOAKED.window) if one is not None else None


def _line(story: Story) -> VisitLine:
    visit, unit = story.visit, unit_of(story.meter)
    found, left = _spread(story, story.as_found()), _spread(story, story.as_left() if story.sign_off else None)
    return VisitLine(
        number=visit.number,
        opened_at=visit.opened_at,
        place=visit.place,
        why=visit.why,
        job=visit.job,
        found=found,
        left=left or ("none" if story.sign_off else "open"),
        unit=unit.name,
        moves=len(story.moves),
        href=f"/visits/{visit.ident}" if story.sign_off is None else f"/visits/{visit.ident}/heat-soaked-recheck",
        sheet=f"/visits/{visit.ident}/sheet" if story.sign_off is not None else "",
        by=visit.by,
        signed=story.sign_off.name if story.sign_off else "",
    )


def _spread(story: Story, one: Round | None) -> str:
    if one is None or not one.latest:
        return ""
    values = [r.value for r in one.latest.values() if r.value is not None]
    return f"{max(values) - min(values):.{unit_of(story.meter).decimals}f}"


def _means(story: Story, one: Round) -> dict[int, float]:
    found = judged(story, one)
    return {s.bore: s.value for s in found.standings} if found else {}
