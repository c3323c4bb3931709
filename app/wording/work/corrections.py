"""What was recorded in a visit that is open, and how it is corrected: the strip after a save, and the list."""

from app.wording.message import Message

BUTTON = 40
"""Characters that there is room for on a button."""

SAVED = Message("Saved: {what}", note="an adjustment as a sentence, such as: Stop screw A turned in 1/8 turn.")
SAVED_READING = Message("Saved: bore {bore}, {value}.")
SAVED_SKIP = Message("Saved: bore {bore} skipped.")
UNDO = Message("Undo", limit=BUTTON)
CORRECT = Message("Correct", limit=BUTTON)

TITLE = Message("Recorded in {phase}")
ROUND = Message("Round {round}")
ROUND_AT = Message("Round {round}, lever on {feeler}")
VALUE = Message("Correct bore {bore}, {value}", note="a reading in the list, read aloud")
DRIFT_CHECK = Message("Correct the drift check of bore {bore}, {value}", note="a reading in the list, read aloud")
SPEED = Message("Correct the engine speed, {speed}\u00a0rpm", note="an engine speed in the list, read aloud")
CORRECTS_SPEED = Message("Engine speed in round {round}: {speed}\u00a0rpm")
ENTERED = Message("{by}, {time}", note="initials and hour")
CHANGED = Message("{by}, {time}. First recorded: {was}", note="an adjustment that was corrected; was is a sentence")
TAKEN_BACK = Message("Not adjusted after all: {by}, {time}")
CORRECTS = Message("Bore {bore} in round {round}: {value}")
POWER_WAS_OFF = Message("{made} Throttle power off.", note="an adjustment as a sentence")
CORRECTED = Message("{made} Corrected.", note="an adjustment as a sentence, which was corrected since")
