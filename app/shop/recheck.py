"""Why an engine that was even has to be read hot again: what changed since it was signed off."""

from app.shop.story import Story

CHANGES = ("stop screw", "exhaust", "linkage", "throttle sensor", "intake or air filter")
"""What changes the sync when it is touched (common practice, no published source)."""

AIR = ("exhaust", "intake or air filter")
"""Those of CHANGES that change how much air an engine needs to idle."""

PLACES = {"test cell": "it is in the test cell now", "vehicle": "it is in the vehicle now", "telephone": ""}


def reasons(story: Story) -> tuple[str, ...]:
    """What changed since the last sign-off, as said when the visit was opened or as the records show; none at first."""
    if story.fitted_before is None:
        return ()
    said = [f"{what} changed" for what in (story.visit.changed or "").split(", ") if what]
    if story.fitted_before != story.fitting.ident:
        said.append("other hardware is on record")
    here = PLACES.get(story.visit.place, "")
    if here and story.place_before not in ("", "telephone", story.visit.place):
        said.append(f"{here}: other exhaust, heat under the bonnet and idle speed" if "vehicle" in here else here)
    return tuple(said)


def same_air(story: Story) -> bool:
    """Whether the engine breathes through the same parts in the same place as at the last sign-off."""
    said = (story.visit.changed or "").split(", ")
    here, there = story.visit.place, story.place_before
    moved = "telephone" not in (here, there) and here != there
    return not moved and not any(what in said for what in AIR)


def recheck(story: Story) -> str:
    """The demand for a heat-soaked recheck in a sentence, empty when nothing changed."""
    why = reasons(story)
    if not why:
        return ""
    return (
        f"Since the last sign-off: {'; '.join(why)}. What was even then says nothing now. Heat it through and read it "
        "as found before anything is moved."
    )
