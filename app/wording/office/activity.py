"""The activity log: what was done, by its code, figures in the units that the shop shows."""

from collections.abc import Mapping
from enum import StrEnum

from app.shop.procedure.phases import PHASES
from app.shop.queries.activity import Activity
from app.shop.reasons import Reason, because
from app.shop.record.measures import Units
from app.wording.causes.tests import finding_name
from app.wording.message import Message, say
from app.wording.names import place
from app.wording.quantities import places_of
from app.wording.reasons import TABLES, in_words
from app.wording.stored import Column, as_stored
from app.wording.work.adjusters import logged
from app.wording.work.phases import item_figure, item_short, phase_title
from app.wording.work.requirements import cause_in_full

PRINTED = Message("Activity log", note="at the head of a printed page")

MESSAGES: Mapping[StrEnum, Message] = {
    Activity.ENGINE: Message("Engine {serial} registered"),
    Activity.HARDWARE: Message("Hardware changed: {why}"),
    Activity.VISIT: Message("Visit {number} opened, {place}"),
    Activity.ROUND: Message("Round {number} started, {phase}"),
    Activity.READING: Message("Bore {bore}: {value}\u00a0{unit}, round {round}, {phase}"),
    Activity.SKIP: Message("Bore {bore} skipped: {why}, round {round}, {phase}"),
    Activity.ADJUSTED: Message("{adjusted}", note="an adjustment, such as: stop screw A turned"),
    Activity.FIGURE: Message("{item}: {figure}"),
    Activity.TEXT: Message("{item}: {text}"),
    Activity.TICK: Message("{item}: checked"),
    Activity.UNDONE: Message("{item}: undone"),
    Activity.WAIVER: Message("{phase} waived: {why}"),
    Activity.ENGINE_STARTED: Message("Engine started"),
    Activity.ENGINE_STOPPED: Message("Engine stopped"),
    Activity.STOP_ENDED: Message("Stop ended. Cause: {cause}. Remedy: {remedy}"),
    Activity.MISTAKEN: Message("Visit ended, opened by mistake: {why}"),
    Activity.SIGN_OFF: Message("Signed off"),
    Activity.CORRECTION: Message("Corrected after sign-off: {why}"),
    Activity.HOURS: Message("Time corrected, {phase}: {why}"),
    Activity.FINDING: Message("Cross-check: {test}"),
    Activity.PERSON_ADDED: Message("Added to the people who can sign off"),
    Activity.PERSON_REMOVED: Message("Removed from the people who can sign off"),
    Activity.PIN_CHANGED: Message("PIN changed"),
    Activity.PIN_WRONG: Message("Wrong PIN entered"),
    Activity.TABLET_PAIRED: Message("Tablet {name} paired"),
    Activity.TABLET_RENAMED: Message("Tablet renamed to {name}"),
    Activity.TABLET_REMOVED: Message("Tablet {name}: access removed"),
    Activity.TABLET_MOVED: Message("Tablet {name} moved to {room}, {site}"),
    Activity.TABLET_WITHOUT_ROOM: Message("Tablet {name} taken out of its room"),
    Activity.SITE_ADDED: Message("Site {name} added"),
    Activity.SITE_CHANGED: Message("Site {name} changed"),
    Activity.SITE_CLOSED: Message("Site {name} closed"),
    Activity.ROOM_ADDED: Message("Room {name} added at {site}"),
    Activity.ROOM_RENAMED: Message("Room renamed to {name} at {site}"),
    Activity.ROOM_CLOSED: Message("Room {name} at {site} closed"),
    Activity.REPLACED: Message("Corrected: {what}"),
    Activity.TAKEN_BACK: Message("Taken back: {what}"),
    Activity.REPEATED: Message("Entered again: {what}"),
}
TABLES[Activity] = MESSAGES

STORED_REASONS: Mapping[StrEnum, Column] = {Activity.HARDWARE: "fitting.why", Activity.SKIP: "reading.why"}
"""Where the reason of a line may be stored as a code."""

ITEMS = {(phase.slug, item.slug): item for phase in PHASES for item in phase.items}
PHASE_SLUGS = frozenset(phase.slug for phase in PHASES)


STOP_CORRECTED = Message("Stop ended. Cause: {cause}")
"""Of a figure that was mistyped, and corrected."""


def done(what: Reason, units: Units) -> str:
    """One line of the log."""
    if what.code is Activity.STOP_ENDED and not what.values["remedy"]:
        return say(STOP_CORRECTED, **_said(what, units))
    if what.code in (Activity.REPLACED, Activity.TAKEN_BACK, Activity.REPEATED):
        return say(MESSAGES[what.code], what=done(what.values["what"], units))
    return in_words(because(what.code, **{**what.values, **_said(what, units)}))


def _said(what: Reason, units: Units) -> dict[str, str]:
    """The values of a line that are codes or figures, in words."""
    values, said = what.values, {}
    if what.code is Activity.ADJUSTED:
        said["adjusted"] = logged(values["kind"], values["bank"], values["near"], values["far"])
    if what.code is Activity.STOP_ENDED:
        said["cause"] = cause_in_full(values["cause"], values["text"])
    if what.code is Activity.FINDING:
        said["test"] = finding_name(values["kind"])
    if what.code in STORED_REASONS:
        said["why"] = as_stored(values["why"], STORED_REASONS[what.code])
    if "place" in values:
        said["place"] = place(values["place"])
    if "phase" in values:
        said["phase"] = phase_title(values["phase"]) if values["phase"] in PHASE_SLUGS else values["phase"]
    if values.get("value") is not None:
        said["value"] = f"{values['value']:.{places_of(values['step'])}f}"
    if "item" in values:
        item = ITEMS.get((values["phase"], values["item"]))
        name = item_short(values["item"])
        said["item"] = name[:1].upper() + name[1:]
        if values["number"] is not None:
            said["figure"] = item_figure(item, values["number"], units) if item else f"{values['number']:g}"
    return said
