"""The quick check fails when one of its parts does, and says which."""

import pytest

from tests.quick import CHECKS, FOLDERS, ROOT, run


def test_what_failed_is_named_and_its_words_are_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert run({"good": ("this",), "bad": ("no_such_module",)}) == ["bad"]
    said = capsys.readouterr().out
    assert "good passed" in said
    assert "bad failed" in said
    assert "No module named no_such_module" in said


def test_it_runs_what_there_is() -> None:
    assert set(CHECKS) == {"lint", "format", "types", "tests"}
    assert [folder for folder in FOLDERS if not (ROOT / folder).exists()] == []
