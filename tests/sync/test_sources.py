"""Constants of the numerical core: each says where it comes from, and what the engine's air is made of stands once."""

import ast
import re
from pathlib import Path

import pytest

import app.sync
from tests.sources import Constant, constants, of_module

ROOT = Path(app.sync.__file__).parent
ONCE = re.compile(
    r"SPEED_POWER|EXPONENT|VACUUM_BY_AIR|DEMAND|DISCHARGE|(?:IDLE|RUNNER)_RATIO|CONTRACTION|SHARING|PER_FLOW|TACHOMETER|LEAK_SD"
)
"""Names of what ``engine_air`` defines, and of what stood beside it under other names."""

ELSEWHERE = {"DEMAND_AGED", "VACUUM_BY_AIR"}
"""How far a lesson of an earlier visit may be off, which is no figure of an engine; and what is asked of ``engine_air``
at the depth that a diagnosis takes."""

JUDGED = {"DRIFT_SEEN_Z"}
"""How sure a drift is to be before it is told: no figure of an idle."""


@pytest.mark.parametrize("constant", tuple(constants()), ids=lambda one: f"{one.module}.{one.name}")
def test_every_constant_says_where_it_comes_from(constant: Constant) -> None:
    assert constant.source, constant.said


def test_the_list_holds_what_a_word_to_the_customer_rests_on() -> None:
    """What decides between a good word and another reading, a leak, a meter's error, wherever it stands."""
    listed = {f"{one.module.removeprefix('app.')}.{one.name}" for one in constants()}
    assert {
        "sync.estimation.conformity.PASS_PROBABILITY",
        "sync.estimation.conformity.LIMIT_PROBABILITY",
        "sync.estimation.share_mixture.LEAST_TAU",
        "sync.planning.planner.SURE_TO_LEAVE",
        "sync.planning.cold_setting.HOT_MINUTES",
        "sync.readings.meters.BAND",
        "shop.assessment.leaks.LEAK_LIKELY",
        "shop.assessment.advising.MOST_LOOKS",
    } <= listed


DOCUMENT = re.compile(r"ISO \d+(-\d+)?:\d{4}|[A-Z]\. [A-Z]\. \w+, .*\(\d{4}\)|EngParameters\.m|Modelica-MVEM")
"""A standard with its year, an article, or a file that can be opened."""


def test_what_was_published_says_where_and_what_was_chosen_is_not_called_published() -> None:
    by_source = {one.name: one for one in constants() if one.reference}
    assert {"GAS_CONSTANT", "COMPRESSION", "CLOSED_SLIT", "NOISE_BANDWIDTH", "TWO_READINGS"} <= set(by_source)
    assert [name for name, one in by_source.items() if not DOCUMENT.search(one.reference)] == []
    assert "DEPTHS" not in by_source  # chosen in a published band


def test_a_number_without_a_word_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "bare.py").write_text("BARE = 0.5  # of something [m]\nTOLD = 2.0  # our judgement\n")
    monkeypatch.syspath_prepend(tmp_path)
    found = list(of_module("bare", (tmp_path / "bare.py").read_text()))
    assert [(one.name, one.unit, one.source) for one in found] == [("BARE", "m", ""), ("TOLD", "", "our judgement")]


def test_the_air_of_an_engine_is_defined_in_one_module() -> None:
    """The simulated engine draws figures of its own, so that it is no copy of what is believed of it."""
    defined = [
        (path.name, target.id)
        for path in ROOT.rglob("*.py")
        for statement in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(statement, ast.Assign | ast.AnnAssign)
        for target in ast.walk(statement)
        if isinstance(target, ast.Name) and isinstance(target.ctx, ast.Store) and ONCE.search(target.id)
    ]
    names = [name for _, name in defined]
    assert {"DEMAND", "DEMAND_POWER", "IDLE_RATIO", "CONTRACTION", "SHARING", "PLENUM_SHARING"} <= set(names)
    assert [one for one in defined if one[0] != "engine_air.py" and one[1] not in ELSEWHERE] == []
    assert len(names) == len(set(names))


STRAYS = re.compile(r"WANDER|DRIFT|MEMORY|BETWEEN_ROUNDS|EVERY_READING")
"""Names of how an idle strays, and of what stood for it in other modules."""


def test_how_an_idle_strays_is_defined_in_one_module() -> None:
    named = [(one.module, one.name) for one in constants() if STRAYS.search(one.name) and one.name not in JUDGED]
    assert {module for module, _ in named} == {"app.sync.readings.idle_wander"}
    assert {"WANDER", "MEMORY", "BETWEEN_ROUNDS", "DRIFT", "EVERY_READING"} == {name for _, name in named}


def test_no_module_spells_the_same_figures_out() -> None:
    spelled = re.compile(r"(?<![\w.])0\.(?:67|674|6743|64|72|545)(?![\w.])")
    found = [
        (path.name, line)
        for path in ROOT.rglob("*.py")
        if path.name != "engine_air.py" and "simulation" not in path.parts
        for line in path.read_text(encoding="utf-8").splitlines()
        if spelled.search(line) and ">>>" not in line
    ]
    assert found == []
