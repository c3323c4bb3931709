"""The fixed words of the reading page: tiles, strip, keypad, cards and what their buttons are called.

What changes with the engine's state (advice, verdicts, bank balance) has modules of its own.
"""

from collections.abc import Mapping

from app.shop.procedure.codes import SetAside, SkipReason
from app.shop.procedure.parts import Metal
from app.wording.message import Message
from app.wording.reasons import TABLES

TILE, TITLE, REASON, BUTTON = 16, 60, 110, 40
"""Characters that there is room for: below a reading, in a card's title and text, on a button."""

# Tiles

TILE_WORDS: Mapping[str, Message] = {
    "to-read": Message("to read", limit=TILE),
    "next": Message("read now", limit=TILE),
    "closing": Message("drift check", limit=TILE, note="the bore that ends the round"),
    "read": Message("read", limit=TILE, context="a bore that has a reading"),
    "skipped": Message("skipped", limit=TILE),
    "stands": Message("unchanged", limit=TILE, note="a bore on which the last adjustment does not act"),
    "held": Message("waiting", limit=TILE, note="on the tablet, to be sent"),
    "refused": Message("not saved", limit=TILE),
}
"""Below the figure of a bore, by its state; a bore that was judged has its verdict there."""

WAS = Message("was {value}", limit=TILE, note="a reading from before an adjustment")
TILE_NAME = Message("Bore {bore}", note="read aloud, followed by its value and its word")
TILE_SAVED = Message("saved", context="a reading")
TWO_VALUES = Message("{older} or {newer}", note="two readings of one bore")

REAR_HALF = Message("Rear", note="the rear half of a long row of bores")

# The strip of figures

ROUND = Message("Round {round}")
COUNT_READ = Message("{read} of {total} read")
COMPLETE = Message("complete, {read} of {total}")
LEVER = Message("lever on", note="followed by the feeler that holds the central lever")
MEAN = Message("average", note="of all bores")
TOLERANCE = Message("tolerance")
METAL: Mapping[Metal, Message] = {"coolant": Message("coolant"), "head": Message("cylinder head")}

# Verdict

TWO_TO_SETTLE = Message("Bore {bore} has two values", limit=TITLE)
SETTLE_FIRST = Message("Choose the value that counts. Then the verdict is shown.", limit=REASON)
NO_ROUND = Message("No round to show", limit=TITLE)
NO_ROUND_REASON = Message(
    "An adjustment came after the last round. The handover sheet shows every round.", limit=REASON
)
TOO_FEW = Message("Round {round}: too few readings yet", limit=TITLE)
NONE_YET = Message("Round {round}: no readings yet", limit=TITLE)
VERDICT_FOLLOWS = Message("The verdict is shown as soon as bores are read.", limit=REASON)

# Cards

READ = Message("Read bore {bore}", limit=TITLE)
READ_AGAIN = Message("Read bore {bore} again", limit=TITLE)
FIRST = Message("Do this first", limit=TITLE)
ENTER_SPEED = Message("Enter the idle speed", limit=TITLE)
SPEED_REASON = Message(
    "Idle speed shows the air of all bores together, and so what an adjustment changed.", limit=REASON
)
ENTER_OPENING_SPEED = Message("Read the engine speed", limit=TITLE)
BORE_IN_ROUND = Message("Bore {bore} in this round", limit=TITLE)
REPLACES = Message("The new value replaces the old one, which stays visible, crossed out.", limit=REASON)
ADDS = Message("The new value is added. The bore uses the average.", limit=REASON)
ENTERED_BY = Message("{by}, {time}", note="initials and hour")
WHICH_COUNTS = Message("Which value of bore {bore} counts?", limit=TITLE)
TWO_SAVED = Message("Two tablets saved a value: {older} and {newer}. Choose one, or use the average.", limit=REASON)
VALUE_AT = Message("{value} at {time}")
WHY_SKIPPED = Message("Why is bore {bore} skipped?", limit=TITLE)

# Buttons

RUNS_ROUGH = Message("Even, and it still runs rough", limit=BUTTON)
FIND_CAUSE = Message("Find the cause", limit=BUTTON)
ONE_MORE = Message("Read one more round", limit=BUTTON)
SIGN_OFF = Message("Sign off", limit=BUTTON)
SHOW_MISSING = Message("Show what is missing", limit=BUTTON)
CONTINUE = Message("Continue with {phase}", limit=BUTTON)
DONE_AS_SHOWN = Message("Done as shown", limit=BUTTON)
DONE_DIFFERENTLY = Message("Done differently", limit=BUTTON)
OPEN_SHEET = Message("Open handover sheet", limit=BUTTON)
OPEN_CHECKLIST = Message("Open checklist", limit=BUTTON)
OPEN_START_LIST = Message("Open the start list", limit=BUTTON)
READ_GAUGES = Message("Read the gauges", limit=BUTTON)
SHOW_TRUTH = Message("Show the true state", limit=BUTTON, note="of a training engine")
BACK_TO_RECHECK = Message("Back to the heat-soaked recheck", limit=BUTTON)
BACK_TO_ROUND = Message("Back to the round", limit=BUTTON)
BACK_TO_BORES = Message("Back to the bores", limit=BUTTON)
USE_VALUE = Message("Use {value}", limit=BUTTON)
USE_MEAN = Message("Use the average", limit=BUTTON)
START_ROUND = Message("Start the round", limit=BUTTON)
START_FROM_OPEN = Message("Start, approach from open", limit=BUTTON)
RECORD = Message("Record it", limit=BUTTON)
RECORD_JOINTS = Message("Record joints checked", limit=BUTTON)
READ_FIRST = Message("Read {opening} first", limit=BUTTON)
READ_OPENING_AGAIN = Message("Read {opening} again", limit=BUTTON)
CORRECT_VALUE = Message("Correct a mistyped value", limit=BUTTON)
READ_ALSO = Message("Read it again", limit=BUTTON)
ENTER_SPEED_HERE = Message("Enter the idle speed", limit=BUTTON)
OPENING_SPEED_HERE = Message("Enter the engine speed", limit=BUTTON)
WITHOUT_SPEED = Message("Read the bores without it", limit=BUTTON)

# Keypad

BORE = Message("Bore {bore}")
BORE_AGAIN = Message("Bore {bore} again")
BORE_ALSO = Message("Bore {bore}, extra reading")
BORE_CORRECTED = Message("Bore {bore} corrected")
IDLE_SPEED = Message("Idle speed")
ENGINE_SPEED = Message("Engine speed")
ENGINE_SPEED_AT = Message("Lever on the {feeler} feeler, round {round}")
THEN_ROUND = Message("The round continues after it")
LAST_SPEED = Message("Last: {speed}. The round continues after it")
NOTHING_TO_READ_YET = Message("Nothing to read yet")
NOTHING_TO_READ = Message("Nothing to read")
ROUND_COMPLETE = Message("Round {round} complete")
TAP_A_BORE = Message("Tap a bore to read it again")
SIGNED_OFF = Message("Signed off")
ENDS_ROUND = Message("Ends the round")
OR_READ_ON = Message("Only if you read on first")
EXTRA_READING = Message("Extra reading. The round continues after it")
THEN_FIRST = Message("Then {first} again")
THEN_SOME = Message("Then {bores} and {first} again")
THEN_MORE = Message("Then {bores}, ... and {first} again", note="more bores than are named")

SKIP_REASONS: Mapping[SkipReason, Message] = {
    SkipReason.OUT_OF_REACH: Message("Cannot be reached", limit=BUTTON),
    SkipReason.NOT_SAFE: Message("Not safe to reach", limit=BUTTON),
    SkipReason.LATER: Message("Read later", limit=BUTTON),
    SkipReason.PLATE_OUT_OF_ORDER: Message("Plate is out of order", limit=BUTTON),
}
SET_ASIDE: Mapping[SetAside, Message] = {
    SetAside.OTHER_VALUE_COUNTS: Message("Set aside: another value of this bore counts"),
}
TABLES.update({SkipReason: SKIP_REASONS, SetAside: SET_ASIDE})  # type: ignore[dict-item]
