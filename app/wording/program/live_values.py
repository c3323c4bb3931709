"""Live values: what the reading page says beside a value that an instrument sends."""

from app.sync.signals.comparison import Incomparable
from app.sync.signals.settling import Unsettled
from app.wording.message import Message
from app.wording.reasons import TABLES

STATES = {
    "live": Message("live", limit=16, note="State of an instrument's channel."),
    "stale": Message("stale", limit=16, note="State of an instrument's channel: nothing comes."),
    "frozen": Message("frozen", limit=16, note="State of an instrument's channel: the same number for long."),
    "refused": Message("refused", limit=16, note="State of an instrument's channel: what comes is out of range."),
}

SOURCE_LOOSE = Message("A line that lost a digit may fit its pattern. Use fixed digits or a check sum.")
SOURCE_CROWDED = Message(
    "Its lines need at least {needs} baud at the rate of their channels, and its port has {baud}. Raise baud in the "
    "instrument and in the channel file, or correct rate."
)
SOURCE_PROBLEM = Message("It last ended with: {problem}")
SPEEDS_DIFFER = Message(
    "The channel tells {told} rpm, the pulses at the bores {pulses} rpm. The speed is not saved. Check its channel."
)
OFF_AIR = Message(
    "{channels}: more than {most}\u00a0kPa off the air pressure with the engine stopped. Check the sensor, its unit in "
    "the channel file and its hose before the first reading."
)
ODD_FLOW = Message(
    "All bores together show {total}\u00a0kg/h. An engine of this size idles on {least} to {most}\u00a0kg/h. Check "
    "unit and root in the channel file."
)
MISSED_AT = Message(
    "{channel}: an intake stroke did not draw in the last two seconds. Find out why before you adjust.",
    many="{channel}: {count} intake strokes did not draw in the last two seconds. Find out why before you adjust.",
)
OUT_OF_TURN = Message(
    "{channels}: the pulses come in the turn of another bore. Their hoses or channels may be swapped."
)

HELD = {
    "ambient": Message("open to the air"),
    "tee": Message("on one tee"),
    "wiggle": Message("hose of bore {bore} off"),
}
COMPARED = Message("Compared {when}: they differ by {spread}\u00a0kPa, {part} of the vacuum of an idling bore.")
PROVES = Message("They may prove a round for a day. The tolerance is narrower by what they differ.")
GUIDES = Message("That is too much to prove a round. They guide adjustments; read the last round with one probe.")
NEVER_COMPARED = Message(
    "They were not compared on a tee within a day. They guide adjustments; read the last round with one probe."
)
BORES_KNOWN = Message(
    "The channel of bore {bores} was seen to be its own.",
    many="The channels of bores {bores} were seen to be their own.",
)
SLOWER = Message(
    "{channel} takes {lag}\u00a0s to show 63\u00a0% of a change; its file says {told}. Correct lag in the channel file."
)

PEDAL_NONE = Message("No other key is chosen on this tablet.")
PEDAL_CHOSEN = Message("On this tablet {key} takes a value too.")
PEDAL_PRESS = Message("Press the pedal now. Esc changes nothing.")
PEDAL_NEEDED = Message("{key} is needed for other things. Press another key.")

TAKE = Message("Take {value}", limit=24, note="A button that keeps the live value.")
TAKE_ANYWAY = Message("Take {value} anyway", limit=32, note="A button: the live value has not settled.")
TAKE_ALL = Message("Take all {count} bores", limit=28, note="A button that saves the live values of all bores at once.")
TAKE_ALL_ANYWAY = Message("Take all {count} bores anyway", limit=34, note="A button: some live value has not settled.")
STALE = Message("Nothing comes from the instrument. Type the value.")
FROZEN = Message("The instrument shows the same number for too long. Check it, or type the value.")
REFUSED = Message("The instrument shows what cannot be. Check it, or type the value.")
MOVING = Message("Still moving. Wait.")
SCATTERS = Message("It scatters by {sd} %. Wait.")
TOO_SOON = Message("Settling. Wait.")
BLOCKED = Message("No pulses come through. Check the hose.")
MISSED = Message("Not every intake stroke draws. Find out why.")
SETTLED = Message("Settled, within {sd} %.")
TABLES[Unsettled] = {
    Unsettled.NO_VALUE: STALE,
    Unsettled.TOO_SOON: TOO_SOON,
    Unsettled.MOVING: MOVING,
    Unsettled.SCATTERS: SCATTERS,
    Unsettled.BLOCKED: BLOCKED,
    Unsettled.MISSED: MISSED,
}
TABLES[Incomparable] = {
    Incomparable.TOO_FEW: Message("No two sensors at bores send a pressure. Only those can be compared."),
    Incomparable.NOT_LIVE: Message("Nothing comes from {channels}. Nothing was saved."),
    Incomparable.UNSTEADY: Message("{channels} still moves. Wait until the pressure is steady, then compare again."),
    Incomparable.ENGINE_RUNS: Message("The engine runs. Stop it before you compare the sensors."),
    Incomparable.NOT_AMBIENT: Message("{channels} does not show the pressure of the open air. Take every hose off."),
    Incomparable.TOO_SHALLOW: Message("Pump the tee down to at least {least}\u00a0kPa of vacuum, then compare again."),
    Incomparable.NONE_MOVED: Message("No channel moved. Take the hose off for three seconds, then press again."),
    Incomparable.SEVERAL_MOVED: Message("{channels} moved together. Begin again, with one hose."),
    Incomparable.OTHER_MOVED: Message(
        "{channel} moved, which the channel file puts at bore {bore}. Correct the file or the hose."
    ),
}
