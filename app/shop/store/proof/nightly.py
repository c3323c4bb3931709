"""The proof of every row that is made once a night while the program runs, and what it found told."""

from collections.abc import Callable
from datetime import datetime

from app.shop.reasons import Reason
from app.shop.store.database import Database, raw_connection
from app.shop.store.integrity import damage_of
from app.shop.store.proof import proving
from app.shop.store.proof.proving import Proof


class NightlyProof:
    """Proves the rows of a shop that is in use.

    Parameters: ``clock`` tells the time; ``tell`` is told what is wrong; ``named`` makes of what is wrong what is told
    and stands on the first page.
    """

    def __init__(
        self,
        shop: Database,
        clock: Callable[[], datetime],
        tell: Callable[[Reason], None],
        named: Callable[[Reason], Reason],
    ) -> None:
        self._shop = shop
        self._clock = clock
        self._tell = tell
        self._named = named
        self._damaged_at: datetime | None = None

    def begin(self) -> None:
        """Prove the rows that were never proved. Raises ShopUnavailableError."""
        with self._shop.reading() as session:
            proof = proving.prove(raw_connection(session), since=True)
        with self._shop.writing() as session:
            proving.note(raw_connection(session), proof, self._clock())
        self._say(proof)

    def look(self, stopped: Callable[[], bool]) -> Proof | None:
        """Prove every row where that was not done since the last night; None where it was, or ``stopped`` before.

        Damage that this run of the program found is not looked for again until the next night. Raises
        ShopUnavailableError.
        """
        now = self._clock()
        if self._damaged_at is not None and not proving.night_since(self._damaged_at, now.astimezone()):
            return None
        with self._shop.reading() as session:
            due = proving.whole_is_due(proving.known(raw_connection(session)), now.astimezone())
        proof = proving.prove_whole(self._shop, now, stopped) if due else None
        if proof is not None:
            self._say(proof)
        return proof

    def _say(self, proof: Proof) -> None:
        self._damaged_at = None
        if (damage := damage_of(proof)) is not None:
            told = self._named(damage)
            self._damaged_at = self._clock()
            self._shop.noticed = [one for one in self._shop.noticed if one.code is not told.code] + [told]
            self._tell(told)
