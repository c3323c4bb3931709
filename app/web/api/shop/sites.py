"""The sites of a group, for programs to read."""

from fastapi import APIRouter
from pydantic import Field

from app.shop.commands.access.sites import sites_of
from app.web.api.shapes import Told
from app.web.context import Shop

router = APIRouter(prefix="/sites", tags=["shop"])


class RoomTold(Told):
    """A room of a site."""

    id: int
    name: str = Field(description="What the room is called.", examples=["Test cell 2"])


class SiteTold(Told):
    """A site of the group."""

    id: int
    key: str = Field(description="The UUID by which the records of other sites know it.")
    name: str = Field(description="What the site is called.", examples=["North yard"])
    head_office: bool = Field(description="Whether it reads answers and the activity log of all sites.")
    rooms: list[RoomTold] = Field(description="In the order in which they were added.")


@router.get("", summary="The sites of a group")
def show_sites(shop: Shop) -> list[SiteTold]:
    """The sites that are open, none in a shop of one place. A tablet or a program of a site reads every engine and
    writes to the visits of its own site; another write is rejected with `other-site`. Sites are changed at the shop
    computer."""
    with shop.reading() as session:
        found = sites_of(session).all
    return [
        SiteTold(
            id=site.ident,
            key=site.key,
            name=site.name,
            head_office=site.head_office,
            rooms=[RoomTold(id=room.ident, name=room.name) for room in site.rooms],
        )
        for site in found
    ]
