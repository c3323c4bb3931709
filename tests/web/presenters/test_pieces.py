"""The pieces of the visit page, rendered with plain facts: shapes, states, names, escaping."""

import re
from types import SimpleNamespace as Facts
from xml.etree import ElementTree

import pytest

from tests.web.pieces import NASTY, closed, piece


def tile(bore: int = 3, **changed: object) -> Facts:
    """A bore that was read and is even."""
    facts: dict[str, object] = {
        "bore": bore,
        "value": "6.25",
        "word": "even",
        "state": "read",
        "shape": "even",
        "blades": 0,
        "corner": "",
        "href": f"?bore={bore}",
        "name": f"Bore {bore}, 6.25, even, saved",
        "reading": "12 turn",
        "line_left": True,
        "line_right": True,
        "shaft_front": False,
        "shaft_rear": False,
        "screws": (),
    }
    return Facts(**(facts | changed))


def row(*tiles: Facts, adjuster: int = -1, stop_at: int = 0, stop_adjuster: bool = False, kind: str = "blade") -> Facts:
    """A bank; ``adjuster`` is the index of the coupler that the next move is made at, ``kind`` what all of them are."""
    spoken = "" if kind == "blade" else f"a {kind}"
    couplers = [Facts(adjuster=i == adjuster, kind=kind, spoken=spoken) for i in range(len(tiles) - 1)]
    stop = stop_at or tiles[0].bore
    return Facts(name="A", tiles=tiles, couplers=couplers, stop_at=stop, stop_adjuster=stop_adjuster)


def engine_of(*rows: Facts) -> str:
    """The engine from above with those banks."""
    largest = max(len(r.tiles) for r in rows)
    view = Facts(rows=rows, strip=[("average", "6.45 kg/h")], counts=None, largest=largest, alone=len(rows) == 1)
    return piece("engine", "engine(view)", view=view)


# The bore


@pytest.mark.parametrize("count", [1, 2, 3])
def test_open_is_solid_blades_above_the_shaft(count: int) -> None:
    html = piece("bore", "bore(tile)", tile=tile(shape="wide", blades=count))
    tops = [float(y) for y in re.findall(r'draw-blade-wide" d="M33 (\S+?)h', html)]
    assert len(tops) == count
    assert all(top + 9 < 55 for top in tops)  # 9 thick, and the shaft begins at 55
    assert "draw-blade-tight" not in html


@pytest.mark.parametrize("count", [1, 2, 3])
def test_closed_is_hollow_blades_below_the_shaft(count: int) -> None:
    html = piece("bore", "bore(tile)", tile=tile(shape="tight", blades=count))
    tops = [float(y) for y in re.findall(r'draw-blade-tight" d="M33 (\S+?)h', html)]
    assert len(tops) == count
    assert all(top > 65 for top in tops)  # the shaft ends at 65
    assert "draw-blade-wide" not in html


def test_three_blades_is_the_clamp() -> None:
    assert piece("bore", "bore(tile)", tile=tile(shape="wide", blades=7)).count("draw-blade-wide") == 3


@pytest.mark.parametrize(("shape", "above"), [("lean-wide", True), ("lean-tight", False)])
def test_at_the_limit_is_one_dashed_blade_on_the_side_it_leans_to(shape: str, above: bool) -> None:
    html = piece("bore", "bore(tile)", tile=tile(shape=shape, blades=1, word="not sure"))
    found = re.findall(r'draw-blade-lean" d="M33 (\S+?)h', html)
    assert len(found) == 1
    assert (float(found[0]) < 60) is above


def test_even_is_no_blade_and_a_heavy_line() -> None:
    html = piece("bore", "bore(tile)", tile=tile())
    assert "draw-axis-even" in html
    assert "draw-blade" not in html


@pytest.mark.parametrize("state", ["to-read", "next", "closing", "skipped", "stale", "refused"])
def test_a_bore_without_a_valid_reading_has_no_plate(state: str) -> None:
    html = piece("bore", "bore(tile)", tile=tile(state=state, shape="wide", blades=2))
    assert "draw-shaft" not in html
    assert "draw-blade" not in html


@pytest.mark.parametrize("state", ["next", "closing"])
def test_only_the_bore_to_read_now_is_a_solid_disc(state: str) -> None:
    html = piece("bore", "bore(tile)", tile=tile(state=state, word="read now"))
    assert "draw-disc-now" in html
    assert 'aria-current="true"' in html
    others = piece("bore", "bore(tile)", tile=tile())
    assert "draw-disc-now" not in others
    assert "aria-current" not in others


def test_the_last_value_is_never_shown_where_a_new_one_is_due() -> None:
    html = piece("bore", "bore(tile)", tile=tile(state="next", value="7.75"))
    assert "7.75" not in html


@pytest.mark.parametrize(
    ("state", "word"), [("suspicious", "again?"), ("held", "waiting"), ("refused", "rejected"), ("read", "")]
)
def test_a_reading_that_is_not_settled_says_so_in_its_corner(state: str, word: str) -> None:
    html = piece("bore", "bore(tile)", tile=tile(state=state))
    assert re.findall(r'corner-word">([^<]*)<', html) == ([word] if word else [])


def test_a_corrected_reading_keeps_the_old_value_struck() -> None:
    assert "<s>8.00</s>" in piece("bore", "bore(tile)", tile=tile(state="corrected", corner="8.00"))
    closing = piece("bore", "bore(tile)", tile=tile(state="closing", corner="8.00"))
    assert "8.00" in closing
    assert "<s>" not in closing


def test_a_bore_is_one_link_whose_name_says_it_all() -> None:
    html = piece("bore", "bore(tile)", tile=tile())
    link = ElementTree.fromstring(html)
    assert link.tag == "a"
    assert link.get("aria-label") == "Bore 3, 6.25, even, saved"
    assert [svg.get("aria-hidden") for svg in link.iter("svg")] == ["true"]


def test_text_is_escaped_in_a_tile() -> None:
    html = piece("bore", "bore(tile)", tile=tile(value=NASTY, word=NASTY, corner=NASTY, name=NASTY, href=NASTY))
    assert "<script" not in html
    assert ElementTree.fromstring(html).get("aria-label") == NASTY


# The engine


def test_an_even_bank_is_one_unbroken_line() -> None:
    html = engine_of(row(tile(1), tile(2), tile(3)))
    assert html.count("draw-axis-even") == 5  # three bores and the two couplers between them


@pytest.mark.parametrize("broken", ["line_left", "line_right"])
def test_the_line_breaks_where_one_side_is_not_even(broken: str) -> None:
    first, second = tile(1), tile(2)
    setattr(second if broken == "line_left" else first, broken, False)
    assert engine_of(row(first, second)).count("draw-axis-even") == 2


def test_the_next_move_is_marked_at_its_coupler_alone() -> None:
    html = engine_of(row(tile(1), tile(2), tile(3), adjuster=1), row(tile(4), tile(5)))
    assert html.count("draw-standing") == 1
    assert html.index("draw-standing") > html.index('data-bore="2"')
    assert html.index("draw-standing") < html.index('data-bore="3"')


def test_two_plates_on_one_shaft_are_drawn_on_one_bar_without_a_coupler() -> None:
    html = engine_of(row(tile(1, shaft_rear=True), tile(2, shaft_front=True), kind="shaft"))
    assert html.count("M-99 -5H99V5H-99z") == 1  # in the gap
    assert html.count("M110 55H720") == html.count("M10 55H-600") == 1  # out of each tile towards it
    assert "M-4 -15v30M4 -15v30" not in html
    assert "a shaft" in html
    apart = engine_of(row(tile(1), tile(2)))
    assert "M-4 -15v30M4 -15v30" in apart
    assert "H720V65" not in apart


def test_a_coupler_with_a_screw_of_its_own_shows_its_head_and_is_marked_like_any_other() -> None:
    html = engine_of(row(tile(1), tile(2), kind="screw", adjuster=0))
    assert "M-4 -15v30M4 -15v30" in html
    assert 'cy="-24"' in html
    assert html.count("draw-standing") == 1


@pytest.mark.parametrize("adjuster", [False, True])
def test_a_bypass_screw_sits_at_its_bore_and_is_marked_when_it_is_to_be_turned(adjuster: bool) -> None:
    html = engine_of(row(tile(1), tile(2, screws=(Facts(kind="bypass", x=103, y=103, adjuster=adjuster),))))
    assert html.count("data-bypass") == 1
    assert html.index("data-bypass") > html.index('data-bore="2"')
    assert html.count("draw-standing") == adjuster


@pytest.mark.parametrize(("stop_at", "in_tile"), [(1, False), (2, True)])
def test_the_stop_screw_is_drawn_at_its_bore(stop_at: int, in_tile: bool) -> None:
    html = engine_of(row(tile(1), tile(2), stop_at=stop_at, stop_adjuster=True))
    assert html.count("draw-standing") == 1
    assert (html.index("draw-standing") > html.index('data-bore="2"')) is in_tile


@pytest.mark.parametrize(("bores", "form"), [(3, "few"), (4, ""), (5, "many"), (7, "many crowd")])
def test_the_form_of_the_engine_follows_its_largest_bank(bores: int, form: str) -> None:
    html = engine_of(row(*map(tile, range(1, bores + 1))), row(tile(9)))
    found = re.search(r'class="card engine ?([^"]*)"', html)
    assert found is not None
    assert found[1] == form


def test_one_bank_gets_the_larger_form() -> None:
    assert "one-bank" in engine_of(row(tile(1)))
    assert "one-bank" not in engine_of(row(tile(1)), row(tile(2)))


def test_the_small_engine_says_its_name_or_is_hidden() -> None:
    rows = [Facts(tiles=[Facts(shape=s) for s in ("even", "lean-wide", "wide", "tight", "none")])]
    hidden = ElementTree.fromstring(piece("small_engine", "small_engine(rows)", rows=rows))
    assert hidden.get("aria-hidden") == "true"
    assert hidden.get("width") == "134"  # 26 a bore and 2 over at each end
    named = ElementTree.fromstring(piece("small_engine", "small_engine(rows, said)", rows=rows, said=NASTY))
    assert named.get("role") == "img"
    assert named.get("aria-label") == NASTY


# Verdict, move, phases


def ruler_of(*marks: tuple[int, float, int, bool], inside: int = 5) -> ElementTree.Element:
    """The drawing of a ruler."""
    ruler = ElementTree.fromstring(
        piece("ruler", "ruler(marks, inside, ends)", marks=marks, inside=inside, ends=("low", "high"))
    )
    drawing = ruler.find("svg")
    assert drawing is not None
    return drawing


def test_the_ruler_is_three_tolerances_each_way() -> None:
    drawing = ruler_of((4, 1.0, 0, True), (5, -1 / 3, 0, False), (6, 0.0, 1, True))
    window = drawing.find("rect")
    assert window is not None
    left, width = (float(window.attrib[one].removesuffix("%")) for one in ("x", "width"))
    farthest, edge, middle = (float(c.attrib["cx"].removesuffix("%")) for c in drawing.iter("circle"))
    assert middle == pytest.approx(left + width / 2, abs=0.002)
    assert edge == pytest.approx(left, abs=0.002)  # one third of three windows is the edge of the window
    assert farthest - middle == pytest.approx(3 * (width / 2), abs=0.002)


def test_a_bore_that_is_not_surely_outside_is_dashed() -> None:
    sure, doubt = ruler_of((4, 0.5, 0, True), (5, -0.3, 0, False)).iter("circle")
    assert "draw-doubt" not in sure.attrib["class"]
    assert "draw-doubt" in doubt.attrib["class"]


def test_an_arrow_says_at_which_end_a_bore_may_lie_further() -> None:
    """65 % high on a ruler that ends at 24 % stands at its end, as one of 24 % does."""
    high, inside, low = ruler_of((6, 1.0, 0, True)), ruler_of((6, 0.9, 0, True)), ruler_of((7, -1.0, 0, True))
    assert [arrow.get("x") for arrow in high.iter("svg")][1:] == ["100%"]
    assert [arrow.get("x") for arrow in low.iter("svg")][1:] == ["0%"]
    assert len(list(inside.iter("svg"))) == 1


def test_marks_of_a_higher_level_stand_higher() -> None:
    low, high = (float(c.attrib["cy"]) for c in ruler_of((4, 0.5, 0, True), (5, 0.5, 1, True)).iter("circle"))
    assert low - high > 26  # two circles of 13 do not touch


def test_a_ruler_without_marks_counts_all_inside() -> None:
    assert "8 bores inside" in piece("ruler", "ruler([], 8, ends)", ends=("low", "high"))
    assert "1 bore inside" in piece("ruler", "ruler([], 1, ends)", ends=("low", "high"))


@pytest.mark.parametrize(("mark", "drawings"), [("even", 2), ("not-even", 2), ("close", 2), ("none", 0)])
def test_the_verdict_draws_its_mark_and_ruler(mark: str, drawings: int) -> None:
    view = Facts(
        mark=mark, title=NASTY, sentence=NASTY, marks=[], inside=4, openings=(), ends=("low", "high"), scale=()
    )
    html = piece("verdict", "verdict(view)", view=view)
    assert html.count("<svg") == drawings
    assert "<script" not in html


def answers(*advised: bool) -> list[Facts]:
    """Two answers: one that sends, one that leads on."""
    sends = Facts(label="Done as shown", advised=advised[0], href="", name="made", value="1", action="/rounds")
    leads = Facts(label="Read one more round", advised=advised[1], href="/more?a=1&b=2", takes_long=False)
    return [sends, leads]


@pytest.mark.parametrize("advised", [(True, False), (False, True)])
def test_the_order_of_answers_never_follows_the_advice(advised: tuple[bool, bool]) -> None:
    card = Facts(mark="coupler", title="Reset", reason="Because", answers=answers(*advised), values=(), ways="")
    card.action, card.hidden = "/moves", {"key": NASTY}
    html = piece("move", "move(card)", card=card)
    assert html.index("Done as shown") < html.index("Read one more round")
    filled = re.search(r'is-advised"[^>]*>([^<]+)<', html)
    assert filled is not None
    assert filled[1] == ("Done as shown" if advised[0] else "Read one more round")
    form = ElementTree.fromstring(closed(html)).find("form")
    assert form is not None
    assert (form.get("method"), form.get("action")) == ("post", "/moves")
    assert [button.get("formaction") for button in form.iter("button")] == ["/rounds"]
    assert [(i.get("name"), i.get("value")) for i in form.iter("input")] == [("key", NASTY)]


def test_a_card_that_comes_first_offers_to_read_on() -> None:
    card = Facts(mark="coupler", title="Reset", reason="", answers=answers(True, False), values=(), ways="")
    card.action, card.hidden = "/moves", {}
    first = piece("move", "move(card, '', 'stop', '/readings?bore=3', true)", card=card)
    assert "data-first" in first
    assert '<a class="answer" href="/readings?bore=3">Read on first</a>' in first
    assert "Stop it first." in first
    later = piece("move", "move(card, '', 'running')", card=card)
    assert not re.search("data-first|Read on first|Stop it first", later)


def test_a_card_without_answers_has_no_form() -> None:
    card = Facts(mark="none", title="Read bore 1", reason="", answers=[], values=(), ways="")
    html = piece("move", "move(card)", card=card)
    assert "<form" not in html
    assert "<svg" not in html


def test_phases_say_their_state_and_which_is_now() -> None:
    states = ["done", "open", "current", "to-come"]
    known = [
        Facts(title=f"Phase {s}", state=s, href="" if s == "to-come" else f"/{s}", slug=s, needed=True) for s in states
    ]
    html = piece("phases", "phases(known, 'done')", known=known)
    assert re.findall(r'class="phase is-([\w-]+)', html) == states
    assert html.count('aria-current="step"') == 1
    assert html.count('aria-current="page"') == 1
    assert html.count("<a ") == 3
    assert ">, done<" in html
