"""Proves the rows of the records on a server: by a check all of them, at a start the new ones, in the night all."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from app.shop.reasons import Reason, because
from app.shop.store.both.upkeep import ToldOnce, meanwhile
from app.shop.store.database import Database, ShopUnavailableError, raw_connection
from app.shop.store.integrity import damage_of
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.opening import server_name
from app.shop.store.postgres.server import PROVE, ServerDatabase
from app.shop.store.proof import proving
from app.shop.store.proof.nightly import NightlyProof

LOOK_AGAIN_SECONDS = 60.0
"""How often it is asked whether a proof is due."""


@dataclass(frozen=True, slots=True)
class ServerHealth:
    """What was found: ``size`` in bytes, how many rows are ``sound``, and what is wrong, None for nothing."""

    server: str
    version: str
    size: int
    sound: int
    damage: Reason | None


def look(shop: Database) -> ServerHealth:
    """Check the records of one moment without changing any. Raises ShopUnavailableError."""
    assert isinstance(shop, ServerDatabase)
    with shop.reading() as session:
        wire = raw_connection(session)
        (size,) = wire.execute("SELECT pg_database_size(current_database())").fetchone()
        (version,) = wire.execute("SELECT current_setting('server_version')").fetchone()
        proof = proving.prove(wire)
    found = damage_of(proof)
    damage = None if found is None else damaged(shop, found)
    return ServerHealth(server_name(shop.address), str(version).split()[0], int(size), proof.sound, damage)


def damaged(shop: ServerDatabase, found: Reason) -> Reason:
    """What is told of damage that was ``found``."""
    return because(ServerProblem.ROWS_CHANGED, server=server_name(shop.address), found=found)


@contextmanager
def proving_nightly(
    shop: ServerDatabase, clock: Callable[[], datetime], tell: Callable[[Reason], None]
) -> Iterator[None]:
    """Until the block is left the rows that were never proved are, and once a night all: by one of the programs.

    What is wrong is told, and stands on the first page of the program that found it; each program looks then.
    """
    with meanwhile("proof", partial(_prove, shop, clock, tell)):
        yield


def _prove(
    shop: ServerDatabase, clock: Callable[[], datetime], tell: Callable[[Reason], None], stop: threading.Event
) -> None:
    nightly = NightlyProof(shop, clock, tell, lambda found: damaged(shop, found))
    begun, told = False, ToldOnce(tell)
    while not stop.is_set():
        try:
            with shop.alone(PROVE) as mine:
                if mine and not begun:
                    nightly.begin()
                    begun = True
                if mine:
                    nightly.look(stop.is_set)
        except ShopUnavailableError as error:  # the server is away; it is tried again
            told.trouble(error.reason)
        stop.wait(LOOK_AGAIN_SECONDS)
