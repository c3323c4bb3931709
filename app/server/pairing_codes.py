"""How tablets are paired with this server: the code on its terminal, and the address that they open."""

from contextlib import suppress
from typing import TYPE_CHECKING

import typer

from app.server.network import home_on_the_network
from app.web.security.origin import PublicAddress
from app.wording.message import say
from app.wording.program import cli as words

if TYPE_CHECKING:
    from app.server.announcing import Announcer
    from app.shop.store.database import Database
    from app.web.security.pairing import Pairing


def pairing_for(
    shop: "Database",
    host: str,
    port: int,
    scheme: str = "http",
    announcer: "Announcer | None" = None,
    public: PublicAddress | None = None,
) -> "Pairing":
    """Pairing of tablets, which open the program at its ``public`` address, by its name, or by its number."""
    from app.shop.store.postgres.pairing_codes import PairingCodes
    from app.web.security.pairing import Pairing

    def homes() -> tuple[str, ...]:
        by_number = home_on_the_network(host, port, scheme)
        return (public.home,) if public else tuple(filter(None, (announcer.home if announcer else "", by_number)))

    return Pairing(homes, show_code, kept=PairingCodes(shop) if shop.shared else None)


def show_code(code: str, address: str) -> None:
    """Show a pairing code on the terminal, as text and as a picture that a tablet scans."""
    import segno

    from app.web.security.pairing import GOOD_FOR

    typer.echo(say(words.PAIRING_CODE, code=code, minutes=round(GOOD_FOR / 60)))
    with suppress(UnicodeEncodeError):  # a terminal without block characters has the code in letters
        segno.make(address, error="l").terminal(compact=True)
