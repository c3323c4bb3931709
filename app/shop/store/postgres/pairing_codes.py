"""The codes that the servers of one shop show, kept as hashes: a tablet may give one at any of them, once."""

from argon2.low_level import Type, hash_secret_raw

from app.shop.store.database import Database, raw_connection

SALT = b"evenbore pairing code"
"""The same for all: a code is found by its hash. It is good for minutes, and one guess at it takes as long as a PIN."""

OVER = "DELETE FROM pairing_code WHERE good_until < extract(epoch FROM clock_timestamp()) OR hash = ?"
ADDED = "INSERT INTO pairing_code (hash, good_until) VALUES (?, extract(epoch FROM clock_timestamp()) + ?::float8)"
GOOD = "SELECT 1 FROM pairing_code WHERE hash = ? AND good_until >= extract(epoch FROM clock_timestamp())"
"""By the clock of the database: those of two servers may differ."""


class PairingCodes:
    """The codes of one shop that are good now."""

    def __init__(self, shop: Database) -> None:
        self._shop = shop

    def show(self, code: str, seconds: float, before: str = "") -> None:
        """Let ``code`` be good for so long [s], and ``before`` no longer. Raises ShopUnavailableError."""
        kept, old = _hashed(code), _hashed(before) if before else ""
        with self._shop.writing() as session:
            wire = raw_connection(session)
            wire.execute(OVER, (old,))
            wire.execute(ADDED, (kept, seconds))

    def take(self, code: str) -> bool:
        """Use a code up: whether it was good. Raises ShopUnavailableError."""
        kept = _hashed(code)
        with self._shop.writing() as session:
            wire = raw_connection(session)
            good = wire.execute(GOOD, (kept,)).fetchone() is not None
            wire.execute("DELETE FROM pairing_code WHERE hash = ?", (kept,))
        return good


def _hashed(code: str) -> str:
    """As slow as that of a PIN: Argon2id with the least that OWASP's password storage cheat sheet asks for."""
    return hash_secret_raw(code.encode(), SALT, 2, 19 * 1024, 1, 32, Type.ID).hex()
