"""What ``evenbore live`` says: of its file, its sources, and the program it sends to."""

from collections.abc import Mapping
from enum import StrEnum

from app.live.channels import ChannelFault
from app.wording.message import Message

NO_TOKEN = Message("There is no token. 'evenbore feed NAME' on the shop computer prints one.")
NO_FILE = Message("{file} cannot be read: {problem}")
SENDS = Message("Sending {channels} channels from {sources} sources to {to}. Ctrl-C ends it.")
ENDED = Message("Ended.")

FAULTS: Mapping[StrEnum, Message] = {
    ChannelFault.NOT_TOML: Message("The file is no TOML: {problem}"),
    ChannelFault.NO_CHANNEL: Message("The file names no channel."),
    ChannelFault.NOT_A_TABLE: Message("{where} has to be a table."),
    ChannelFault.UNKNOWN_KEY: Message("{where} is not known here."),
    ChannelFault.MISSING: Message("{where} is missing."),
    ChannelFault.NOT_A_NUMBER: Message("{where} has to be a number."),
    ChannelFault.OUT_OF_RANGE: Message("{where} is out of range."),
    ChannelFault.NOT_ONE_OF: Message("{where} has to be one of {choices}."),
    ChannelFault.NO_SUCH_CHANNEL: Message("{where} has to name groups as channels: {choices}."),
    ChannelFault.BAD_PATTERN: Message("{where} is no pattern: {problem}"),
    ChannelFault.ROOT_TOO_LATE: Message(
        "{where} is damped before its root is taken, so it reads high by as much as its hose pulses. Use it as a probe "
        "that is carried, with no bore."
    ),
    ChannelFault.NOT_DAMPED: Message(
        "{where} is slow and not damped: up to {left} of the pulse would be left. Measure its lag, or sample faster."
    ),
}
AT_LINE = Message("Line {line}: {problem}")

LOOSE = Message("{source}: a line that lost a digit may fit its pattern. Use fixed digits or a check sum.")

CROWDED = Message(
    "{source}: its lines need at least {needs} baud at the rate of their channels, and its port has {baud}. Raise baud "
    "in the instrument and here, or correct rate."
)

SOURCE_ENDED = Message("{source}: {problem}. It is tried again.")
SOURCE_UNUSABLE = Message("{source} cannot be read: {problem} is missing or wrong in the file.")
MISSING_EXTRA = Message("{source} needs a package: pip install 'evenbore[{extra}]'")
NOT_LET_IN = Message(
    "The program does not let this feed in (answer {status}). Ask for a new token with 'evenbore feed'."
)
PROCESS_ENDED = Message("What reads the instruments ended. It is started again.")
NO_ANSWER = Message("The program does not answer. What instruments show is dropped until it does.")
