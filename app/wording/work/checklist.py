"""The words of what the checklists of the phases ask for."""

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


ITEMS: Mapping[str, ItemWords] = {
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
    "wide-open": ItemWords(
        ByBanks(
            Message("All plates fully open at full pedal"),
            Message("All plates fully open at full pedal, both banks together"),
        ),
        Message("plates open fully"),
    ),
    "closed-contact": ItemWords(Message("Every plate closes fully on its own"), Message("plates close fully")),
    "throttle-power-off": ItemWords(
        Message("Ignition off and throttle motors disconnected"), Message("throttle power off")
    ),
    "maker-instructions": ItemWords(
        Message("Manufacturer's instructions for these throttles at hand"), Message("instructions at hand")
    ),
    "plates-follow": ItemWords(
        Message("Hands clear, ignition on: every plate follows the pedal and returns"), Message("plates follow pedal")
    ),
    "throttle-adapted": ItemWords(
        Message("Manufacturer's throttle adaptation (relearn) done, or none prescribed"),
        Message("throttle adapted"),
    ),
    "air-path-clear": ItemWords(
        Message("Cooling fan, shrouds and fins in place and clear"), Message("cooling air clear")
    ),
    "base-blade": ItemWords(
        ByBanks(Message("Base feeler under the stop screw"), Message("Base feeler under each stop screw")),
        Message("base feeler"),
    ),
    "preset-turns": ItemWords(
        ByBanks(
            Message("Stop screw turns in from the base feeler"),
            Message("Stop screw turns in from the base feeler, same on both banks"),
        ),
        Message("turns in"),
    ),
    "bypass-turns": ItemWords(
        Message("Bypass screw turns out from the seat, same at every bore"), Message("bypass turns out")
    ),
    "shaft-plates": ItemWords(Message("Plates on one shaft close together, none rubs"), Message("shared shafts close")),
    "stop-spring": ItemWords(
        ByBanks(
            Message("Its spring holds the stop screw where it was set"),
            Message("Springs hold every stop screw where it was set"),
        ),
        Message("springs hold"),
    ),
    "coupler-slack": ItemWords(Message("No lost motion in any coupler"), Message("no lost motion")),
    "cold-and-off": ItemWords(
        Message("Engine cold, ignition disconnected, no motor moves a plate"), Message("cold, off")
    ),
    "hand-gauged": ItemWords(Message("Hand gauged: repeats within 0.0002\u00a0in (0.005\u00a0mm)"), Message("gauged")),
    "couplers-new": ItemWords(Message("Couplers assembled new, never set"), Message("couplers never set")),
    "cold-setting-declined": ItemWords(Message("Plates not set cold on one feeler"), Message("not set cold")),
    "sensor-closed": ItemWords(Message("TPS voltage at rest"), Message("TPS at rest")),
    "sensor-open": ItemWords(Message("TPS voltage, wide open"), Message("TPS, wide open")),
    "kill-switch": ItemWords(Message("Kill switch within reach and tested"), Message("kill switch tested")),
    "exhaust-drawn": ItemWords(Message("Exhaust extraction on, or engine outdoors"), Message("exhaust extracted")),
    "fuel-dry": ItemWords(Message("Fuel system at pressure, no leaks"), Message("no fuel leaks")),
    "throttle-returns": ItemWords(Message("Throttle closes on its own from wide open"), Message("throttle closes")),
    "bores-clear": ItemWords(Message("Nothing loose at the bores, face, hands clear"), Message("bores clear")),
    "coolant-full": ItemWords(Message("Coolant topped up and bled"), Message("coolant full")),
    "wheels-chocked": ItemWords(Message("Wheels chocked, in neutral, no people in front"), Message("wheels chocked")),
    "fan-clear": ItemWords(Message("Leads, sleeves and hands clear of fan and belts"), Message("fan and belts clear")),
    "oil-pressure": ItemWords(Message("Oil pressure within seconds of the start"), Message("oil pressure")),
    "oil-lamp": ItemWords(
        Message("Oil lamp out, or oil pressure up, within seconds of the start"), Message("oil lamp out")
    ),
    "coolant": ItemWords(Message("Coolant temperature"), Message("coolant")),
    "oil": ItemWords(Message("Oil temperature"), Message("oil")),
    "head": ItemWords(Message("Cylinder head temperature, hottest head"), Message("cylinder head")),
    "pulls": ItemWords(Message("Short pulls made, up and back"), Message("pulls")),
    "oil-pressure-hot": ItemWords(Message("Oil pressure, hot at idle"), Message("oil pressure hot")),
    "idle-speed": ItemWords(Message("Idle speed now"), Message("idle speed")),
    "air-pressure": ItemWords(Message("Air pressure today (absolute)"), Message("air pressure")),
    "air-temperature": ItemWords(Message("Air temperature at the intake"), Message("air temperature")),
    "leak-checked": ItemWords(
        Message("Air leaks checked: intake joints, ports, brake booster, crankcase hose"), Message("leak check")
    ),
    "idle-control": ItemWords(Message("Idle-speed and idle spark control locked out"), Message("idle control locked")),
    "loads-steady": ItemWords(
        Message("Air conditioning and other loads in one state, cooling left on"), Message("loads steady")
    ),
    "fans": ItemWords(Message("Cooling fan at hot idle"), Message("cooling fan")),
    "free-play": ItemWords(Message("Free play in both link rods at rest, engine off"), Message("free play")),
    "joints-tight": ItemWords(Message("No lost motion in the link rod joints, engine off"), Message("joints tight")),
    "full-open": ItemWords(Message("Both banks reach full open together, engine off"), Message("banks open fully")),
    "both-hands": ItemWords(
        Message("Link rods are turnbuckles: one left-hand and one right-hand thread"),
        Message("turnbuckle rods"),
    ),
    "gauged-first": ItemWords(
        Message("Angle gauge on the first bank's shaft, rest to full open, engine off"),
        Message("shaft angle, first bank"),
    ),
    "gauged-second": ItemWords(
        Message("Angle gauge on the second bank's shaft, rest to full open, engine off"),
        Message("shaft angle, second bank"),
    ),
    "first-opening-speed": ItemWords(Message("Engine speed at the first opening"), Message("speed, first opening")),
    "next-opening-speed": ItemWords(Message("Engine speed at the next opening"), Message("speed, next opening")),
    "rev-limit": ItemWords(Message("Low rev limit set, or own limiter proven"), Message("rev limit")),
    "lever-held": ItemWords(Message("Central lever held by a second person or a positive hold"), Message("lever held")),
    "couplers-tight": ItemWords(Message("Every coupler tight"), Message("couplers tight")),
    "bypass-held": ItemWords(
        Message("Every bypass screw held in place by spring, nut or cap"), Message("bypass screws held")
    ),
    "links-tight": ItemWords(Message("Link rod nuts tight, free play still present"), Message("link rod nuts tight")),
    "stops-marked": ItemWords(
        ByBanks(Message("Stop screw bonded or witness-marked"), Message("Every stop screw bonded or witness-marked")),
        Message("stop screws marked"),
    ),
    "tools-counted": ItemWords(Message("Tools, feelers and rags all accounted for"), Message("tools counted")),
    "odometer": ItemWords(Message("Odometer, where the vehicle has one"), Message("odometer")),
    "hours": ItemWords(Message("Running hours, where they are counted"), Message("running hours")),
    "idle": ItemWords(Message("Idle speed as left"), Message("idle speed as left")),
}
