"""The blocks that benchmarks keep in their README."""

from pathlib import Path

import pytest

from tests.benchmarks.report import README, keep

NAMES = (
    "advice",
    "banks",
    "creep",
    "crossings",
    "hardware",
    "lessons",
    "memory",
    "saving",
    "shares",
    "slips",
    "unlike",
)


def test_a_block_is_replaced_and_nothing_else(tmp_path: Path) -> None:
    file = tmp_path / "README.md"
    file.write_text("before\n<!-- one -->\nold\n<!-- end of one -->\nafter\n")
    keep(file, "one", "python -m one", "| a |\n| --- |\n", "2026-11-28")
    expected = "before\n<!-- one -->\n`python -m one`, 2026-11-28:\n\n| a |\n| --- |\n<!-- end of one -->\nafter\n"
    assert file.read_text() == expected
    keep(file, "one", "python -m one", "plain\n", "2026-11-29")
    assert "```\nplain\n```" in file.read_text()
    assert "| a |" not in file.read_text()


def test_a_block_that_is_not_there_is_said(tmp_path: Path) -> None:
    file = tmp_path / "README.md"
    file.write_text("nothing\n")
    with pytest.raises(LookupError):
        keep(file, "one", "python -m one", "text", "2026-11-28")


@pytest.mark.parametrize("name", NAMES)
def test_every_benchmark_has_its_block(name: str) -> None:
    text = README.read_text()
    assert f"<!-- {name} -->" in text
    assert f"<!-- end of {name} -->" in text
    assert f'report("{name}")' in (README.parent / f"{name}.py").read_text()
