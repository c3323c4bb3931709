"""Hands engines over to another shop while the program is open: those that changed, until every key is acknowledged.

Where to and by which token is in a file of the shop's folder, which ``evenbore hand-over`` writes.
"""

import json
import ssl
import threading
import urllib.error
import urllib.request
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime
from http.client import HTTPException
from typing import Any

from app.shop.exchange.handing import sending
from app.shop.exchange.handing.codes import HandOverProblem
from app.shop.exchange.handing.setting import Receiver, kept
from app.shop.reasons import Reason, because
from app.shop.store.both.upkeep import meanwhile
from app.shop.store.database import Database, ShopUnavailableError

PATH = "/api/hand-over"
EVERY = 180.0
"""How long it waits between two turns [s] (our judgement: a visit takes hours, and a sign-off does not wait)."""

LOOKS = 5.0
"""How often it looks for a sign-off [s]."""

PATIENCE = 60.0
"""How long an answer may take [s]: longer than any request there may."""

LONGEST_SAID = 300
"""How much of a receiver's sentence is kept."""

TASK = 0x45764F
"""Of several servers on one database, one hands over."""


class LineError(Exception):
    """The receiver did not answer, or has no access for this program: no other engine will do better now."""

    def __init__(self, problem: Reason) -> None:
        super().__init__(str(problem))
        self.problem = problem


def handing_over(shop: Database, clock: Callable[[], datetime]) -> AbstractContextManager[None]:
    """Engines are handed over meanwhile, where the shop's folder says where to."""
    return meanwhile("hand-over", lambda stop: _go_on(shop, clock, stop))


def one_turn(shop: Database, receiver: Receiver, clock: Callable[[], datetime], stop: threading.Event) -> int:
    """Hand over every engine that waits, once, and return how many the receiver acknowledged.

    Raises LineError as soon as the line is cut, ShopUnavailableError when the records are.
    """
    sending.look(shop, receiver.to)
    with shop.reading() as session:
        ids = sending.waiting(session, receiver.to)
    done = 0
    for engine_id in ids:
        if stop.is_set():
            break
        at = clock().isoformat(timespec="milliseconds")
        with shop.reading() as session:
            one = sending.parcel(session, engine_id, at)
        try:
            problem = sending.too_large(one) or _not_taken(receiver, one, stop)
        except LineError as cut:
            sending.failed(shop, receiver.to, engine_id, cut.problem, at)
            raise
        if problem is not None:
            sending.failed(shop, receiver.to, engine_id, problem, at)
        else:
            sending.acknowledged(shop, receiver.to, one, at)
            done += 1
    return done


def _not_taken(receiver: Receiver, one: sending.Parcel, stop: threading.Event) -> Reason | None:
    """Send a parcel: why the receiver does not have every key of it now, None where it has. Raises LineError."""
    status, told = _answer(receiver, one.text)
    while status == 429 and not stop.wait(1.0):
        status, told = _answer(receiver, one.text)
    if status == 200:
        has = {key for key in told.get("keys", ()) if isinstance(key, str)}
        missing = len(one.keys - has)
        return because(HandOverProblem.NOT_ALL, count=missing) if missing else None
    said = str(told.get("detail", ""))[:LONGEST_SAID]
    problem = because(HandOverProblem.REFUSED, status=status, said=said)
    if status == 401:
        raise LineError(because(HandOverProblem.TOKEN_UNKNOWN))
    if status in (403, 404, 405, 429) or status >= 500:
        raise LineError(problem)
    return problem


def _answer(receiver: Receiver, body: bytes) -> tuple[int, dict[str, Any]]:
    """Status and JSON of the receiver's answer. Raises LineError where there is none."""
    headers = {"Content-Type": "application/json", "Authorization": f"Bearer {receiver.token}"}
    asked = urllib.request.Request(receiver.to.rstrip("/") + PATH, body, headers)
    try:
        trusted = ssl.create_default_context(cadata=receiver.authority or None)
        with urllib.request.urlopen(asked, timeout=PATIENCE, context=trusted) as answer:
            status, read = answer.status, answer.read()
    except urllib.error.HTTPError as refusal:
        with refusal:
            status, read = refusal.code, _rest_of(refusal)
    except (OSError, HTTPException, ValueError) as cut:
        raise LineError(because(HandOverProblem.NO_ANSWER, why=_in_short(cut)[:LONGEST_SAID])) from cut
    try:
        told = json.loads(read)
    except ValueError:
        told = None
    if not isinstance(told, dict):
        raise LineError(because(HandOverProblem.REFUSED, status=status, said=""))
    return status, told


def _in_short(cut: Exception) -> str:
    """What the system says of a line that was cut, without the names that Python gives it."""
    inner = cut.reason if isinstance(cut, urllib.error.URLError) else cut
    return str((inner.strerror if isinstance(inner, OSError) else None) or inner)


def _rest_of(refusal: urllib.error.HTTPError) -> bytes:
    try:
        return refusal.read()
    except (OSError, HTTPException):
        return b""


def _go_on(shop: Database, clock: Callable[[], datetime], stop: threading.Event) -> None:
    signed, left, before = -1, 0.0, None
    while not stop.is_set():
        receiver = kept(shop.folder)
        if receiver != before:
            before, left = receiver, 0.0  # another address or token is tried at once
        if receiver is not None:
            try:
                with shop.reading() as session:
                    newest = sending.newest_sign_off(session)
                if newest != signed or left <= 0:
                    signed, left = newest, EVERY
                    with shop.alone(TASK) as mine:
                        if mine:
                            one_turn(shop, receiver, clock, stop)
            except (LineError, ShopUnavailableError):
                pass  # kept with the engine; tried again at the next turn
        stop.wait(LOOKS)
        left -= LOOKS
