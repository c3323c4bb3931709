"""Engines with one thing wrong, to try a diagnosis on: gas, fuel and burning from first equations.

Nothing here is shared with `app.sync.diagnosis`, neither code nor curve: tests are named by codes only. A plate is
an orifice, a bore a pump with residual gas. Sizes, scatter and
false readings are our judgement.
"""

import math
from dataclasses import dataclass, field
from random import Random

AIR_PRESSURE = 101.3
STOICHIOMETRIC = 14.7
GAMMA = 1.4
BORE_FAULTS = (
    *("plate", "coupler", "slack", "sticking", "leak", "lean", "rich", "no_fuel", "spark"),
    *("rings", "valve", "lash", "meter", "timing"),
)
FAULTS = (*BORE_FAULTS, "shared_leak", "exhaust")
LACKING = {
    **{"mixture": 0.65, "smoke": 0.5, "flow": 0.5, "back_pressure": 0.4, "timing": 0.3},
    **{"leak_down": 0.2, "vacuum": 0.2, "record": 0.5},
}
"""How often a shop lacks the instrument, or the engine an earlier visit."""
ALWAYS = (
    *("air", "heat", "drop", "snap", "squeeze", "spray", "adapter", "plug", "swap", "feel", "reset"),
    *("resistance", "compression", "lash"),
)
WRONG = 0.012


def _orifice(pressure: float) -> float:
    """Mass flow through an orifice from outside air, relative to choked flow."""
    ratio = max(pressure / AIR_PRESSURE, (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1)))
    return math.sqrt(max(ratio ** (2 / GAMMA) - ratio ** ((GAMMA + 1) / GAMMA), 0.0)) / 0.2588


@dataclass
class Bore:
    """One bore as it really is: areas in grams a second of choked flow, fractions of a sound bore's otherwise."""

    plate: float = 1.0
    leak: float = 0.0
    pumping: float = 1.0
    injector: float = 1.0
    misses: float = 0.0
    lost: float = 0.0
    scatter: float = 0.0
    early: float = 0.0
    gap: float = 0.0
    adapter: float = 1.0
    pipe: float = 0.0
    fault: str = ""


@dataclass
class FaultEngine:
    """An engine made of a seed: bores, banks, what is wrong, what the shop lacks. ``rough`` scales all spreads.

    ``fault`` None draws one, an empty text is a sound engine, ``gasket`` one that no diagnosis knows.
    """

    seed: int
    fault: str | None = None
    rough: float = 1.0
    by_column: bool = False
    bores: list[Bore] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.random = Random(self.seed)
        pick = self.random
        count = pick.choice((4, 6, 8))
        sides = 1 if count == 4 else pick.choice((1, 2))
        self.banks = tuple(bore * sides // count for bore in range(count))
        self.has = {*ALWAYS, *(name for name, share in LACKING.items() if pick.random() > share)}
        self.closed_loop, self.idle_held = pick.random() < 0.4, pick.random() > 0.15
        self.idle = AIR_PRESSURE * pick.uniform(0.52, 0.68)
        self.lambda_set, self.follows = pick.gauss(0.97, 0.03), pick.random() < 0.35
        self.shared, self.choked, self.whole = 0.0, dict.fromkeys(range(sides), 0.0), ""
        self.bores = [
            Bore(
                pumping=pick.gauss(1, 0.015),
                injector=pick.gauss(1, 0.018),
                lost=max(pick.gauss(0, 0.02), -0.05),
                pipe=pick.gauss(0, 20),
                early=pick.gauss(0, 0.5),
            )
            for _ in range(count)
        ]
        self.fault = pick.choice(FAULTS) if self.fault is None else self.fault
        self.bore = pick.randrange(count)
        self._break(self.fault, self.bores[self.bore])
        self._even()

    @property
    def truth(self) -> set[tuple[str, int | None]]:
        """Every fault that the engine has, with its bore, bank, or None."""
        if not self.fault:
            return set()
        place = {"shared_leak": None, "exhaust": self.banks[self.bore]}.get(self.fault, self.bore)
        return {(self.fault, place)}

    def _break(self, fault: str, bore: Bore) -> None:
        pick = self.random
        one = pick.uniform
        bore.fault = fault
        if fault in ("plate", "coupler"):
            bore.gap = one(0.1, 0.36) * pick.choice((-1, 1))
        elif fault in ("slack", "sticking"):
            bore.scatter = one(0.7, 2.0)
            bore.gap = one(0.0, 0.1) if fault == "sticking" else 0.0
        elif fault == "leak":
            bore.leak = one(0.12, 0.6)
        elif fault in ("lean", "rich", "no_fuel"):
            low, high = {"lean": (0.55, 0.83), "rich": (1.2, 1.6), "no_fuel": (0.0, 0.03)}[fault]
            bore.injector = one(low, high)
        elif fault == "spark":
            bore.misses = one(0.3, 1.0)
        elif fault in ("rings", "valve"):
            bore.lost = one(0.18, 0.54)
            bore.pumping *= 1 - (0.3 * bore.lost if fault == "valve" else 0.05 * bore.lost)
        elif fault == "lash":
            bore.pumping *= 1 - one(0.04, 0.14)
        elif fault == "meter":
            bore.adapter = 1 + one(0.09, 0.25) * pick.choice((-1, 1))
        elif fault == "timing":
            bore.early += one(6, 14) * pick.choice((-1, 1))
        elif fault == "shared_leak":
            self.shared, self.whole = one(0.1, 0.5), fault
        elif fault == "exhaust":
            self.choked[self.banks[self.bore]], self.whole = one(6, 28), fault
        elif fault == "gasket":
            neighbor = self.bores[self.bore - 1 if self.bore else 1]
            bore.lost = neighbor.lost = one(0.25, 0.5)

    def _even(self) -> None:
        """The plates as a technician left them: even by meter or column, but for what no plate puts right."""
        for bore in self.bores:
            hand = 1 + self.random.gauss(0, 0.015)
            if self.by_column:
                wanted = max(hand * bore.pumping - bore.leak + (bore.adapter - 1), 0.05)
            else:
                wanted = hand * bore.adapter
            for _ in range(12):
                pressure = self.pressure(bore, 0)
                bore.plate = wanted / self.through(pressure)
            bore.plate *= 1 + bore.gap

    def pressure(self, bore: Bore, bank: int) -> float:
        """Absolute pressure of a bore's runner [kPa] at which what comes in is what it pumps."""
        low, high = 15.0, 100.5
        left = 0.13 * AIR_PRESSURE
        back = left + 0.13 * 0.25 * self.choked[bank]
        for _ in range(24):
            middle = (low + high) / 2
            if self.air(bore, middle) > bore.pumping * (middle - back) / (self.idle - left):
                low = middle
            else:
                high = middle
        return (low + high) / 2

    def through(self, pressure: float) -> float:
        """Flow through an orifice, 1 at the idle of a sound bore."""
        return _orifice(pressure) / _orifice(self.idle)

    def air(self, bore: Bore, pressure: float) -> float:
        """Air through plate and leaks, 1 for a sound bore."""
        return (bore.plate + bore.leak + 0.35 * self.shared) * self.through(pressure)

    def burning(self) -> list[tuple[float, float, float]]:
        """Of each bore: lambda, share of cycles missed, and work of a cycle (1 for a sound one)."""
        airs = [self.air(bore, self.pressure(bore, bank)) for bore, bank in zip(self.bores, self.banks, strict=True)]
        wanted = [bore.plate if self.follows else 1.0 for bore in self.bores]
        fuels = [
            want * bore.injector / STOICHIOMETRIC / self.lambda_set
            for want, bore in zip(wanted, self.bores, strict=True)
        ]
        if self.closed_loop:
            for bank in set(self.banks):
                mine = [number for number, its in enumerate(self.banks) if its == bank]
                trim = sum(airs[n] for n in mine) / STOICHIOMETRIC / max(sum(fuels[n] for n in mine), 1e-6)
                for number in mine:
                    fuels[number] *= min(max(trim, 0.8), 1.25)
        told = []
        for bore, air, fuel in zip(self.bores, airs, fuels, strict=True):
            mixture = air / max(fuel * STOICHIOMETRIC, 0.02)
            lean = 1 / (1 + math.exp(-(mixture - 1.31) / 0.035))
            weak = 1 / (1 + math.exp(-(bore.lost - 0.48) / 0.03))
            miss = 1 - (1 - lean) * (1 - weak) * (1 - bore.misses)
            burnt = min(air, fuel * STOICHIOMETRIC * 1.08)
            told.append((mixture, miss, (1 - miss) * burnt * (1 - 0.55 * bore.lost) * (1 - 0.0011 * bore.early**2)))
        return told

    def read(self, test: str, place: int | None) -> float | str:
        """What one test shows once, in the unit of its code: a figure, or a word."""
        value = getattr(self, f"_{test}")(place)
        if self.random.random() < WRONG and not isinstance(value, str):
            return float(value) * self.random.uniform(0.4, 1.8)
        return value  # type: ignore[no-any-return]

    def _rough(self, spread: float) -> float:
        return self.random.gauss(0, spread * self.rough)

    def _air(self, place: int) -> float:
        bore = self.bores[place]
        flow = bore.plate * self.through(self.pressure(bore, self.banks[place]))
        return 12 * flow / (1 if self.by_column else bore.adapter) * (1 + self._rough(0.033))

    def _true_vacuum(self, place: int) -> float:
        bore = self.bores[place]
        return AIR_PRESSURE - self.pressure(bore, self.banks[place])

    def _vacuum(self, place: int) -> float:
        wrong = self.bores[place].adapter if self.by_column else 1.0
        return self._true_vacuum(place) * wrong * (1 + self._rough(0.05))

    def _record(self, place: int) -> float:
        return self._true_vacuum(place) / (AIR_PRESSURE - self.idle) * (1 + self._rough(0.06))

    def _heat(self, place: int) -> float:
        mixture, miss, _ = self.burning()[place]
        bore = self.bores[place]
        hot = 95 + 390 * math.exp(-(((mixture - 0.99) / 0.55) ** 2)) * (1 - miss) ** 0.9
        return hot + bore.pipe - 3.2 * bore.early + self._rough(10)

    def _drop(self, place: int) -> float:
        work = self.burning()[place][2]
        base = 90 * (1.0 if self.idle_held else 0.5) * 4 / len(self.bores) + 20
        return max(float(base * work * (1 + self._rough(0.17)) + self._rough(4)), 0.0)

    def _mixture(self, place: int) -> float:
        mixture, miss, _ = self.burning()[place]
        air = mixture + (0.7 * miss if self.bores[place].injector > 0.1 else 0)
        return min(max(air + self._rough(0.06), 0.6), 2.0)

    def _snap(self, place: int) -> float:
        return 0.6 * math.exp(self.bores[place].scatter + self._rough(0.38))

    def _timing(self, place: int) -> float:
        return 10 + self.bores[place].early + self._rough(1.1)

    def _squeeze(self, _place: int | None) -> float:
        return min(max((0.5 + 1.0 * self.shared if self.shared else 0.0) + self._rough(0.12), 0.0), 1.2)

    def _back_pressure(self, bank: int) -> float:
        return 4 + self.choked[bank] + self._rough(1.7)

    def _word(self, seen: float, word: str, other: str, false: float) -> str:
        return word if self.random.random() < max(seen, false * self.rough) else other

    def _spray(self, place: int) -> str:
        leak = self.bores[place].leak
        return self._word(0.45 + 0.85 * leak if leak else 0.0, "moved", "still", 0.06)

    def _smoke(self, place: int) -> str:
        leak = self.bores[place].leak
        return self._word(min(0.64 + 0.4 * leak, 0.9) if leak else 0.0, "seen", "none", 0.03)

    def _swap(self, place: int) -> str:
        return self._word(0.87 if self.bores[place].fault == "spark" else 0.0, "moved", "stayed", 0.05)

    def _feel(self, place: int) -> str:
        fault = {"slack": "slack", "sticking": "hangs"}.get(self.bores[place].fault, "")
        if fault and self.random.random() < 0.82:
            return fault
        return self.random.choice(("slack", "hangs")) if self.random.random() < 0.06 * self.rough else "free"

    def _resistance(self, place: int) -> str:
        return self._word(0.57 if self.bores[place].fault == "no_fuel" else 0.0, "wrong", "right", 0.03)

    def _leak_down(self, place: int) -> str:
        fault = {"rings": "crankcase", "valve": "valve", "gasket": "neighbor"}.get(self.bores[place].fault, "")
        if fault and self.random.random() < 0.92:
            return fault
        return self.random.choice(("crankcase", "valve")) if self.random.random() < 0.04 * self.rough else "tight"

    def _plug(self, place: int) -> str:
        looks = {"lean": ("white", 0.4), "rich": ("sooty", 0.6), "spark": ("wet", 0.6), "rings": ("oily", 0.5)}
        word, chance = looks.get(self.bores[place].fault, ("", 0.0))
        if word and self.random.random() < chance:
            return word
        return "normal" if self.random.random() < 0.76 else self.random.choice(("sooty", "wet", "white", "oily"))

    def _adapter(self, place: int) -> float:
        return self.bores[place].adapter * math.exp(self._rough(0.032))

    def _reset(self, place: int) -> float:
        answered = {"coupler": 0.0, "slack": 0.55}.get(self.bores[place].fault, 1.0)
        return answered + self._rough(0.22)

    def _flow(self, place: int) -> float:
        return 180 * self.bores[place].injector * (1 + self._rough(0.035))

    def _compression(self, place: int) -> float:
        return 1150 * (1 - self.bores[place].lost) * (1 + self._rough(0.035))

    def _lash(self, place: int) -> float:
        worn = 1 - self.bores[place].pumping
        return (0.05 + max(worn - 0.04, 0) * 2 if self.bores[place].fault == "lash" else 0.0) + self._rough(0.025)
