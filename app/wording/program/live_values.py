"""Live values: what the reading page says beside a value that an instrument sends."""

from app.sync.signals.settling import Unsettled
from app.wording.message import Message
from app.wording.reasons import TABLES

STATES = {
    "live": Message("live", limit=16, note="State of an instrument's channel."),
    "stale": Message("stale", limit=16, note="State of an instrument's channel: nothing comes."),
    "frozen": Message("frozen", limit=16, note="State of an instrument's channel: the same number for long."),
    "refused": Message("refused", limit=16, note="State of an instrument's channel: what comes is out of range."),
}

TAKE = Message("Take {value}", limit=24, note="A button that keeps the live value.")
TAKE_ANYWAY = Message("Take {value} anyway", limit=32, note="A button: the live value has not settled.")
STALE = Message("Nothing comes from the instrument. Type the value.")
FROZEN = Message("The instrument shows the same number for too long. Check it, or type the value.")
REFUSED = Message("The instrument shows what cannot be. Check it, or type the value.")
MOVING = Message("Still moving. Wait.")
SCATTERS = Message("It scatters by {sd} %. Wait.")
TOO_SOON = Message("Settling. Wait.")
BLOCKED = Message("No pulses come through. Check the hose.")
SETTLED = Message("Settled, within {sd} %.")
TABLES[Unsettled] = {
    Unsettled.NO_VALUE: STALE,
    Unsettled.TOO_SOON: TOO_SOON,
    Unsettled.MOVING: MOVING,
    Unsettled.SCATTERS: SCATTERS,
    Unsettled.BLOCKED: BLOCKED,
}
