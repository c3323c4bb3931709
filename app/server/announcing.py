"""The name that tablets open the program under, announced on the shop's network by multicast DNS (RFC 6762, 6763).

A number from the router changes and no one remembers it. Where the name is already another computer's, the next one
with a number is taken, and kept for the starts to come, so that what a tablet holds stays with the shop it came from.
Of two computers that take a name at the same time one gives it up again.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from socket import inet_aton
from typing import TYPE_CHECKING

from app.server.network import lan_address
from app.wording.message import say
from app.wording.program import cli

if TYPE_CHECKING:
    from zeroconf import Zeroconf

NAMES = ("evenbore.local", *(f"evenbore-{number}.local" for number in range(2, 10)))
"""What the program may be called, the first that is free. More than nine on one network are not to be expected: our
judgement."""

SERVICE = "_http._tcp.local."
"""Pages of a web server (RFC 6763, 7; IANA's registry of service names)."""

ASKED_FOR = 1500
"""How long a name is asked for before it counts as free [ms]. A host that has it answers within a quarter of a second
(RFC 6762, 6: 20 to 120 ms where it may be shared, at once where it is its own): our judgement for a slow network."""

LOOKED_AGAIN = 10.0
"""How often the computer's address is looked at [s]: the network may come after the program, and numbers change."""

LOST_WITHIN = 1.0
"""How long after its announcement a name may still turn out to be announced by a computer that started at the same time
[s]: its probes take most of a second (RFC 6762, 8.1), and none of them is an answer."""

SETTLED_WITHIN = 10.0
"""How long a start waits for the name, so that the picture a tablet scans has it [s]."""


class Announcer:
    """Keeps the program's name announced while it is open, and tells the person what became of it.

    Parameters: ``port`` where it listens and ``scheme`` that its addresses begin with; ``kept`` is the file that holds
    the name of the last start; ``tell`` shows a line; ``address`` says this computer's address on its network, None
    when it has none.
    """

    def __init__(
        self,
        port: int,
        scheme: str,
        kept: Path,
        tell: Callable[[str], None],
        address: Callable[[], str | None] = lan_address,
    ) -> None:
        self.hosts: set[str] = set()
        self.name = ""
        self._port = port
        self._scheme = scheme
        self._settled = threading.Event()
        self._kept = kept
        self._tell = tell
        self._address = address
        self._told: set[str] = set()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._watch)

    @property
    def home(self) -> str:
        """The address by name, empty while no name is announced."""
        return f"{self._scheme}://{self.name}:{self._port}/" if self.name else ""

    def start(self) -> None:
        """Announce from now on."""
        self._thread.start()

    def wait(self) -> None:
        """Until the name is announced or known to be impossible, at most SETTLED_WITHIN."""
        self._settled.wait(SETTLED_WITHIN)

    def stop(self) -> None:
        """Tell the network that the name is free again."""
        self._over.set()
        self._thread.join()

    def _watch(self) -> None:
        """Announce at the address that the computer has, and anew at each other one and once the name is lost."""
        at: str | None = None
        network: Zeroconf | None = None
        while True:
            address = self._address()
            lost = network is not None and at is not None and _lost(network, self.name, at)
            anew = address != at or lost
            if anew:
                _leave(network)
                if lost:
                    self.hosts.discard(self.name)
                self.name = ""
                network = self._announced(address) if address else None
                at = address if network else None
            if network is None or not anew:
                if network is not None:
                    self._tell_once(say(cli.OPEN_BY_NAME, address=self.home))
                self._settled.set()
            if self._over.wait(LOST_WITHIN if network is not None and anew else LOOKED_AGAIN):
                break
        _leave(network)

    def _announced(self, address: str) -> "Zeroconf | None":
        """What keeps the name announced at ``address``; None, and told, where the network does not carry it."""
        from zeroconf import Error, Zeroconf

        network = None
        try:
            network = Zeroconf(interfaces=[address])
            name, taken = _free(network, address, self._last())
            if name:
                _register(network, name, address, self._port)
        except (OSError, RuntimeError, Error) as error:
            _leave(network)
            self._tell_once(say(cli.NAME_NOT_ANNOUNCED, name=NAMES[0], why=error))
            return None
        if taken:
            self._tell_once(say(cli.NAMES_TAKEN if not name else cli.NAME_TAKEN, taken=taken, name=name))
        if not name:
            _leave(network)
            return None
        self.hosts.add(name)
        self.name = name
        with suppress(OSError):  # then the next start asks for the first name again
            self._kept.write_text(name)
        return network

    def _tell_once(self, line: str) -> None:
        """What is tried again is told once."""
        if line not in self._told:
            self._told.add(line)
            self._tell(line)

    def _last(self) -> str:
        """The name of the last start, the first of NAMES where none is kept."""
        try:
            last = self._kept.read_text().strip()
        except (OSError, UnicodeDecodeError):
            last = ""
        return last if last in NAMES else NAMES[0]


def _free(network: "Zeroconf", address: str, last: str) -> tuple[str, str]:
    """The first name, from ``last`` on, that no other computer has, and the last one that another was found to have.

    Either is empty when there is none.
    """
    from zeroconf import AddressResolverIPv4  # type: ignore[attr-defined]  # documented, and not in __all__

    taken = ""
    for name in (last, *(one for one in NAMES if one != last)):
        asked = AddressResolverIPv4(f"{name}.")
        if not asked.request(network, ASKED_FOR) or asked.parsed_addresses() == [address]:
            return name, taken
        taken = name
    return "", taken


def _register(network: "Zeroconf", name: str, address: str, port: int) -> None:
    """Answer for ``name`` from now on, and list the program among the network's web servers."""
    from zeroconf import ServiceInfo

    instance = f"{name.removesuffix('.local')}.{SERVICE}"
    info = ServiceInfo(
        SERVICE, instance, port=port, properties={"path": "/"}, server=f"{name}.", addresses=[inet_aton(address)]
    )
    network.register_service(info, allow_name_change=True)


def _lost(network: "Zeroconf", name: str, address: str) -> bool:
    """Whether another computer announces ``name`` too, and keeps it.

    The greater address keeps a name that two took at the same time (RFC 6762, 8.2: the lexicographically later data).
    """
    from zeroconf import DNSAddress, current_time_millis  # type: ignore[attr-defined]  # as above

    now = current_time_millis()
    held = [one for one in network.cache.entries_with_name(f"{name}.") if not one.is_expired(now)]
    own = inet_aton(address)
    return any(len(one.address) == len(own) and one.address > own for one in held if isinstance(one, DNSAddress))


def _leave(network: "Zeroconf | None") -> None:
    if network is not None:
        network.close()


@contextmanager
def announcing(announcer: Announcer) -> Iterator[Announcer]:
    """Its name is announced meanwhile."""
    announcer.start()
    try:
        yield announcer
    finally:
        announcer.stop()
