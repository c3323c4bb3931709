"""What a shop with no engine opens with: three answers, one open at a time, then the first visit can begin."""

from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.commands import engines
from app.shop.errors import Problems, RejectedError
from app.shop.procedure.phases import PHASES
from app.shop.reasons import because
from app.shop.record import meter_studies
from app.shop.rejections import Rejection
from app.shop.store.idempotency import new_key
from app.web import forms
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.display_options import LONGEST_INITIALS, belongs_to
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.web.pages.engine.engines import LAYOUTS
from app.wording.message import say
from app.wording.office import meters as meter_words
from app.wording.office.engines import STARTING_LAYOUTS
from app.wording.reasons import problems_in_words
from app.wording.work.phases import phase_in_short, phase_title

router = APIRouter()

PICTURED = ("four", "v6", "v8", "v12")
"""The layouts that are offered as pictures; any other is built on the form of a new engine."""


METER, ENGINE, INITIALS = "meter", "engine", "initials"
FIELDS: Mapping[str, tuple[str, ...]] = {
    METER: ("meter",),
    ENGINE: ("layout", "serial", "displacement", "displacement_unit", "idle_speed"),
    INITIALS: ("by",),
}
"""The three answers, in the order in which they are asked for, with the fields that each is made of."""

STEPS = tuple(FIELDS)


@router.post("/first")
def begin(request: Request, shop: Shop, page: Page, form: Form, now: Now) -> Response:
    """Register the engine, give the tablet its initials, and go on to the form that opens a visit."""
    try:
        typed = _with_layout(form.values)
        for step in STEPS:
            _check(shop, step, typed)
        typed.raise_problems()
        facts, layout = forms.engine_facts(typed), forms.layout(typed)
        assert layout is not None
        hardware = forms.hardware(typed, facts.displacement, len(layout.bores))
        engine_id = engines.register(shop, form.text("key"), facts, layout, hardware, now)
    except RejectedError as refusal:
        return show(shop, page, form.values, refusal.problems, status_of(refusal))
    answer = page.saved(f"/engines/{engine_id}/visits/new?meter={typed.whole('meter')}")
    belongs_to(answer, typed.text("by"), request.url.scheme)
    return answer


def show(
    shop: Shop, page: Pages, values: Mapping[str, str], problems: Problems | None = None, status: int = 200
) -> HTMLResponse:
    """The answer that is asked for now, those before it folded to a line; the first of them that is wrong is open."""
    found, asked = dict(problems or {}), values.get("step", "")
    if problems is None:
        asked, found = _first_wrong(shop, values, asked if asked in STEPS else METER)
    else:
        asked = next((step for step in STEPS if not found.keys().isdisjoint(FIELDS[step])), INITIALS)
    with shop.reading() as session:
        known = meter_studies.all_of(session)
    meters = [(one.row.ident, told) for one, told in zip(known, meter_words.among(known), strict=True)]
    usual = {"meter": str(meters[-1][0]), "layout": "v8", "displacement_unit": "L", "key": new_key()}
    shown = {**usual, **{name: value for name, value in values.items() if value}}
    layout = shown["layout"] if shown["layout"] in PICTURED else usual["layout"]
    return page.show(
        "first.html",
        status,
        at=STEPS.index(asked),
        carried=[name for step in STEPS if step != asked for name in FIELDS[step]],
        meters=meters,
        meter=next((told for number, told in meters if str(number) == shown["meter"]), ""),
        layouts=[(name, say(STARTING_LAYOUTS[name]), _banks(name)) for name in PICTURED],
        engine=(shown.get("serial", ""), say(STARTING_LAYOUTS[layout])),
        phases=[(phase_title(phase), phase_in_short(phase)) for phase in PHASES],
        values=shown,
        problems=problems_in_words(RejectedError(found)),
        noticed=page.noticed(),
    )


def _first_wrong(shop: Shop, values: Mapping[str, str], asked: str) -> tuple[str, Problems]:
    """The first answer before the one asked for that is not right yet, with what is wrong; else the one asked for."""
    for step in STEPS[: STEPS.index(asked)]:
        typed = _with_layout(values)
        try:
            _check(shop, step, typed)
        except RejectedError as refusal:
            return step, refusal.problems
        if wrong := {name: why for name, why in typed.problems.items() if name in FIELDS[step]}:
            return step, wrong
    return asked, {}


def _check(shop: Shop, step: str, typed: Typed) -> None:
    """Note what is wrong with one answer."""
    if step == ENGINE:
        forms.engine_facts(typed)
    elif step == INITIALS:
        if not typed.text("by"):
            typed.problems["by"] = because(Rejection.INITIALS_MISSING)
        elif len(typed.text("by")) > LONGEST_INITIALS:
            typed.problems["by"] = because(Rejection.TOO_LONG, most=LONGEST_INITIALS)
    else:
        with shop.reading() as session:
            known = [str(one.row.ident) for one in meter_studies.all_of(session)]
        if typed.text("meter") not in known:
            typed.problems["meter"] = because(Rejection.NOT_ONE_OF, choices=tuple(known))


def _with_layout(values: Mapping[str, str]) -> Typed:
    """What was typed, with the numbers of the layout that was chosen."""
    layout = values.get("layout", "")
    return Typed({**values, **LAYOUTS[layout if layout in PICTURED else "v8"]})


def _banks(name: str) -> list[int]:
    """How many bores each bank of a layout has."""
    return [len(bores.split()) for bores in (LAYOUTS[name]["a_bores"], LAYOUTS[name]["b_bores"]) if bores]
