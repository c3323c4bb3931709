"""The five phases: what each asks for, in which order, and what may not be skipped.

What belongs here: the table of phases with the words the technician reads, and nothing that looks at a record. Whether
a phase is done is worked out in ``progress`` from what was recorded; no column says so.

The cautions are the trade's usual ones. They stand beside the maker's instructions, local codes and licensed practice,
and give way to them.
"""

from app.shop.procedure.items import Item, Phase, Place

AT_THE_ENGINE: tuple[Place, ...] = ("test cell", "vehicle")
"""Where a gauge can be laid on a shaft; nobody asks that over the telephone."""

ON_THE_TELEPHONE = (
    "Nobody works alone on a running engine: whoever is on the telephone has a second person there, and puts the "
    "telephone down before a hand goes near it."
)
IN_THE_VEHICLE: tuple[Place, ...] = ("vehicle", "telephone")


COLD_PRESET = Phase(
    slug="cold-preset",
    title="Cold preset",
    aim="Every plate closed alike, every bank open by the same turns.",
    steps=(
        "Pedal down: look into every bore. Let go: every plate closes by itself.",
        "Back each stop screw off, base blade under it, screw down to touch.",
        "Blade out, each screw in by the turns advised, both banks alike.",
    ),
    items=(
        Item("wide-open", "All plates stand upright at full pedal, both banks together", must=True),
        Item("closed-contact", "Every plate closes to contact by itself", must=True),
        Item("base-blade", "Base blade under each stop screw", "number", "thou", 0.5, 40, quantity="blade"),
        Item("preset-turns", "Turns in from the blade, both banks alike", "number", "turns", 0, 6),
        Item(
            "bypass-turns",
            "Bypass screws out from their seat, all alike",
            "number",
            "turns",
            0,
            6,
            when="bypass",
        ),
        Item("shaft-plates", "Plates on one shaft close together; none rubs", when="shafts"),
        Item("stop-spring", "Springs hold every stop screw where it was set"),
        Item("coupler-slack", "No slop to feel in any coupler", when="couplers"),
        Item("sensor-closed", "Throttle sensor with the plates closed", "number", "V", 0, 6, when="sensor"),
    ),
    cautions=(
        "Ignition off and its lead off the battery: nobody can start the engine while hands are at the plates.",
        "A plate that snaps shut takes a fingertip. Hold the lever, not the plate.",
        "Count every blade and screw back: what drops into a bore goes through the engine.",
    ),
    cautions_in={
        "vehicle": ("Cold engine, key out, wheels chocked: nobody sits at the wheel.",),
        "telephone": ("The key stays in the customer's pocket until hands and tools are clear.",),
    },
    steps_with={
        "couplers": ("Rock each plate against its neighbour: slop is put right now.",),
        "shafts": ("Two plates on one shaft: look whether both close. They are set to each other by their maker.",),
        "bypass": ("Seat every bypass screw lightly, then turn all of them out alike, by one turn and a half.",),
        "screws": ("Couplers with a screw: leave it where it stands; look which way it opens what lies beyond.",),
    },
    cautions_with={
        "shafts": (
            "Plate screws are staked: never loosen one to even two plates on a shaft. A lost one goes through the "
            "engine.",
        ),
        "bypass": ("Two fingers seat a bypass screw: forced, it spoils its seat.",),
    },
    rounds="none",
    moves=(),
)

FIRST_FIRE = Phase(
    slug="first-fire",
    title="First fire",
    aim="It runs, safely, and one quick round says whether a bank is far off. The rest waits for heat.",
    steps=(
        "Tick the whole list before anyone turns the key.",
        "Start. Oil pressure within seconds, or stop the engine.",
        "Leave the screws alone while it warms.",
        "On a first visit, one quick round. At most one turn of one bank's stop screw; the rest waits for heat.",
    ),
    items=(
        Item("kill-switch", "Kill switch within reach, and tried", must=True),
        Item("exhaust-drawn", "Exhaust gas is drawn away", must=True),
        Item("fuel-dry", "Fuel line under pressure and dry of leaks", must=True),
        Item("throttle-returns", "Throttle comes back by itself from wide open", must=True),
        Item("bores-clear", "Nothing loose near the bores; face and hands clear", must=True),
        Item("coolant-full", "Coolant topped up and bled"),
        Item("wheels-chocked", "Wheels chocked, out of gear, nobody in front", must=True, where=IN_THE_VEHICLE),
        Item("fan-clear", "Leads, sleeves and hands clear of fan and belts", must=True, where=IN_THE_VEHICLE),
        Item(
            "oil-pressure",
            "Oil pressure within seconds of firing",
            "number",
            "kPa",
            0,
            1500,
            before_running=False,
            stops="oil pressure at the start",
            needed=("test cell",),
            quantity="oil_pressure",
        ),
        Item(
            "oil-lamp",
            "Oil lamp out, or pressure up, within seconds of firing",
            must=True,
            before_running=False,
            where=IN_THE_VEHICLE,
        ),
    ),
    cautions=(
        "A back-fire comes out of the open bores: face, hair and hands stay clear of them.",
        "Belts, fan and exhaust burn and catch. Sleeves tight, nothing hanging.",
        "Exhaust gas kills in a closed room. Draw it away before the start, not after.",
        "No oil pressure within seconds, or any smell of fuel: stop the engine.",
    ),
    cautions_in={
        "test cell": ("Keep out of the plane of flywheel, damper and coupling shaft.",),
        "vehicle": ("An electric fan starts by itself, also with the key off.",),
        "telephone": ("Outdoors, or with the exhaust led outdoors: never in a closed garage.", ON_THE_TELEPHONE),
    },
    rounds="coarse",
    moves=("stop",),
)

HEAT_SOAKED = Phase(
    slug="heat-soaked-recheck",
    title="Heat-soaked recheck",
    aim="The engine is hot right through and every bore breathes the same at idle.",
    steps=(
        "Run it with short pulls; read the gauges every few minutes until they hold still.",
        "Hold idle-speed control, idle spark control, fans and air conditioning steady: they hide what the meter "
        "should see.",
    ),
    items=(
        Item("coolant", "Coolant", "number", "°C", 0, 170, stops="coolant", over_time=True, quantity="temperature"),
        Item(
            "oil",
            "Oil",
            "number",
            "°C",
            0,
            200,
            stops="oil",
            over_time=True,
            needed=("test cell",),
            quantity="temperature",
        ),
        Item("pulls", "Short pulls made, up and back", "number", "pulls", 0, 50),
        Item(
            "oil-pressure-hot",
            "Oil pressure, hot at idle",
            "number",
            "kPa",
            0,
            1500,
            stops="oil pressure when hot",
            needed=("test cell",),
            quantity="oil_pressure",
        ),
        Item("idle-speed", "Idle speed now", "number", "rev/min", 300, 3000),
        Item(
            "air-pressure",
            "Air pressure of the day",
            "number",
            "kPa abs.",
            50,
            115,
            needed=(),
            quantity="air_pressure",
        ),
        Item("air-temperature", "Air at the intake", "number", "°C", -40, 90, needed=(), quantity="temperature"),
        Item("idle-control", "Idle-speed control and idle spark control held steady"),
        Item("loads-steady", "Fans and air conditioning held steady, on or off"),
    ),
    cautions=(
        "All is hot now: gloves, no hand between belt and pulley.",
        "Face and hair clear of the bores while it runs.",
        "Stop if the coolant climbs or the oil pressure falls.",
        "Engine off before a coupler is loosened; no hot cap opened.",
    ),
    cautions_in={
        "vehicle": ("Wheels chocked, out of gear; the fan starts by itself.",),
        "telephone": ("Wheels chocked, out of gear; the fan starts by itself.", ON_THE_TELEPHONE),
    },
    rounds="fine",
    moves=("stop", "blade", "screw", "bypass"),
    steps_with={
        "shafts": ("Two plates on one shaft move as one: only bypass screws set them apart.",),
        "plenum": (
            "A common plenum evens out what a vacuum column shows: go by an air flow meter where there is one.",
        ),
    },
    cautions_with={
        "bypass": (
            "A bypass screw is turned while it runs: a long screwdriver, sleeves tight, face beside the bores and not "
            "over them.",
        ),
    },
)

BANK_BALANCE = Phase(
    slug="part-throttle-bank-balance",
    title="Part-throttle bank balance",
    aim="Both banks start to open together when the pedal leaves its rest.",
    steps=(
        "Engine off: feel for free play in both links. Without it a link holds its bank off the stop.",
        "Lay the opening blade under the central lever and hold it steady; read every bore, then the first one again.",
        "Do the same at the next opening. From above, where the card asks: open well past, come back onto the blade, "
        "never nudge up.",
        "Turn only the link that the card names, lock it, and read the openings again.",
        "Take the blade out and see that idle still stands as it did.",
    ),
    items=(
        Item("free-play", "Both links have free play at the stop, engine off", when="two banks"),
        Item("joints-tight", "No lost motion in the link joints, engine off", when="two banks"),
        Item("full-open", "Both banks reach full open together, engine off", when="two banks"),
        Item(
            "both-hands",
            "The rods are turnbuckles: a left-hand and a right-hand thread",
            needed=(),
            when="two banks",
            where=AT_THE_ENGINE,
        ),
        *(
            Item(
                f"gauged-{which}",
                f"Angle gauge, engine off: {which} bank's shaft, stop to full open",
                "number",
                "degrees",
                40,
                100,
                needed=(),
                when="two banks",
                where=AT_THE_ENGINE,
            )
            for which in ("first", "second")
        ),
        Item("lever-held", "A second person, or a positive hold on the lever", must=True, when="two banks"),
        Item(
            "wheels-chocked",
            "Wheels chocked, out of gear, nobody in front",
            must=True,
            when="two banks",
            where=IN_THE_VEHICLE,
        ),
    ),
    cautions=(
        "Off idle needs a second person or a positive hold on the lever, never a hand reaching past the belts.",
        "A blade that slips out lets the throttle snap: fingers off the linkage.",
        "Face and hands clear of the bores: they can back-fire as the throttle moves.",
        "Stop the engine before a link is turned.",
    ),
    cautions_in={
        "vehicle": ("Wheels chocked, out of gear, nobody in front of it, clear of fan and belts.",),
        "telephone": ("Wheels chocked, out of gear, nobody in front of it, clear of fan and belts.", ON_THE_TELEPHONE),
    },
    rounds="openings",
    moves=("link", "stop"),
)

LOCK_DOWN = Phase(
    slug="lock-down",
    title="Lock-down",
    aim="Everything tight, marked, and read once more: tightening moves things.",
    steps=(
        "Engine off. Tighten every coupler, stop screw and link nut while holding it where it is.",
        "Mark or bond the stop screws.",
        "Start, let it settle, and read one last round. If it moved, go back to the heat-soaked recheck.",
        "A named person signs it off.",
    ),
    items=(
        Item("couplers-tight", "Every coupler tight", must=True, fresh=True, when="couplers"),
        Item(
            "bypass-held",
            "Every bypass screw held where it is by spring, nut or cap",
            must=True,
            fresh=True,
            when="bypass",
        ),
        Item("links-tight", "Link nuts tight, free play still there", must=True, fresh=True, when="two banks"),
        Item("stops-marked", "Adhesive or a witness mark on every stop screw", must=True, fresh=True),
        Item("tools-counted", "Tools, blades and rags counted back", must=True, fresh=True),
        Item("throttle-returns", "Throttle comes back by itself from wide open", must=True, fresh=True),
        Item("idle", "Idle speed as left", "number", "rev/min", 300, 3000, before_running=False),
        Item("sensor-closed", "Throttle sensor, plates closed", "number", "V", 0, 6, when="sensor"),
        Item("sensor-open", "Throttle sensor, wide open", "number", "V", 0, 6, when="sensor"),
    ),
    cautions=(
        "Adhesive: eyes covered and air moving; read its label. Nothing of it into a bore or onto a hot engine.",
        "A plate that does not come back by itself does not leave the shop.",
        "Count the tools back before the last start, then face and hands clear of the bores.",
    ),
    cautions_in={
        "vehicle": ("Wheels chocked, out of gear, clear of fan and belts, for the last round too.",),
        "telephone": (
            "Wheels chocked, out of gear, clear of fan and belts, for the last round too.",
            ON_THE_TELEPHONE,
        ),
    },
    rounds="last",
    moves=(),
)

PHASES: tuple[Phase, ...] = (COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, BANK_BALANCE, LOCK_DOWN)


def phase_named(slug: str) -> Phase:
    """The phase of that name. Raises KeyError when there is none."""
    for one in PHASES:
        if one.slug == slug:
            return one
    raise KeyError(slug)
