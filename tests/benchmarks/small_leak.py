"""Engines with a leak of 2 mm2 behind one plate, which the meter at the intake shows as a little less air."""

from app.sync.diagnosis.measurements import FindingKind
from tests.benchmarks.fault_engine import FaultEngine

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


def untouched(engine: FaultEngine) -> bool:
    """Whether the plate before the leak was left alone."""
    return isinstance(engine, Watched) and ("reset", engine.bore) not in engine.made
