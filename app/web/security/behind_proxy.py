"""What a request is taken for where a proxy stands in front: made elsewhere, at the address that the proxy answers."""

from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.security.origin import BEHIND, PublicAddress, ip_of, sent


class BehindProxy:
    """No request counts as made at the shop computer, whatever a proxy says of it or leaves out.

    Its origin is held to the ``public`` address. Where the proxy tells who asked, that address is the one whose wrong
    pairing codes are counted: the last one told, which the proxy saw itself.
    """

    def __init__(self, app: ASGIApp, public: PublicAddress) -> None:
        self.app = app
        self.public = public

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            told = [one.strip() for line in sent(scope, b"x-forwarded-for") for one in line.split(",")]
            client = (told[-1], 0) if told and ip_of(told[-1]) else scope.get("client")
            scope = {**scope, "scheme": self.public.scheme, "client": client, BEHIND: True}
        await self.app(scope, receive, send)
