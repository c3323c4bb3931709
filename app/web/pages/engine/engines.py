"""Engines: register one, look at it, correct its facts, record what is fitted, open a visit."""

from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.shop.at_site import customer, may_write
from app.shop.commands import engines, visits
from app.shop.commands.access.sites import last_site
from app.shop.commands.visits import NewVisit
from app.shop.errors import ConflictError, NotFoundError, RejectedError
from app.shop.procedure.items import PLACES
from app.shop.procedure.requirements import ChangedPart
from app.shop.queries import history_cache
from app.shop.queries.search import tag_of
from app.shop.reasons import because
from app.shop.record import loader, stored_settings
from app.shop.record.fittings import HARDWARE_FIELDS, hardware_from_json, layout_from_json
from app.shop.record.intake import intake_of
from app.shop.rejections import Rejection
from app.shop.store.copies import earlier_copies
from app.shop.store.idempotency import new_key
from app.shop.store.tables import Engine
from app.sync.engine.units import REV_PER_MIN
from app.web import forms
from app.web.context import Form, Now, Number, Page, Pages, Shop
from app.web.display_options import belongs_to
from app.web.error_responses import status_of
from app.web.forms import DISPLACEMENT_UNITS, Typed
from app.web.pages.shop.meters import meter_choices
from app.web.presenters import lists
from app.web.presenters.history.history_cards import past_of, slipped_before
from app.wording.message import say
from app.wording.names import begin
from app.wording.office import engines as engine_words
from app.wording.office import intake as intake_words
from app.wording.reasons import in_words, problems_in_words
from app.wording.work.requirements import RUNS, part_name

router = APIRouter()

LAYOUTS: Mapping[str, Mapping[str, str]] = {
    "v8": {"a_bores": "1 2 3 4", "b_bores": "5 6 7 8"},
    "four": {"a_bores": "1 2 3 4", "b_bores": ""},
    "six": {"a_bores": "1 2 3 4 5 6", "b_bores": ""},
    "v6": {"a_bores": "1 2 3", "b_bores": "4 5 6"},
    "v12": {"a_bores": "1 2 3 4 5 6", "b_bores": "7 8 9 10 11 12"},
    "opposed4": {"a_bores": "1 3", "b_bores": "2 4"},
    "opposed6": {"a_bores": "1 3 5", "b_bores": "2 4 6"},
    "twins": {"a_bores": "1 2 3 4", "a_stop": "2", "shafts": "1-2 3-4", "screws": "2-3", "bypass": "1 2 3 4"},
}
"""Layouts to start from; every number can be changed after."""


@router.get("/engines/new")
def new_engine(page: Page, layout: str = "v8") -> HTMLResponse:
    """The empty form, filled with the layout chosen."""
    values = {"displacement_unit": "L", "idle_speed": "", "key": new_key(), **LAYOUTS.get(layout, LAYOUTS["v8"])}
    return _form(page, values, {}, layout=layout)


@router.post("/engines/new")
def other_layout(page: Page, form: Form) -> HTMLResponse:
    """The form again with another layout filled in and everything else as typed."""
    layout = form.text("layout")
    filled = dict.fromkeys(forms.layout_names(), "")
    values = {**form.values, **filled, **LAYOUTS.get(layout, LAYOUTS["v8"])}
    return _form(page, values, {}, layout=layout)


@router.post("/engines")
def register(shop: Shop, page: Page, form: Form, now: Now) -> Response:
    """Register the engine typed, or show the form again with what is wrong beside each field."""
    try:
        facts = forms.engine_facts(form)
        layout = forms.layout(form)
        if layout is None or "displacement" in form.problems:
            form.raise_problems()
        assert layout is not None
        hardware = forms.hardware(form, facts.displacement, len(layout.bores))
        form.raise_problems()
        engine_id = engines.register(shop, form.text("key"), facts, layout, hardware, now)
    except RejectedError as refusal:
        return _form(page, form.values, problems_in_words(refusal), status=status_of(refusal))
    return page.saved(f"/engines/{engine_id}")


@router.get("/engines/{engine_id}")
def show(shop: Shop, page: Page, engine_id: int, number: Number = 1) -> HTMLResponse:
    """What the engine is, what is fitted, its visits, a page of them; nothing to press that another site is refused."""
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        memory = history_cache.of_engine(session, engine_id)
        _, held = stored_settings.now(session)
        open_visit = next((visit for visit in memory.visits if not visit.signed), None)
        changed_at = last_site(session, engine_id)
    fitting = memory.fittings[-1]
    return page.show(
        "engine.html",
        engine=engine,
        tag=tag_of(engine.key),
        fitting=fitting,
        layout=layout_from_json(fitting.layout),
        hardware=hardware_from_json(fitting.hardware),
        past=past_of(memory, lists.part(f"/engines/{engine_id}", {}, len(memory.visits), number), held.units.metric),
        open_visit=open_visit,
        changed_at=changed_at,
    )


@router.get("/visits/{visit_id}/slipped")
def slipped(shop: Shop, page: Page, visit_id: int) -> HTMLResponse:
    """What had slipped by the time a visit began, from the readings to the verdict."""
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        engine = engines.get(session, record.engine.ident)
        memory = history_cache.of_engine(session, engine.ident)
    one = slipped_before(memory, visit_id, record.units.metric)
    if one is None:
        raise NotFoundError(because(Rejection.NO_EARLIER_VISIT))
    return page.show("visit/slipped.html", engine=engine, one=one)


@router.get("/engines/{engine_id}/change")
def change_form(shop: Shop, page: Page, engine_id: int) -> Response:
    """The engine's facts, to be corrected; its page where another site does that."""
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        changed_at = last_site(session, engine_id)
    if not may_write(changed_at):
        return page.go(f"/engines/{engine_id}")
    return page.show(
        "engine_change.html",
        engine=engine,
        kept=earlier_copies(shop.folder),
        differing=(),
        values=_facts_as_typed(engine),
        problems={},
    )


@router.post("/engines/{engine_id}/change")
def change(shop: Shop, page: Page, form: Form, engine_id: int) -> Response:
    """Store corrected facts."""
    try:
        facts = forms.engine_facts(form)
        version = form.whole("version")
        form.raise_problems()
        engines.change(shop, engine_id, version, facts)
    except RejectedError as refusal:
        with shop.reading() as session:
            engine = engines.get(session, engine_id)
        theirs = _facts_as_typed(engine) if isinstance(refusal, ConflictError) else {}
        return page.show(
            "engine_change.html",
            status_of(refusal),
            engine=engine,
            kept=earlier_copies(shop.folder),
            differing=_differing(theirs, form) if theirs else (),
            values={
                **form.values,
                **({"version": theirs["version"]} if theirs else {}),
            },  # it was seen now
            problems=problems_in_words(refusal),
        )
    return page.saved(f"/engines/{engine_id}")


@router.get("/engines/{engine_id}/fitting")
def fitting_form(shop: Shop, page: Page, engine_id: int) -> Response:
    """What is fitted, to be measured better or recorded as changed; the engine's page where another site does that."""
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        fitting = engines.fitting_now(session, engine_id)
        changed_at = last_site(session, engine_id)
        under_way = engines.open_visit(session, engine_id) is not None
    if not may_write(changed_at):
        return page.go(f"/engines/{engine_id}")
    known = hardware_from_json(fitting.hardware)
    values = {
        **forms.layout_as_typed(layout_from_json(fitting.layout)),
        **forms.hardware_as_typed(known),
        "key": new_key(),
    }
    return _fitting(page, engine, values, {"": in_words(because(Rejection.VISIT_OPEN))} if under_way else {})


@router.post("/engines/{engine_id}/fitting")
def fit(shop: Shop, page: Page, form: Form, engine_id: int, now: Now) -> Response:
    """Record what is fitted from now on."""
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
    try:
        layout = forms.layout(form)
        if layout is None:
            form.raise_problems()
        assert layout is not None
        hardware = forms.hardware(form, engine.displacement, len(layout.bores))
        form.raise_problems()
        engines.fit(shop, engine_id, form.text("key"), layout, hardware, form.text("why"), now)
    except RejectedError as refusal:
        return _fitting(page, engine, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/engines/{engine_id}")


@router.get("/engines/{engine_id}/visits/new")
def new_visit(shop: Shop, page: Page, engine_id: int, now: Now, meter: str = "") -> HTMLResponse:
    """The form that opens a visit, with a meter chosen where one was told."""
    return _visit_form(shop, page, engine_id, now, {"key": new_key(), "meter": meter}, {})


@router.post("/engines/{engine_id}/visits")
def open_visit(shop: Shop, page: Page, form: Form, request: Request, engine_id: int, now: Now) -> Response:
    """Open the visit, at what is the tablet of its opener from then on, or show the form again with what is wrong."""
    try:
        meter = form.whole("meter") if form.text("meter") else 0
        changed = tuple(what for what in ChangedPart if form.text(f"changed {what}"))
        intake, note, runs = form.text("intake"), form.text("intake_note"), form.text("runs")
        if not form.text("place"):
            form.problems["place"] = because(Rejection.PLACE_MISSING)
        if not form.text("by").strip():
            form.problems["by"] = because(Rejection.INITIALS_MISSING)
        if not intake:
            form.problems["intake"] = because(Rejection.INTAKE_MISSING)
        if form.text("asks") and not runs:
            form.problems["runs"] = because(Rejection.RUNS_MISSING)
        new = NewVisit(
            form.text("place"), form.text("job"), form.text("why"), form.text("by"), meter, changed, intake, note, runs
        )
        form.raise_problems()
        visit_id = visits.open_visit(shop, engine_id, form.text("key"), new, now)
    except RejectedError as refusal:
        return _visit_form(shop, page, engine_id, now, form.values, problems_in_words(refusal), status_of(refusal))
    answer = page.saved(f"/visits/{visit_id}")
    belongs_to(answer, new.by, request.url.scheme)
    return answer


def _form(
    page: Pages, values: Mapping[str, str], problems: Mapping[str, str], layout: str = "", status: int = 200
) -> HTMLResponse:
    return page.show(
        "engine_new.html",
        status,
        values=values,
        problems=problems,
        layouts=[(name, say(engine_words.STARTING_LAYOUTS[name])) for name in LAYOUTS],
        chosen=layout,
        hardware_known=_hardware_known(),
        likely=_estimates(values),
    )


def _fitting(
    page: Pages, engine: Engine, values: Mapping[str, str], problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    bores = len(" ".join((values.get("a_bores", ""), values.get("b_bores", ""))).split())
    return page.show(
        "fitting.html",
        status,
        engine=engine,
        values=values,
        problems=problems,
        hardware_known=_hardware_known(),
        likely=forms.estimates_as_typed(engine.displacement, max(bores, 1)),
    )


def _hardware_known() -> list[tuple[str, str, str]]:
    """Each hardware figure's field: name, label, unit."""
    return [
        (name, say(engine_words.HARDWARE[name]), engine_words.UNIT_SYMBOLS.get(known.unit, known.unit))
        for name, known in HARDWARE_FIELDS.items()
    ]


def _estimates(values: Mapping[str, str]) -> dict[str, str]:
    typed = Typed(values)
    size = DISPLACEMENT_UNITS.get(typed.text("displacement_unit"), 0.0)
    displacement = typed.number("displacement") * size if typed.text("displacement") else 0.0
    bores = len(" ".join((typed.text("a_bores"), typed.text("b_bores"))).split())
    if displacement <= 0 or bores == 0:
        return {}
    return forms.estimates_as_typed(displacement, bores)


def _differing(theirs: Mapping[str, str], form: Typed) -> list[tuple[str, str, str]]:
    """What another tablet saved beside what was typed here, by the name of the field."""
    both = [(say(label), theirs[name], form.text(name)) for name, label in engine_words.FACTS.items()]
    return [(label, stored, typed) for label, stored, typed in both if stored != typed]


def _facts_as_typed(engine: Engine) -> dict[str, str]:
    size = DISPLACEMENT_UNITS[engine.displacement_unit]
    return {
        "serial": engine.serial,
        "description": engine.description,
        "displacement": f"{engine.displacement / size:.6g}",
        "displacement_unit": engine.displacement_unit,
        "customer": customer(engine),
        "vehicle": engine.vehicle,
        "idle_speed": f"{engine.idle_speed / REV_PER_MIN:.6g}",
        "version": str(engine.version),
    }


def _visit_form(
    shop: Shop,
    page: Pages,
    engine_id: int,
    now: str,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    with shop.reading() as session:
        engine = engines.get(session, engine_id)
        choices = meter_choices(session, now[:10])
        newest = engines.newest_visits(session, [engine_id]).get(engine_id)
        asks = visits.asks_whether_it_runs(session, engine_id)
    last = intake_of(newest.intake, newest.intake_note) if newest is not None else None
    return page.show(
        "visit_new.html",
        status,
        engine=engine,
        meters=choices,
        changes=[(what, begin(part_name(what))) for what in (ChangedPart if newest is not None else ())],
        runs=[(str(one), say(words)) for one, words in RUNS.items()] if asks else [],
        intakes=intake_words.choices(),
        intake_before=intake_words.before(last),
        places=PLACES,
        values=values,
        problems=problems,
    )
