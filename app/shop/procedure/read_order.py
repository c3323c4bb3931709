"""Which bore is read next. A round goes front to rear, bank by bank, and ends where it began."""

from dataclasses import dataclass
from typing import Literal

from app.shop.procedure.items import Phase
from app.shop.record.visit_record import Round, Story


@dataclass(frozen=True, slots=True)
class Due:
    """The reading to take next in a phase: in which round, at which opening, which bore.

    ``bore`` is None when the round is closed, or the phase has no rounds. ``follow`` are the bores after it.
    ``current`` is the round as recorded so far, None before its first reading. ``from_above``: the lever is opened
    further first and brought back onto the blade.
    """

    round_number: int
    opening: float
    bore: int | None
    kind: Literal["turn", "closing"]
    follow: tuple[int, ...]
    current: Round | None
    from_above: bool = False


def due(story: Story, phase: Phase) -> Due:
    """What to read next in ``phase``. A move ends the round it was made in: what follows is a new one."""
    mine = [r for r in story.rounds if r.row.phase == phase.slug]
    newest = max((r.row.number for r in story.rounds), default=0)
    current = mine[-1] if mine else None
    if phase.rounds == "none" or (phase.rounds == "openings" and len(story.layout.banks) < 2):
        return Due(newest, 0.0, None, "turn", (), None)
    opening = next_opening(story, mine) if phase.rounds == "openings" else 0.0
    done_here = current is not None and current.closed and phase.rounds == "openings" and opening is not None
    if current is None or story.moved_since(current) or done_here:
        bores = story.layout.bores
        return Due(newest + 1, opening or 0.0, bores[0], "turn", bores[1:], None)
    number, opening, above = current.row.number, current.row.opening, bool(current.row.from_above)
    if current.closed:
        return Due(number, opening, None, "closing", (), current, above)
    left = [b for b in story.layout.bores if b not in current.latest and b not in current.skipped]
    if left:
        return Due(number, opening, left[0], "turn", tuple(left[1:]), current, above)
    return Due(number, opening, current.first_bore(), "closing", (), current, above)


def opening_rounds(story: Story, mine: list[Round], from_above: bool = False) -> dict[float, Round]:
    """The closed round that stands for each opening reached that way: the newest one that no move came after."""
    found: dict[float, Round] = {}
    for one in mine:
        if bool(one.row.from_above) is from_above and one.closed and not one.in_question and not story.moved_since(one):
            found[one.row.opening] = one
    return found


def next_opening(story: Story, mine: list[Round]) -> float | None:
    """The opening still to be read, None when all were; idle (0) comes last, once a link was turned.

    A link that was made too short holds its bank off the stop, and only idle shows that.
    """
    read = opening_rounds(story, mine)
    turned = any(m.kind == "link" for m in story.moves)
    wanted = (*story.settings.openings, 0.0) if turned else story.settings.openings
    return next((o for o in wanted if o not in read), None)
