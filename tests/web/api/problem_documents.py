"""Problem documents as the interface answers with them: what every one has, and the fields at fault."""

import re
from typing import Any

from app.web.error_responses import PROBLEM


def problem(answer: Any, status: int) -> dict[str, Any]:
    """The document, after a look at what every one has to have."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == PROBLEM
    said: dict[str, Any] = answer.json()
    assert said["type"] == "about:blank"
    assert said["status"] == status
    assert said["title"]
    assert said["detail"]
    assert re.fullmatch("[a-z0-9]+(-[a-z0-9]+)*", said["code"])
    for fault in said.get("errors", ()):
        assert fault["detail"]
        assert fault["code"]
    return said


def codes(said: dict[str, Any]) -> dict[str, str]:
    """The code of each field at fault."""
    return {fault.get("pointer") or fault["parameter"]: fault["code"] for fault in said["errors"]}


def at_fault(said: dict[str, Any]) -> list[str]:
    return sorted(codes(said))
