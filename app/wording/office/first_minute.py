"""The first page of a shop with no engine: what a visit is, in five lines."""

from collections.abc import Mapping

from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.wording.message import Message

IN_SHORT: Mapping[str, Message] = {
    COLD_PRESET.slug: Message("Engine off. Every plate opened equally."),
    FIRST_FIRE.slug: Message("Oil pressure first, then one quick round."),
    HEAT_SOAKED.slug: Message("Hot: read a round, make one adjustment, read again."),
    BANK_BALANCE.slug: Message("Both banks start to open together."),
    LOCK_DOWN.slug: Message("Tighten, read again, sign the sheet."),
}
"""Each phase in a line, by its slug."""
