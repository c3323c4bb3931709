"""The words of checklist items that keep a start safe, hold things and put them back, and hand the linkage over.

The other items, with the phases, are in ``phases``.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from app.wording.message import Message


@dataclass(frozen=True, slots=True)
class ByBanks:
    """A text for engines with one bank, one for two linked banks, and one for electronic throttles where it differs."""

    one: Message
    two: Message
    motors: Message | None = None


Text = Message | ByBanks


@dataclass(frozen=True, slots=True)
class ItemWords:
    """An item's ``label`` on the checklist, and a ``short`` form of it inside a list of what was recorded."""

    label: Text
    short: Message


CHECKLIST: Mapping[str, ItemWords] = {
    "sensor-learned": ItemWords(Message("Engine computer learned the TPS, rest and wide open"), Message("TPS learned")),
    "battery-off": ItemWords(
        Message("Ignition off and disconnected from the battery"), Message("ignition disconnected")
    ),
    "battery-back": ItemWords(Message("Ignition connected to the battery again"), Message("ignition connected")),
    "fire-ready": ItemWords(
        Message("Fire extinguisher at hand, fuel shut-off in reach"), Message("extinguisher at hand")
    ),
    "not-alone": ItemWords(Message("Carbon monoxide alarm on, help within call"), Message("not alone, CO alarm on")),
    "guarded": ItemWords(Message("Engine secured, guards on, ears, eyes covered"), Message("secured and guarded")),
    "protected": ItemWords(Message("Hearing and eye protection on"), Message("ears, eyes protected")),
    "oil-primed": ItemWords(Message("Fresh engine: oil primed until pressure showed"), Message("oil primed")),
    "base-timing": ItemWords(Message("Fresh engine: base ignition timing proven"), Message("base timing set")),
    "run-in": ItemWords(Message("Fresh engine: cam run in, or none needed"), Message("cam run in")),
    "mixture-safe": ItemWords(Message("Fresh engine: mixture under load measured and safe"), Message("mixture safe")),
    "intake-off": ItemWords(Message("Air filter or intake parts removed"), Message("intake parts removed")),
    "intake-back": ItemWords(
        Message("Air filter and intake parts fitted again, nothing rubs"), Message("intake parts fitted")
    ),
    "hoses-off": ItemWords(Message("Ports opened, or hoses unplugged or led away"), Message("hoses led away")),
    "hoses-back": ItemWords(
        Message("Ports capped and hoses connected, no hiss at idle"), Message("hoses connected, no hiss")
    ),
    "idle-control-back": ItemWords(
        Message("Idle-speed and idle spark control connected, seen to work"), Message("idle control works")
    ),
    "loads-back": ItemWords(Message("Fans and air conditioning released, seen to work"), Message("fans seen to work")),
    "linkage-rest": ItemWords(
        Message("Hot, at rest: slack in linkage, springs close every plate"), Message("linkage free at rest")
    ),
    "linkage-full": ItemWords(
        Message("Hot, full pedal: plates open, pedal stop first, no over-center"),
        Message("opens fully, pedal first"),
    ),
}
