"""In which languages a request is answered: the tablet's on pages, the customer's on sheets, English for programs."""

from gettext import NullTranslations

from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.error_responses import for_programs
from app.wording.language import ENGLISH, speaking


class Spoken:
    """Answers every request in ``tablet``, and in ``customer`` what is rendered inside ``to_the_customer``.

    The JSON interface stays English, which is what its documentation is written in.
    """

    def __init__(self, app: ASGIApp, tablet: NullTranslations, customer: NullTranslations | None = None) -> None:
        self.app = app
        self.tablet = tablet
        self.customer = customer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or for_programs(scope):
            with speaking(ENGLISH):
                await self.app(scope, receive, send)
            return
        with speaking(self.tablet, self.customer):
            await self.app(scope, receive, send)
