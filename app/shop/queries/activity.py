"""Who did what when, read from the rows of evidence themselves: there is no second book that could disagree with them.

The order is that of the clock when each row was stored, because rows of different tables share nothing else; inside a
table it is the order in which they were stored.
"""

from dataclasses import dataclass

from sqlmodel import Session

from app.shop.procedure.phases import PHASES
from app.shop.record import stored_settings
from app.shop.record.measures import Measure, Units

TITLES = {phase.slug: f"'{phase.title.lower()}'" for phase in PHASES}
ITEMS = {item.slug: item for phase in PHASES for item in phase.items if item.kind == "number"}


def _one_of(column: str, words: dict[str, str], otherwise: str) -> str:
    """The SQL that has for each value of a column an expression of its own."""
    cases = " ".join(f"WHEN '{value}' THEN {said}" for value, said in words.items())
    return f"CASE {column} {cases} ELSE {otherwise} END"


PHASE = _one_of("o.phase", TITLES, "o.phase")
ROUND = f"printf('round %d of %s', o.number, {PHASE})"

PARTS = (
    "SELECT registered_at AS at, '' AS who, 'Engine ' || serial || ' registered' AS what, 0 AS visit, id AS engine, "
    "'engine' AS part, id FROM engine",
    "SELECT at, '', 'What is fitted: ' || why, 0, engine_id, 'fitting', id FROM fitting WHERE number > 1",
    "SELECT opened_at, \"by\", printf('Visit %d opened, %s', number, place), id, engine_id, 'visit', id FROM visit",
    f"SELECT begun_at, '', upper(substr({ROUND}, 1, 1)) || substr({ROUND}, 2) || ' begun', o.visit_id, v.engine_id, "
    "'round', o.id FROM round o JOIN visit v ON v.id = o.visit_id",
    "SELECT r.at, r.\"by\", CASE WHEN r.supersedes_id IS NOT NULL THEN 'Corrected: ' ELSE '' END "
    "|| CASE r.kind WHEN 'skip' THEN printf('bore %d skipped: %s', r.bore, r.why) "
    f"ELSE printf('bore %d read %g %s', r.bore, r.value, r.unit) END || ', ' || {ROUND}, o.visit_id, v.engine_id, "
    "'reading', r.id FROM reading r JOIN round o ON o.id = r.round_id JOIN visit v ON v.id = o.visit_id",
    "SELECT m.at, m.\"by\", CASE WHEN m.supersedes_id IS NOT NULL THEN 'Corrected: ' ELSE '' END "
    "|| CASE m.kind WHEN 'blade' THEN printf('coupler %d-%d reset', m.near, m.far) "
    "WHEN 'screw' THEN printf('screw of coupler %d-%d turned', m.near, m.far) "
    "WHEN 'bypass' THEN printf('bypass screw of bore %d turned', m.near) "
    "WHEN 'link' THEN printf('link of bank %s turned', m.bank) "
    "ELSE printf('stop screw of bank %s turned', m.bank) END, m.visit_id, v.engine_id, 'move', m.id "
    "FROM move m JOIN visit v ON v.id = m.visit_id",
    "SELECT c.at, c.\"by\", CASE WHEN c.supersedes_id IS NOT NULL THEN 'Again: ' ELSE '' END "
    "|| replace(c.item, '-', ' ') || CASE WHEN c.number IS NOT NULL THEN ' ' || {figure} "
    "WHEN c.text <> '' THEN ' ' || c.text ELSE ' ticked' END, c.visit_id, v.engine_id, 'check', c.id "
    'FROM "check" c JOIN visit v ON v.id = c.visit_id',
    f"SELECT o.at, o.\"by\", 'Passed over in ' || {PHASE} || ': ' || o.why, o.visit_id, "
    "v.engine_id, 'override', o.id FROM override o JOIN visit v ON v.id = o.visit_id",
    "SELECT s.at, s.name, 'Signed off', s.visit_id, v.engine_id, 'sign_off', s.id "
    "FROM sign_off s JOIN visit v ON v.id = s.visit_id",
    "SELECT c.at, c.\"by\", 'Corrected after the sign-off: ' || c.why, c.visit_id, v.engine_id, 'correction', c.id "
    "FROM correction c JOIN visit v ON v.id = c.visit_id",
    "SELECT at, name, CASE WHEN active = 0 THEN 'May sign off no more' WHEN supersedes_id IS NULL THEN 'May sign off' "
    "ELSE 'Has another PIN' END, 0, 0, 'person', id FROM person",
    "SELECT at, name, 'Wrong PIN' , 0, 0, 'pin_try', id FROM pin_try WHERE \"right\" = 0",
    "SELECT at, '', 'Tablet ' || name || CASE WHEN active = 0 THEN ' shut out' WHEN supersedes_id IS NULL "
    "THEN ' let in' ELSE ' renamed' END, 0, 0, 'tablet', id FROM tablet",
)


def _figure(units: Units) -> str:
    """The SQL that says a check's figure in the units that the shop shows."""
    said = {}
    for slug, item in ITEMS.items():
        one = units.of(item.quantity) if item.quantity else Measure(item.unit, places=6)
        number = f"printf('%g', round((c.number - ({one.zero!r})) / {one.size!r}, {one.places}))"
        said[slug] = number if one.name in ("", slug) else f"{number} || ' {one.name}'"
    return _one_of("c.item", said, "printf('%g', c.number)")


@dataclass(frozen=True, slots=True)
class Line:
    """One thing done. ``visit`` and ``engine`` are 0 where it belongs to none; ``serial`` is the engine's."""

    at: str
    who: str
    what: str
    visit: int
    engine: int
    serial: str


def lines(session: Session, most: int, skip: int = 0, visit: int | None = None) -> list[Line]:
    """What was done last, newest first: ``most`` lines after the first ``skip``, of one visit or of everything."""
    wanted = "WHERE d.visit = :visit" if visit is not None else ""
    parts = " UNION ALL ".join(PARTS).replace("{figure}", _figure(stored_settings.now(session)[1].units))
    query = (
        f"SELECT d.at, d.who, d.what, d.visit, d.engine, coalesce(e.serial, '') FROM ({parts}) d "
        f"LEFT JOIN engine e ON e.id = d.engine {wanted} ORDER BY d.at DESC, d.part, d.id DESC LIMIT :most OFFSET :skip"
    )
    found = session.connection().exec_driver_sql(query, {"visit": visit, "most": most, "skip": skip})
    return [Line(*row) for row in found]
