"""What a person may choose for one tablet: bright or dark, for which hand, front of the engine at which side.

It is kept in cookies of that tablet, so that a page comes in its look from the first line on, with or without script.
"""

from collections.abc import Mapping

CHOICES: Mapping[str, Mapping[str, str]] = {
    "look": {"": "As the tablet is set", "bright": "Bright", "dark": "Dark"},
    "hand": {"": "Keypad at the right", "left": "Keypad at the left"},
    "front": {"": "Front at the left", "right": "Front at the right"},
}


def chosen(cookies: Mapping[str, str]) -> dict[str, str]:
    """What a tablet chose; anything that is no choice counts as none."""
    return {name: found if (found := cookies.get(name, "")) in ways else "" for name, ways in CHOICES.items()}
