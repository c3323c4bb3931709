"""The mutants themselves: what is changed, which tests are asked, and that a test which notices is heard."""

import ast
from pathlib import Path

import pytest

from app.sync.readings import idle_wander
from tests.mutants import trial
from tests.mutants.__main__ import TOPS, parts, sample, table
from tests.mutants.changes import changed, changes
from tests.mutants.reach import ROOT, Reach, Witness
from tests.mutants.trial import BUDGET, Mutant, killed, witnesses
from tests.mutants.verdicts import Verdicts

SOURCE = '''
"""A module."""
LIMIT: Literal[3] = 3

@cache(maxsize=8)
def inside(value, least=-1.5):
    """Whether it is."""
    if value is None or not value:
        return False
    value += 1
    return least <= value < LIMIT * 2 and bool(set(value) | {True})
'''


def test_what_can_be_changed_is_found_once_in_the_order_of_the_text() -> None:
    assert [one.said for one in changes(ast.parse(SOURCE))] == [
        *("3: 3 to 4", "6: minus left out", "6: 1.5 to 3.0", "8: or to and", "8: is to is not", "8: not left out"),
        *("9: False to True", "10: += to -=", "10: 1 to 2", "11: return None", "11: and to or", "11: <= to <"),
        *("11: < to <=", "11: * to /", "11: 2 to 3", "11: | to &", "11: True to False"),
    ]


def test_a_change_knows_its_lines_and_outside_a_function_its_names() -> None:
    found = changes(ast.parse(SOURCE))
    assert found[0].names == {"LIMIT"}
    assert found[0].lines == {3}
    assert found[1].names == {"inside"}
    assert found[3].names == frozenset()
    split = changes(ast.parse("def f(a):\n    return (\n        a\n        + 1\n    )\n"))
    assert [one.lines for one in split] == [{2}, {2, 3}, {2, 4}]


@pytest.mark.parametrize(
    ("source", "number", "becomes"),
    [
        ("a = b < c", 0, "a = b <= c"),
        ("a = not b", 0, "a = not not b"),
        ("a = b - c", 0, "a = b + c"),
        ("a = b // c", 0, "a = b * c"),
        ("a = b ** 2", 1, "a = b ** 3"),
        ("a = 0.0", 0, "a = 1.0"),
        ("a = b in c", 0, "a = b not in c"),
        ("def f():\n    return a", 0, "def f():\n    return"),
        ("while c:\n    with d:\n        a -= 1", 0, "while c:\n    with d:\n        a += 1"),
        ("try:\n    b()\nexcept E:\n    a = 1", 0, "try:\n    b()\nexcept E:\n    a = 2"),
        ("match a:\n    case b if c > 1:\n        d()", 0, "match a:\n    case b if c >= 1:\n        d()"),
    ],
)
def test_one_change_is_made_and_nothing_else(source: str, number: int, becomes: str) -> None:
    assert ast.unparse(changed(source, number)) == ast.unparse(ast.parse(becomes))


def test_what_has_no_effect_or_says_a_type_is_left_alone() -> None:
    source = (
        "A = int | None\n@decorated(3)\ndef f(a: Literal[1]) -> Literal[2]:\n    zip(a, strict=True)\n    return None"
    )
    assert changes(ast.parse(source)) == []


def test_the_narrowest_test_is_asked_first() -> None:
    file = "app/some.py"
    wide = Witness("wide", 1.0, {file: frozenset({1, 2, 3})})
    narrow = Witness("narrow", 1.0, {file: frozenset({2})})
    other = Witness("other", 1.0, {file: frozenset({3})})
    assert Reach([wide, other, narrow]).of(file, {2}, frozenset()) == [narrow, wide]


def test_of_a_constant_those_are_asked_that_pass_where_it_is_used_or_what_is_made_of_it() -> None:
    file = Path(idle_wander.__file__).relative_to(ROOT).as_posix()
    lines = Path(idle_wander.__file__).read_text().splitlines()
    used = next(at for at, line in enumerate(lines, 1) if "return DRIFT *" in line)
    test = Witness("drift", 1.0, {file: frozenset({used})})
    assert Reach([test]).of(file, {1}, {"DRIFT"}) == [test]
    assert Reach([test]).of(file, {1}, {"MEMORY"}) == []
    spread = ROOT / "app/sync/slips/changes.py"
    at = next(n for n, line in enumerate(spread.read_text().splitlines(), 1) if "COMMON_SPREAD if" in line)
    through = Witness("spread", 1.0, {"app/sync/slips/changes.py": frozenset({at})})
    assert Reach([through]).of(file, {1}, {"WANDER"}) == [through]


def test_no_more_tests_are_asked_than_fit_into_the_budget() -> None:
    mutant = next(one for one in parts("app.sync.readings")["app/sync/readings"] if not one.change.names)
    lines = {mutant.file: frozenset(mutant.change.lines)}
    some = [Witness(f"{n}", 0.4 * BUDGET, lines) for n in range(4)]
    assert witnesses(mutant, Reach(some)) == some[:2]


@pytest.fixture
def halved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small module with a test that passes, in a place of its own."""
    (tmp_path / "halved.py").write_text(
        "def halved(number):\n    while number > 8:\n        number /= 2\n    return number\n"
    )
    monkeypatch.setattr(trial, "ROOT", tmp_path)
    monkeypatch.setattr(trial, "SLACK", 3)
    monkeypatch.syspath_prepend(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("number", "said", "asserts", "noticed"),
    [
        (0, "2: > to >=", "halved(8) == 8", True),
        (1, "2: 8 to 9", "halved(8) == 8", False),
        (2, "3: /= to *=", "halved(9)", True),  # never ends
    ],
)
def test_a_change_is_killed_by_the_test_that_notices_or_never_ends(
    halved: Path, number: int, said: str, asserts: str, noticed: bool
) -> None:
    test, mutant = halved / "test_halved.py", Mutant("halved.py", number)
    test.write_text(f"from halved import halved\n\ndef test_it():\n    assert {asserts}\n")
    assert mutant.change.said == said
    assert killed(mutant, [Witness(f"{test}::test_it", 0.1, {})]) is noticed


def test_a_change_that_nothing_reaches_survives(halved: Path) -> None:
    assert not killed(Mutant("halved.py", 0), [])


def test_the_sample_is_always_the_same_and_takes_as_much_of_every_part() -> None:
    found = parts("app.web.security")
    assert sample(found, 5) == sample(parts("app.web.security"), 5)
    assert {part: len(some) for part, some in sample(found, 5).items()} == {"app/web/security": 5}
    assert len(sample(found, 10**6)["app/web/security"]) == len(found["app/web/security"])


def test_a_part_is_a_folder_of_a_layer_and_may_be_narrowed_to_a_module() -> None:
    assert all((ROOT / top).is_dir() for top in TOPS)
    assert {one.module for one in parts("app.sync.slips.creep")["app/sync/slips"]} == {"app.sync.slips.creep"}
    assert list(parts("app.sync.engine.adjusters")) == ["app/sync/engine"]


def test_the_share_of_a_layer_weighs_its_parts_by_what_could_be_changed() -> None:
    tried = {"app/sync/a": [True, True], "app/sync/b": [True, False], "app/web/security": [False]}
    rows = table(tried, {"app/sync/a": 300, "app/sync/b": 100, "app/web/security": 9}).splitlines()[2:]
    assert rows == [
        "| app/sync/a | 300 | 2 | 100% |",
        "| app/sync/b | 100 | 2 | 50% |",
        "| **app/sync** | 400 | 4 | 88% |",
        "| app/web/security | 9 | 1 | 0% |",
    ]


def test_a_run_that_was_cut_short_asks_nothing_twice_until_the_module_changes(halved: Path) -> None:
    kept, mutant = halved / "kept" / "verdicts.jsonl", Mutant("halved.py", 0)
    other = Mutant("halved.py", 1)
    assert Verdicts(kept).of(mutant, lambda: True)
    assert not Verdicts(kept).of(other, lambda: False)
    assert Verdicts(kept).of(mutant, lambda: False)
    assert not Verdicts(kept).of(other, lambda: True)
    module = halved / "halved.py"
    module.write_text(module.read_text() + "\n")
    assert not Verdicts(kept).of(mutant, lambda: False)
    assert Verdicts(kept).of(other, lambda: True)
