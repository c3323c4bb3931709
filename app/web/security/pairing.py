"""The code that lets one more tablet in: shown on the shop computer's own screen, good once and for ten minutes.

It lives in the memory of this process, and as a hash in the records where several servers share them. A tablet that has
given it gets a token of its own.
"""

import hmac
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from ipaddress import ip_network
from typing import Protocol

from app.shop.errors import RejectedError
from app.shop.reasons import Reason, because
from app.shop.rejections import Rejection
from app.shop.store.codes import Noticed
from app.web.security.origin import ip_of

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
"""What a code is made of: 32 signs, none of which is easily taken for another."""

LENGTH = 8
"""Eight signs of 32 are 40 bits."""

GOOD_FOR = 600.0
"""How long a code is good [s]."""

MOST_WRONG = 5
"""How many wrong codes one address may give before the shop computer shows another one."""

MOST_ADDRESSES, MOST_TOLD = 1000, 3
TOLD_FOR = 24 * 3600.0
"""For how long the shop is told of wrong codes [s]."""

BETWEEN = 10.0
"""The least time between two codes asked for over the network [s]."""


@dataclass(slots=True)
class WrongCodes:
    """How many wrong codes an address gave, how many of them against the code that is shown, and when the last [s]."""

    count: int
    against_this: int
    last: float


class KeptCodes(Protocol):
    """Where the codes of several servers are kept."""

    def show(self, code: str, seconds: float, before: str = "") -> None:
        """Let ``code`` be good for so long [s], and ``before`` no longer."""

    def take(self, code: str) -> bool:
        """Use a code up: whether it was good."""


class Pairing:
    """One code at a time. Wrong ones do not end it, or any stranger could keep every tablet out: they end with the
    address that they came from.

    Parameters: ``homes`` says the addresses that a tablet opens, the best first, none when the program is open to this
    computer only; ``show``, told each new code and the address with it in, where there is one; ``ticks``, seconds of a
    clock that cannot be set; ``kept`` has the codes of all servers where several share the records.
    """

    def __init__(
        self,
        homes: Callable[[], tuple[str, ...]] = tuple,
        show: Callable[[str, str], None] = lambda code, address: None,
        ticks: Callable[[], float] = time.monotonic,
        kept: KeptCodes | None = None,
    ) -> None:
        self._kept = kept
        self._homes = homes
        self._show = show
        self._ticks = ticks
        self._turn = threading.Lock()
        self._code = ""
        self._made = self._shown = -GOOD_FOR
        self._wrong: dict[str, WrongCodes] = {}

    @property
    def homes(self) -> tuple[str, ...]:
        """The addresses that a tablet opens now, the best first."""
        return self._homes()

    @property
    def home(self) -> str:
        """The address that a tablet opens now, empty when there is none."""
        return next(iter(self.homes), "")

    @property
    def code(self) -> str:
        """The code that is good now, empty when there is none."""
        return self._code if self._ticks() - self._made < GOOD_FOR else ""

    @property
    def address(self) -> str:
        """Where a tablet gives the code. The part after # is not sent to the server, so no log can hold it."""
        return f"{self.home}pair#{self.code}"

    @property
    def noticed(self) -> list[Reason]:
        """Who gave wrong codes lately and never a right one, each a Noticed."""
        now = self._ticks()
        with self._turn:
            wrong = [(address, one) for address, one in self._wrong.items() if now - one.last < TOLD_FOR]
        return [
            because(
                Noticed.PAIRING_TRIED,
                address=address,
                tries=one.count,
                ago=timedelta(seconds=max(60.0, now - one.last)),
            )
            for address, one in wrong[-MOST_TOLD:]
        ]

    def new(self) -> None:
        """Show a new code, which ends the one before. Raises ShopUnavailableError."""
        code = "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
        if self._kept is not None:
            self._kept.show(code, GOOD_FOR, self._code)
        with self._turn:
            self._code = code
            self._made = self._ticks()
            for one in self._wrong.values():
                one.against_this = 0
        self._tell()

    def asked_over_the_network(self) -> None:
        """Show the code that is good once more, a new one where none is. Raises RejectedError a moment after that."""
        if self._ticks() - self._shown < BETWEEN:
            raise RejectedError({"code": because(Rejection.PAIRING_CODE_SHOWN)})
        if self.code:
            self._tell()
        else:
            self.new()

    def _tell(self) -> None:
        self._shown = self._ticks()
        if self.home:
            self._show(spaced(self._code), self.address)

    def take(self, typed: str, address: str) -> None:
        """Use the code up. Raises RejectedError when it is not the one, and after MOST_WRONG such from ``address``."""
        given = "".join(sign for sign in typed.upper() if sign.isalnum())
        place = _place(address)
        with self._turn:
            wrong = self._wrong.pop(place, WrongCodes(0, 0, 0.0))
            if self._kept is not None and self._ticks() - wrong.last > GOOD_FOR:
                wrong.against_this = 0  # no code of any server is older
            if wrong.against_this < MOST_WRONG and self._uses_up(given):
                return
            self._wrong[place] = WrongCodes(wrong.count + 1, wrong.against_this + 1, self._ticks())
            if len(self._wrong) > MOST_ADDRESSES:
                del self._wrong[next(iter(self._wrong))]
        raise RejectedError({"code": because(Rejection.PAIRING_CODE_WRONG)})

    def _uses_up(self, given: str) -> bool:
        """Whether a code is good. One that was shown here may have been used up at another server."""
        good = bool(self.code) and hmac.compare_digest(given.encode(), self.code.encode())
        if good:
            self._code = ""
        return good if self._kept is None else len(given) == LENGTH and self._kept.take(given)


def _place(address: str) -> str:
    """What counts as one address: of version 6, all that a single computer may take for itself."""
    found = ip_of(address)
    if found is None:
        return address
    return str(ip_network(f"{found}/64", strict=False)) if found.version == 6 else str(found)


def spaced(code: str) -> str:
    """A code as a person reads it: in two halves."""
    return f"{code[: LENGTH // 2]}-{code[LENGTH // 2 :]}"
