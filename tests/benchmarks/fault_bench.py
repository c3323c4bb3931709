"""A bench that tests are made at: what each takes, what was read already, and whether the engine runs."""

from tests.benchmarks.fault_engine import FaultEngine

MINUTES = {
    "air": (0.5, 0.3), "vacuum": (1, 0.4), "heat": (1, 0.3), "drop": (1, 0.7), "mixture": (3, 1.5), "snap": (1, 1.2),
    "timing": (3, 0.7), "squeeze": (2, 0), "back_pressure": (8, 0), "record": (0, 0), "spray": (0, 1.5),
    "adapter": (0, 1.5), "smoke": (8, 0.5), "plug": (0, 3), "swap": (0, 6), "feel": (1, 0.35), "reset": (0, 3),
    "resistance": (0, 2), "flow": (18, 0), "compression": (10, 2), "leak_down": (0, 9), "lash": (0, 14),
}  # fmt: skip
"""Once and a bore [min], our judgement."""
OFF = {"smoke", "plug", "swap", "feel", "reset", "resistance", "flow", "compression", "leak_down", "lash"}
CHANGE = 1.5


class Bench:
    """Makes tests at an engine and keeps the minutes."""

    def __init__(self, engine: FaultEngine) -> None:
        self.engine, self.has = engine, engine.has
        self.minutes, self.running, self.made = 0.0, True, 0
        self._known: dict[tuple[str, int | None], float | str] = {}
        self._begun: set[str] = set()

    def turn(self, test: str) -> None:
        """Bring the engine to the state that a test wants."""
        if (test not in OFF) is not self.running:
            self.running = not self.running
            self.minutes += CHANGE
        self.made += 1

    def reading(self, test: str, place: int | None) -> float | str:
        """One reading, with its minutes."""
        once, each = MINUTES[test]
        if test not in self._begun:
            self._begun.add(test)
            self.minutes += once
        self.minutes += each
        return self.engine.read(test, place)

    def round(self, test: str) -> list[float]:
        """Every bore in turn; made once."""
        known = [(test, bore) for bore in range(len(self.engine.bores))]
        if known[0] not in self._known:
            self.turn(test)
            for key in known:
                self._known[key] = self.reading(*key)
        return [float(self._known[key]) for key in known]

    def once(self, test: str, place: int | None) -> float:
        """One figure at one place; made once."""
        if (test, place) not in self._known:
            self.turn(test)
            self._known[test, place] = self.reading(test, place)
        return float(self._known[test, place])

    def word(self, test: str, place: int) -> str:
        """One word at one bore; made anew every time."""
        self.turn(test)
        return str(self.reading(test, place))
