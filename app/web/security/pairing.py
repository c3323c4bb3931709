"""The code that lets one more tablet in: shown on the shop computer's own screen, good once and for ten minutes.

It lives in the memory of this process and nowhere else. A tablet that has given it gets a token of its own.
"""

import hmac
import secrets
import threading
import time
from collections.abc import Callable

from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.shop.rejections import Rejection

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
"""What a code is made of: 32 signs, none of which is easily taken for another."""

LENGTH = 8
"""Eight signs of 32 are 40 bits."""

GOOD_FOR = 600.0
"""How long a code is good [s]."""

MOST_WRONG = 5
"""How many wrong codes end the one that is shown."""

BETWEEN = 10.0
"""The least time between two codes asked for over the network [s]."""


class Pairing:
    """One code at a time.

    Parameters: ``home``, the address that a tablet opens, empty when the program is open to this computer only;
    ``show``, told each new code and the address with it in; ``ticks``, seconds of a clock that cannot be set.
    """

    def __init__(
        self,
        home: str = "",
        show: Callable[[str, str], None] = lambda code, address: None,
        ticks: Callable[[], float] = time.monotonic,
    ) -> None:
        self.home = home
        self._show = show
        self._ticks = ticks
        self._turn = threading.Lock()
        self._code = ""
        self._made = -GOOD_FOR
        self._wrong = 0

    @property
    def code(self) -> str:
        """The code that is good now, empty when there is none."""
        return self._code if self._ticks() - self._made < GOOD_FOR else ""

    @property
    def address(self) -> str:
        """Where a tablet gives the code. The part after # is not sent to the server, so no log can hold it."""
        return f"{self.home}pair#{self.code}"

    def new(self) -> None:
        """Show a new code, which ends the one before."""
        with self._turn:
            self._code = "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
            self._made = self._ticks()
            self._wrong = 0
        self._show(spaced(self._code), self.address)

    def asked_over_the_network(self) -> None:
        """Show a new code unless one was shown a moment ago. Raises RejectedError."""
        if self._ticks() - self._made < BETWEEN:
            raise RejectedError({"code": because(Rejection.PAIRING_CODE_SHOWN)})
        self.new()

    def take(self, typed: str) -> None:
        """Use the code up. Raises RejectedError when it is not the one, and ends it after MOST_WRONG of those."""
        given = "".join(sign for sign in typed.upper() if sign.isalnum())
        with self._turn:
            good = self.code
            right = bool(good) and hmac.compare_digest(given.encode(), good.encode())
            if right:
                self._code = ""
                return
            self._wrong += 1
            if self._wrong >= MOST_WRONG:
                self._code = ""
        raise RejectedError({"code": because(Rejection.PAIRING_CODE_WRONG)})


def spaced(code: str) -> str:
    """A code as a person reads it: in two halves."""
    return f"{code[: LENGTH // 2]}-{code[LENGTH // 2 :]}"
