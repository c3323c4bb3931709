"""What a person may choose for one tablet: bright or dark, for which hand, front of the engine at which side.

It is kept in cookies of that tablet, so that a page comes in its look from the first line on, with or without script.
"""

from collections.abc import Mapping
from urllib.parse import quote, unquote

from starlette.responses import Response

CHOICES: Mapping[str, tuple[str, ...]] = {
    "look": ("", "bright", "dark"),
    "hand": ("", "left"),
    "front": ("", "right"),
}


def chosen(values: Mapping[str, str]) -> dict[str, str]:
    """What was chosen; anything that is no choice counts as none."""
    return {name: found if (found := values.get(name, "")) in ways else "" for name, ways in CHOICES.items()}


INITIALS, LONGEST_INITIALS = "initials", 12
"""The cookie that says whose tablet it is, and how long initials may be."""


def initials_of(cookies: Mapping[str, str], scheme: str) -> str:
    """The initials of the person at this tablet; empty where none were given."""
    return unquote(cookies.get(cookie(INITIALS, scheme), ""))[:LONGEST_INITIALS].strip()


def belongs_to(answer: Response, initials: str, scheme: str) -> None:
    """Say with an answer whose tablet it is from now on."""
    keep(answer, INITIALS, quote(initials[:LONGEST_INITIALS]), scheme)


YEAR = 365 * 24 * 3600
"""How long a tablet keeps what was chosen [s]."""


def keep(answer: Response, choice: str, value: str, scheme: str) -> None:
    """Keep one choice on the tablet that is answered."""
    name = cookie(choice, scheme)
    answer.set_cookie(name, value, max_age=YEAR, httponly=True, samesite="lax", secure=scheme == "https")


def cookie(name: str, scheme: str) -> str:
    """The name of a cookie: another one under https, by which browsers hold it to that scheme and this very host.

    Under one name a cookie made on https could be neither read nor replaced after going back to plain http.
    """
    return f"__Host-{name}" if scheme == "https" else name


def kept(cookies: Mapping[str, str], scheme: str) -> dict[str, str]:
    """What a tablet chose before."""
    return chosen({name: cookies.get(cookie(name, scheme), "") for name in CHOICES})
