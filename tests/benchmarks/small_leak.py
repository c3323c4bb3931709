"""Engines with a leak of 2 mm2 behind one plate, which the meter at the intake shows as a little less air."""

from app.sync.diagnosis.measurements import FindingKind
from tests.benchmarks.fault_engine import AIR_PRESSURE, Bore, FaultEngine

IDLE_FLOW = 6.5
"""Air of a sound bore at idle [kg/h], our judgement."""
LEAK_2_MM2 = 3600 * 2e-6 * 0.65 * 101_300 * 0.0404 / 293.0**0.5 / IDLE_FLOW
"""Choked flow through 2 mm2 at 20 °C with a discharge of 0.65 (handbook value for a sharp edge, from memory), beside
the air of a sound bore; 0.0404 is sqrt(k/R) (2/(k+1))^((k+1)/(2(k-1))) of air."""


class Watched(FaultEngine):
    """An engine with every instrument there that keeps which tests were made."""

    def read(self, test: str, place: int | None) -> float | str:
        """One reading."""
        self.made = [*getattr(self, "made", []), (test, place)]
        return super().read(test, place)


def leaking(seed: int) -> Watched:
    """A sound engine, evened, at which air has since found its way in behind one plate through 2 mm2."""
    engine = Watched(seed, "")
    engine.has = {measure.value for measure in FindingKind}
    engine.fault = "leak"
    engine.bores[engine.bore].leak, engine.bores[engine.bore].fault = LEAK_2_MM2, "leak"
    return engine


class Exact(Watched):
    """Bores alike in all but the leak, instruments without scatter, words that are true."""

    def _rough(self, spread: float) -> float:
        return 0.0 * spread

    def _word(self, seen: float, word: str, other: str, false: float) -> str:
        return word if seen > false else other

    def read(self, test: str, place: int | None) -> float | str:
        """One reading, or the word of a bore without a fault of that kind."""
        self.made = [*getattr(self, "made", []), (test, place)]
        usual = {"feel": "free", "leak_down": "tight", "plug": "normal"}
        shown: float | str = usual.get(test) or getattr(self, f"_{test}")(place)
        return shown


def exactly_leaking(bores: int, evened_before: bool) -> Exact:
    """Such an engine with a leak of 2 mm2 behind the plate of its third bore, idling at 0.64 of the air's pressure; the
    plates were even by the meter before the leak came, or ``evened_before`` is false and they were evened with it."""
    engine = Exact(1, "")
    engine.banks = tuple(bore * 2 // bores for bore in range(bores))
    engine.choked, engine.idle = {0: 0.0, 1: 0.0}, 0.64 * AIR_PRESSURE
    engine.closed_loop, engine.follows, engine.idle_held, engine.lambda_set = False, False, True, 0.97
    engine.has = {measure.value for measure in FindingKind}
    engine.bores = [Bore() for _ in range(bores)]
    engine.bore, engine.fault = 2, "leak"
    leaking_bore = engine.bores[engine.bore]
    leaking_bore.leak, leaking_bore.fault = LEAK_2_MM2, "leak"
    if not evened_before:
        for _ in range(30):
            leaking_bore.plate = 1 / engine.through(engine.pressure(leaking_bore, 0))
    return engine


def untouched(engine: FaultEngine) -> bool:
    """Whether the plate before the leak was left alone."""
    return isinstance(engine, Watched) and ("reset", engine.bore) not in engine.made
