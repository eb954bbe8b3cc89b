"""The fleet put together: a database, a broker, two services, a proxy before them."""

import secrets
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from .cluster import Cluster
from .programs import Programs
from .servers import MACHINE, SERVICE, Broker, Proxy, Replica

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Fleet:
    """All that runs, in `folder`. `address`: the proxy's, the one to use."""

    folder: Path
    database: Cluster
    broker: Broker
    replicas: tuple[Replica, Replica]
    proxy: Proxy

    @property
    def address(self) -> str:
        """Where requests go."""
        return f"http://127.0.0.1:{self.proxy.port}"

    @property
    def machines_broker(self) -> str:
        """The broker's address as the machine uses it."""
        return self.broker.address(MACHINE)


@contextmanager
def fleet(programs: Programs, say: Say) -> Iterator[Fleet]:
    """A fleet that runs, in a temporary folder; stopped and removed afterwards. Raises `Refused`."""
    with tempfile.TemporaryDirectory(prefix="tipdatum-fleet-") as temporary, ExitStack() as held:
        folder = Path(temporary)
        folder.chmod(0o711)  # the database's own user has to come by
        (folder / "database").mkdir(mode=0o700)
        say(
            "Starting a database, a broker, two services and a proxy; the very first start takes a minute or so longer."
        )
        database = Cluster(folder / "database", programs.postgresql, secrets.token_urlsafe(24))
        held.callback(_end_database, database)
        database.start()
        broker = Broker(folder / "broker", programs)
        address = broker.address(SERVICE)
        one, other = (
            Replica(f"service {name}", folder / name, database.url(), address) for name in ("one", "other")
        )
        proxy = Proxy(folder / "proxy", programs, [one.port, other.port])
        for server in (broker, one, other, proxy):
            held.callback(server.stop)
            server.begin()
        for server in (broker, one, other, proxy):
            server.wait()
        yield Fleet(folder, database, broker, (one, other), proxy)


def _end_database(database: Cluster) -> None:
    if database.running:
        database.stop()
