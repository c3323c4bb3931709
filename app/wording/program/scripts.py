"""What the scripts in the browser show. Each page carries these texts in one block of JSON, read by ``words.js``."""

from collections.abc import Mapping

from app.wording.message import Message, pattern
from app.wording.program import live_values
from app.wording.work import corrections, reading_page

WORDS: Mapping[str, Message] = {
    # The status bar: a state in bold, and a sentence about it.
    "all-saved": Message("All saved"),
    "saved-without-page": Message("All saved."),
    "sending": Message("Sending"),
    "no-connection": Message("No connection."),
    "not-saved-yet": Message("Not saved yet."),
    "not-saved": Message("Not saved."),
    "waiting": Message("Waiting to send: {what}."),
    "waiting-since": Message("Waiting to send since {time}: {what}."),
    "waiting-first": Message("Waiting to send first: {what}. Then try again."),
    "nothing-waiting": Message("Nothing is waiting to send."),
    "rejected-writes": Message("Rejected: {what}."),
    "page-missing": Message("The next page did not load. Reload this page."),
    "because-server": Message("The shop computer could not save it."),
    "because-pairing": Message("Pair this tablet again."),
    "because-stranger": Message("Another device answers at this address."),
    "tap-again": Message("Not saved. Tap it again."),
    "too-long": Message("Too much text for one form. Shorten it, then send it again."),
    "server-failed": Message("The shop computer could not save it. Tap it again."),
    # What waits or was rejected, by the last part of its address.
    "write-readings": Message("{count} reading", many="{count} readings"),
    "write-rounds": Message("{count} new round", many="{count} new rounds"),
    "write-speed": Message("{count} idle speed", many="{count} idle speeds"),
    "write-moves": Message("{count} adjustment", many="{count} adjustments"),
    "write-checks": Message("{count} checklist entry", many="{count} checklist entries"),
    "write-back": Message("{count} undone check", many="{count} undone checks"),
    "write-taken-back": Message("{count} adjustment undone", many="{count} adjustments undone"),
    "write-correct": Message("{count} correction", many="{count} corrections"),
    "write-overrides": Message("{count} waiver", many="{count} waivers"),
    "write-settle": Message("{count} choice of value", many="{count} choices of value"),
    "write-start": Message("{count} engine start", many="{count} engine starts"),
    "write-stop": Message("{count} end of a stop", many="{count} ends of stops"),
    "write-instruments": Message("{count} place of the instruments", many="{count} places of the instruments"),
    "write-stopped": Message("{count} engine stop", many="{count} engine stops"),
    "write-plates-begun": Message("{count} start of cold setting", many="{count} starts of cold setting"),
    "write-plates": Message("{count} plate set cold", many="{count} plates set cold"),
    "write-hours": Message("{count} corrected time", many="{count} corrected times"),
    "write-why": Message("{count} cross-check entry", many="{count} cross-check entries"),
    "write-why-file": Message("{count} logger's file", many="{count} loggers' files"),
    "write-sign-off": Message("{count} sign-off", many="{count} sign-offs"),
    "write-mistaken": Message("{count} end of a mistaken visit", many="{count} ends of mistaken visits"),
    "write-other": Message("{count} entry", many="{count} entries"),
    "write-bore": Message(
        "Bore {bore}, {value}", note="One reading or skipped bore: its value, or why it was skipped."
    ),
    **{f"skip-{code}": message for code, message in reading_page.SKIP_REASONS.items()},
    # What was rejected, and what holds the rest up.
    "rejected-write": Message("Not saved: {write}."),
    "stuck-write": Message("Still waiting: {write}."),
    "stuck-reason": Message("The shop computer could not save it. The entries after it wait."),
    "rejected": Message("The shop computer rejected it ({status}).", note="A status of HTTP."),
    "send-again": Message("Send again"),
    "set-aside": Message("Set aside"),
    "discard": Message("Discard"),
    "discard-for-good": Message("Discard for good"),
    # The strip that says what was saved a moment ago.
    "not-sent-yet": Message("Not sent yet: {what}.", note="the title of a card, such as: Reset coupler 3–4"),
    "undo": corrections.UNDO,
    # The keypad.
    "whole-number-first": Message("Enter the whole number first."),
    "new-round": Message("Another tablet saved an adjustment. A new round starts."),
    "read-elsewhere": Message("Another tablet has read bore {bore}."),
    "bore": reading_page.BORE,
    "bore-again": reading_page.BORE_AGAIN,
    "bore-corrected": reading_page.BORE_CORRECTED,
    "extra-reading": reading_page.EXTRA_READING,
    "then-round": reading_page.THEN_ROUND,
    "ends-round": reading_page.ENDS_ROUND,
    "then-first": reading_page.THEN_FIRST,
    "then-some": reading_page.THEN_SOME,
    "then-more": reading_page.THEN_MORE,
    "round-read": Message("Round {round} read"),
    "waiting-for-server": Message("Waiting for the shop computer"),
    # The live value beside the keypad.
    "live-take": live_values.TAKE,
    "live-take-anyway": live_values.TAKE_ANYWAY,
    "live-take-all": live_values.TAKE_ALL,
    "live-take-all-anyway": live_values.TAKE_ALL_ANYWAY,
    "live-blocked": live_values.BLOCKED,
    "live-missed": live_values.MISSED,
    "live-stale": live_values.STALE,
    "live-frozen": live_values.FROZEN,
    "live-refused": live_values.REFUSED,
    "live-moving": live_values.MOVING,
    "live-scatters": live_values.SCATTERS,
    "live-too-soon": live_values.TOO_SOON,
    "live-settled": live_values.SETTLED,
    # The key of a pedal.
    "pedal-none": live_values.PEDAL_NONE,
    "pedal-chosen": live_values.PEDAL_CHOSEN,
    "pedal-press": live_values.PEDAL_PRESS,
    "pedal-needed": live_values.PEDAL_NEEDED,
    # The engine and the cards of the reading page.
    "tile-waiting": reading_page.TILE_WORDS["held"],
    "tile-saved": Message("saved", limit=16),
    "tile-skipped": reading_page.TILE_WORDS["skipped"],
    "tile-drift-check": Message("again {value}", limit=16, note="The first bore read again, and its value."),
    "count-read": reading_page.COUNT_READ,
    "count-waiting": Message("{read}, {count} waiting", note="How many bores are read, and how many of them wait."),
    "verdict-waits": Message("Verdict waiting"),
    "verdict-reason": Message("Waiting to send: {what}. The verdict follows when this tablet is connected."),
    "read-on": reading_page.READ,
    "wait": Message("Wait for the connection"),
    "step-reason": Message("The next step follows with the verdict."),
    # The page without a connection.
    "sent-in-order": Message("Waiting to send: {what}. This tablet sends it in order when it is connected."),
}
"""By the id that a script names."""

SAMPLES: Mapping[str, int] = {"zero": 0, "one": 1, "two": 2, "few": 3, "many": 11, "other": 100}
"""A whole number of each plural category, in every language that has it."""


def bundle() -> dict[str, str | dict[str, str]]:
    """The texts in the current language by id; by plural category where a count chooses the form."""
    return {name: _forms(message) if message.many else pattern(message) for name, message in WORDS.items()}


def _forms(message: Message) -> dict[str, str]:
    forms = {category: pattern(message, count) for category, count in SAMPLES.items()}
    return {category: form for category, form in forms.items() if category == "other" or form != forms["other"]}
