"""Is what was told once still told? Compares two JSON answers, or two descriptions of the interface, and lets additions
pass.

Sentences are for people and get better with time, so of those only whether there is one is compared. Each function
yields a line for every thing that was lost or is another now; nothing at all means that nothing was lost.
"""

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

Json = Any
"""What ``json.loads`` gives."""

SENTENCES = frozenset(
    {
        *("title", "sentence", "sentences", "extra_sentence", "reason", "waits_for", "look", "detail"),
        *("aim", "steps", "cautions", "defer", "ask", "lacks", "stops", "spared", "what"),
    }
)
"""Fields of answers that hold nothing but words for a person."""

NAMED_IN_WORDS = "suspect"
"""Under this field ``name`` is a sentence too; elsewhere it is what somebody typed."""

TELLS_APART = ("item", "phase")
"""A list of things that each have one of these may grow in the middle: they are found again by it."""

CLOSE = 1e-6
"""Figures are the same within this fraction of them: other computers add up in another order."""


def lost(was: Json, now: Json, free: frozenset[str] = frozenset(), at: str = "") -> Iterator[str]:
    """What of the answer ``was`` is missing or another in ``now``, by place.

    Fields may be added anywhere. The fields ``free`` may say something else, but have to be there. Lists keep their
    length and order, save those of things that can be told apart, which may have more.
    """
    if isinstance(was, Mapping) and isinstance(now, Mapping):
        for name, value in was.items():
            here = f"{at}.{name}" if at else name
            if name not in now:
                yield f"{here}: gone"
            elif name in free:
                continue
            elif _is_sentence(name, at):
                yield from _silent(value, now[name], here)
            else:
                yield from lost(value, now[name], free, here)
    elif isinstance(was, list) and isinstance(now, list):
        yield from _lost_of_list(was, now, free, at)
    elif not _same(was, now):
        yield f"{at}: {was!r} became {now!r}"


def _lost_of_list(was: list[Json], now: list[Json], free: frozenset[str], at: str) -> Iterator[str]:
    name = next((n for n in TELLS_APART if was and all(isinstance(o, Mapping) and n in o for o in was)), None)
    if name is not None and Counter(one[name] for one in was).most_common(1)[0][1] == 1:
        found = {one[name]: one for one in now if isinstance(one, Mapping) and name in one}
        for one in was:
            here = f"{at}[{one[name]}]"
            yield from lost(one, found[one[name]], free, here) if one[name] in found else [f"{here}: gone"]
    elif len(was) != len(now):
        yield f"{at}: {len(was)} became {len(now)}"
    else:
        for n, (one, other) in enumerate(zip(was, now, strict=True)):
            yield from lost(one, other, free, f"{at}[{n}]")


def _is_sentence(name: str, at: str) -> bool:
    return name in SENTENCES or (name == "name" and at.endswith(NAMED_IN_WORDS))


def _silent(was: Json, now: Json, at: str) -> Iterator[str]:
    if type(was) is not type(now):
        yield f"{at}: {type(was).__name__} became {type(now).__name__}"
    elif bool(was) != bool(now):
        yield f"{at}: {was!r} became {now!r}"


def _same(was: Json, now: Json) -> bool:
    figures = isinstance(was, int | float) and isinstance(now, int | float)
    if figures and not isinstance(was, bool) and not isinstance(now, bool):
        return math.isclose(was, now, rel_tol=CLOSE, abs_tol=1e-9)
    return type(was) is type(now) and bool(was == now)


def no_longer_described(was: Json, now: Json) -> Iterator[str]:
    """What the OpenAPI document ``was`` promises and ``now`` does not: paths, methods, parameters, answers and fields.

    An answer may have more fields, and a field more values to choose from, or name those it has. What is sent may have
    more fields that may be left out. Shapes are followed by what they hold; their names are free.
    """
    for path, operations in was["paths"].items():
        if path not in now["paths"]:
            yield f"{path}: gone"
            continue
        for method, operation in operations.items():
            here = f"{method} {path}"
            if method not in now["paths"][path]:
                yield f"{here}: gone"
            else:
                yield from _Shapes(was, now).operation(operation, now["paths"][path][method], here)


class _Shapes:
    """Follows the shapes of two documents side by side."""

    def __init__(self, was: Json, now: Json) -> None:
        self.documents = (was, now)
        self.seen: set[tuple[str, str]] = set()

    def operation(self, was: Json, now: Json, at: str) -> Iterator[str]:
        """What one path and method lost."""
        yield from self._parameters(was.get("parameters", []), now.get("parameters", []), at)
        yield from self._contents(was.get("requestBody", {}), now.get("requestBody", {}), True, f"{at} sent")
        for status, answer in was["responses"].items():
            if status not in now["responses"]:
                yield f"{at}: no answer {status}"
            else:
                yield from self._contents(answer, now["responses"][status], False, f"{at} {status}")

    def _parameters(self, was: list[Json], now: list[Json], at: str) -> Iterator[str]:
        before, after = ({(p["in"], p["name"]): p for p in those} for those in (was, now))
        for place, parameter in before.items():
            if place not in after:
                yield f"{at}: no parameter {place[1]}"
            else:
                yield from self._shape(parameter["schema"], after[place]["schema"], True, f"{at} {place[1]}")
        for place, parameter in after.items():
            if parameter.get("required") and not before.get(place, {}).get("required"):
                yield f"{at}: parameter {place[1]} has to be given now"

    def _contents(self, was: Json, now: Json, sent: bool, at: str) -> Iterator[str]:
        for kind, content in was.get("content", {}).items():
            if kind not in now.get("content", {}):
                yield f"{at}: no {kind}"
            else:
                yield from self._shape(content["schema"], now["content"][kind]["schema"], sent, at)

    def _resolved(self, shape: Json, which: int) -> tuple[Json, str]:
        name = ""
        while "$ref" in shape:
            name = shape["$ref"]
            shape = self.documents[which]
            for part in name.removeprefix("#/").split("/"):
                shape = shape[part]
        return shape, name

    def _shape(self, was: Json, now: Json, sent: bool, at: str) -> Iterator[str]:
        (was, before), (now, after) = self._resolved(was, 0), self._resolved(now, 1)
        if before and (before, after) in self.seen:
            return  # a shape inside itself
        self.seen.add((before, after))
        choices, choices_now = _choices(was), _choices(now)
        if len(choices) > 1 or len(choices_now) > 1:
            yield from self._alternatives(choices, choices_now, sent, at)
        else:
            yield from self._values(was, now, sent, at)
            yield from self._fields(was, now, sent, at)
            yield from self._inside(was, now, sent, at)
        self.seen.discard((before, after))

    def _inside(self, was: Json, now: Json, sent: bool, at: str) -> Iterator[str]:
        for name in ("items", "additionalProperties", "propertyNames"):
            if not isinstance(was.get(name), Mapping):
                continue
            if isinstance(now.get(name), Mapping):
                yield from self._shape(was[name], now[name], sent, f"{at}[]")
            else:
                yield f"{at}: no {name}"

    def _alternatives(self, before: list[Json], after: list[Json], sent: bool, at: str) -> Iterator[str]:
        """Every shape that was possible still is; an answer has no other ones beside, a write may have."""
        for n, one in enumerate(before):
            if all(any(True for _ in self._shape(one, other, sent, at)) for other in after):
                yield f"{at}: alternative {n + 1} is gone or another"
        if not sent and len(after) > len(before):
            yield f"{at}: an answer of another shape"

    def _fields(self, was: Json, now: Json, sent: bool, at: str) -> Iterator[str]:
        before, after = was.get("properties", {}), now.get("properties", {})
        for name, shape in before.items():
            if name not in after:
                yield f"{at}.{name}: gone"
            else:
                yield from self._shape(shape, after[name], sent, f"{at}.{name}")
        must, must_now = set(was.get("required", ())), set(now.get("required", ()))
        for name in sorted(must_now - must if sent else must & set(after) - must_now):
            yield f"{at}.{name}: {'has to be sent now' if sent else 'may be left out now'}"

    @staticmethod
    def _values(was: Json, now: Json, sent: bool, at: str) -> Iterator[str]:
        if _type(was) != _type(now):
            yield f"{at}: {_type(was)} became {_type(now)}"
        before, after = _named_values(was), _named_values(now)
        if before and not after:
            yield f"{at}: any value now"
        elif sent and not before and after:
            yield f"{at}: only {sorted(map(str, after))} now"
        elif missing := before - after:
            yield f"{at}: no {sorted(map(str, missing))}"


def _choices(shape: Json) -> list[Json]:
    found: list[Json] = shape.get("anyOf") or shape.get("oneOf") or [shape]
    return found


def _type(shape: Json) -> str | None:
    """The type of a shape; one that names its values has theirs, stated or not."""
    named = _named_values(shape)
    stated: str | None = shape.get("type")
    return "string" if stated is None and named and all(isinstance(one, str) for one in named) else stated


def _named_values(shape: Json) -> set[Json]:
    return set(shape["enum"]) if "enum" in shape else {shape["const"]} if "const" in shape else set()
