"""A page asks for one style sheet and one script, which hold all that are written."""

import re
from pathlib import Path

import pytest

from app import places
from app.web import joined_files
from app.web.joined_files import SHEETS, joined


def test_every_sheet_is_handed_out_in_the_one() -> None:
    assert sorted(SHEETS) == sorted(file.name for file in places.static().glob("*.css"))
    text, kind = joined()["all.css"]
    assert kind == "text/css"
    assert text.index("font-family: Evenbore;") < text.index("@media screen and (width <= 480px)")


def test_every_script_is_handed_out_in_the_one_or_named_by_a_page() -> None:
    text, kind = joined()["all.js"]
    assert kind == "text/javascript"
    held = {f"{name}.js" for name in re.findall(r"^const \$(\w+) = ", text, re.MULTILINE)}
    pages = "".join(file.read_text() for file in places.templates().rglob("*.html"))
    alone = set(re.findall(r'src="/static/(\w+\.js)"', pages)) - {"all.js"}
    assert held | alone | {"worker.js"} == {file.name for file in places.static().glob("*.js")}
    assert not held & alone


def test_what_is_handed_out_is_the_code_alone() -> None:
    for text, _ in joined().values():
        assert not re.search(r"^\s|^\s*/[/*]", text, re.MULTILINE)
    code = joined_files._lean("/* a */\n\nb {\n  /* c\n   d */\n  e: f; /* g */\n}\n// h\n  // i\n  j = 'k//l';\n")
    assert code == "b {\ne: f; /* g */\n}\nj = 'k//l';\n"


def test_no_string_of_a_script_runs_over_lines() -> None:
    for file in places.static().glob("*.js"):
        assert [line for line in file.read_text().splitlines() if line.count("`") % 2] == [], file.name


def test_a_script_stands_after_those_it_takes_from() -> None:
    text, _ = joined()["all.js"]
    taken = re.findall(r"\} = \$(\w+);", text)
    assert len(taken) > 10
    for name in taken:
        assert text.index(f"const ${name} = ") < text.index(f"}} = ${name};")


def test_a_script_that_cannot_be_joined_is_told_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "page.js").write_text("export default 1;\n")
    monkeypatch.setattr(places, "static", lambda: tmp_path)
    with pytest.raises(ValueError, match=r"page\.js: export default 1;"):
        joined_files._scoped("page.js")
