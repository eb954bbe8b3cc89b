"""What ended of a fleet is started again, after a while in which one can see what happens without it."""

import threading
import time
from types import TracebackType
from typing import ClassVar, Self

from kinematics.errors import Refused

from .cluster import Cluster
from .fleet import Fleet, Say
from .servers import Server

LOOK_EVERY_S = 1.0


class KeepingUp:
    """Looks after a fleet on a thread of its own. A context manager."""

    after_s: ClassVar[float] = 20.0

    def __init__(self, fleet: Fleet, say: Say) -> None:
        self._say = say
        self._parts: tuple[Cluster | Server, ...] = (
            fleet.database,
            fleet.broker,
            *fleet.replicas,
            fleet.proxy,
        )
        self._gone: dict[str, float] = {}
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look_after, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join()

    def _look_after(self) -> None:
        while not self._over.wait(LOOK_EVERY_S):
            now = time.monotonic()
            for part in self._parts:
                if part.running:
                    continue
                name = f"{part.name[0].upper()}{part.name[1:]}"
                if name not in self._gone:
                    self._gone[name] = now
                    self._say(f"{name} has ended; it is started again in {self.after_s:g} s.")
                elif now - self._gone[name] >= self.after_s:
                    try:
                        part.start()
                        del self._gone[name]
                        self._say(f"{name} is there again, process {part.pid}.")
                    except Refused as refused:
                        self._gone[name] = now
                        self._say(str(refused))
