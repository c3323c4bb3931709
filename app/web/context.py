"""What every route is handed: the shop, the time, the form that was sent, and the way to answer with a page."""

import re
from collections.abc import Callable
from contextvars import ContextVar
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Annotated, Any, NamedTuple
from urllib.parse import parse_qsl, quote

from fastapi import Depends, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from app import places
from app.shop.at_site import may_write
from app.shop.reasons import because
from app.shop.record import stored_settings
from app.shop.store.codes import Unavailable
from app.shop.store.database import Database
from app.shop.store.idempotency import new_key
from app.web.display_options import chosen, initials_of, kept
from app.web.forms import Typed
from app.web.kept_files import UnderTheVersion
from app.web.live.hub import Hub
from app.web.presenters.adjusters import further_fields
from app.web.presenters.filters import FILTERS
from app.web.security.middleware import FILE_LIMIT
from app.wording import language
from app.wording.program import scripts
from app.wording.reasons import in_words

OUTBOX, SAVED, NEXT, REFUSED = "X-Outbox", "X-Saved-Key", "X-Next", "X-Refused"
"""Headers between a page's outbox and this server: for how many seconds the write was held, which key was stored, the
page after it, and why not (percent-encoded). A write leaves the outbox only when its own key comes back."""

AT_THIS_TABLET: ContextVar[str] = ContextVar("AT_THIS_TABLET", default="")
"""The initials that the tablet of this request was given."""

URLENCODED = "application/x-www-form-urlencoded"
MOST_FIELDS = 300
"""Of a form; how large it is was bounded before."""

LONGEST_HELD = 7 * 24 * 3600.0
"""What was held for longer than this [s] was more likely kept by a tablet whose clock was set meanwhile."""

ONE_WORD = re.compile(r"[0-9]+–[0-9]+|(?<![\w-])(?=[A-Za-z-]*[0-9])(?=[\w-]{3,16}(?![\w-]))\w+(?:-\w+)+")
"""The numbers of a coupler, and a number with hyphens such as a serial, as long as it has room on a telephone."""


@cache
def environment() -> Environment:
    """The templates, with escaping on whatever the file is called and a stop at every name that is not there.

    One for the process, since compiling them takes a second; it holds nothing of a shop.
    """
    templates = Environment(
        loader=FileSystemLoader(places.templates()),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n", UnderTheVersion],
    )
    templates.policies["ext.i18n.trimmed"] = True
    templates.install_gettext_callables(  # type: ignore[attr-defined]
        gettext=language.gettext,
        ngettext=language.ngettext,
        newstyle=True,
        pgettext=language.pgettext,
        npgettext=language.npgettext,
    )
    templates.filters.update(FILTERS, in_words=in_words, unbroken=unbroken)
    templates.globals.update(
        new_key=new_key,
        tablet_initials=AT_THIS_TABLET.get,
        language=language.tag,
        to_the_customer=_to_the_customer,
        script_words=scripts.bundle,
        further_fields=further_fields,
        may_write=may_write,
        **chosen({}),
    )
    return templates


def unbroken(words: str) -> str:
    """Words with each coupler's numbers and each serial on one line: browsers break it behind the dash of 2–3 and of
    B8-4471.

    The words stay as they are, so that they are still found, copied and read aloud; what is no markup is escaped.
    """
    if "–" not in words and "-" not in words:
        return words
    return Markup(ONE_WORD.sub(r'<span class="unbroken">\g<0></span>', str(escape(words))))


def _to_the_customer(caller: Callable[[], str]) -> str:
    """What a ``call`` block of a template says, in the customer's language."""
    with language.to_the_customer():
        return caller()


def stamp(time: datetime) -> str:
    """A time as the tables keep it: ISO 8601 in UTC, to the millisecond."""
    return time.astimezone(UTC).isoformat(timespec="milliseconds")


class FieldValues(dict[str, str]):
    """Typed values, or problems, by field: a field that has none is empty, not a mistake of the template."""

    def __missing__(self, name: str) -> str:
        return ""


class Pages:
    """Answers one request with a page."""

    def __init__(self, request: Request) -> None:
        self._request = request
        self._templates: Environment = request.app.state.templates

    def show(self, template: str, status: int = 200, **facts: Any) -> HTMLResponse:
        """The page of that template."""
        for name in ("values", "problems"):
            facts[name] = FieldValues(facts.get(name, {}))
        facts["known_initials"] = self._known_initials
        live: Hub | None = getattr(self._request.app.state, "live", None)  # none where only one page is left to show
        facts["filled"] = live.filled if live is not None else None
        facts["doubted"] = live.doubted if live is not None else ()
        cookies = self._request.cookies
        facts = {**kept(cookies, self._request.url.scheme), **facts}
        AT_THIS_TABLET.set(initials_of(cookies, self._request.url.scheme) if cookies else "")
        html = self._templates.get_template(template).render(request=self._request, **facts)
        answer = HTMLResponse(html, status_code=status)
        if status >= 400:
            answer.headers[REFUSED] = quote(" ".join(facts["problems"].values()) or str(facts.get("message", "")))
        return answer

    @property
    def lets_feeds_in(self) -> bool:
        """Whether any program may send live values, or sends some."""
        state = self._request.app.state
        return bool(state.feeders.tokens) or state.live.sends

    def noticed(self) -> list[str]:
        """What the people of the shop are to know of its files and its network, in words."""
        state = self._request.app.state
        found = [*state.shop.noticed, *state.pairing.noticed]
        if not state.shop.still_there():
            found.append(because(Unavailable.FILE_REPLACED, folder=state.shop.folder))
        return [in_words(one) for one in found]

    def _known_initials(self) -> list[str]:
        """The initials in the shop's settings, read only by a page that asks for some."""
        shop: Database = self._request.app.state.shop
        with shop.reading() as session:
            return [initials for initials, _ in stored_settings.now(session)[1].people]

    @staticmethod
    def go(path: str) -> Response:
        """See the page at ``path`` next."""
        return RedirectResponse(path, status_code=303)

    def saved(self, path: str) -> Response:
        """What was posted is stored: its key is echoed, and the page at ``path`` comes next.

        A browser is sent there, so that a reload posts nothing again; the outbox of a page is only told where it is.
        """
        answer = Response(status_code=204, headers={NEXT: path}) if OUTBOX in self._request.headers else self.go(path)
        answer.headers[SAVED] = quote(self._request.state.typed.text("key"))
        return answer


# What waits for nothing is async: FastAPI would hand anything else to a thread, which takes longer than doing it.


async def _shop(request: Request) -> Database:
    shop: Database = request.app.state.shop
    return shop


async def _now(request: Request) -> str:
    """When it was done: now, less the time for which the tablet held it because there was no connection."""
    try:
        held = float(request.headers.get(OUTBOX, "0"))
    except ValueError:
        held = 0.0
    return stamp(_time(request) - timedelta(seconds=held if 0 <= held <= LONGEST_HELD else 0.0))


async def _server_now(request: Request) -> str:
    return stamp(_time(request))


def _time(request: Request) -> datetime:
    clock: Callable[[], datetime] = request.app.state.clock
    return clock()


async def _page(request: Request) -> Pages:
    return Pages(request)


async def _typed(request: Request) -> Typed:
    if request.headers.get("content-type") == URLENCODED:
        typed = Typed(_pairs(await request.body()))
    else:
        form = await request.form(max_files=0, max_fields=MOST_FIELDS, max_part_size=FILE_LIMIT)
        typed = Typed({name: value for name, value in form.items() if isinstance(value, str)})
    request.state.typed = typed
    return typed


def _pairs(body: bytes) -> dict[str, str]:
    """What a browser sends of a form: a body that is here already takes a tenth of the time that one in pieces does."""
    try:
        return dict(parse_qsl(body.decode("latin-1"), keep_blank_values=True, max_num_fields=MOST_FIELDS))
    except ValueError as error:
        raise HTTPException(400, str(error)) from error


class PostedForm(NamedTuple):
    """What ``Shop``, ``Page``, ``Form`` and ``Now`` would hand to a route, asked for by the route itself: as four
    dependencies they take longer than all guards together."""

    shop: Database
    page: Pages
    form: Typed
    now: str

    @classmethod
    async def by(cls, request: Request) -> "PostedForm":
        """What was sent with a request."""
        return cls(await _shop(request), await _page(request), await _typed(request), await _now(request))


Shop = Annotated[Database, Depends(_shop)]
Now = Annotated[str, Depends(_now)]
ServerNow = Annotated[str, Depends(_server_now)]
"""The time now, whatever a tablet says: for signing off, people, and pairing."""

Form = Annotated[Typed, Depends(_typed)]
Page = Annotated[Pages, Depends(_page)]

Number = Annotated[int, Query(alias="page")]
"""The number of a page of a list."""
