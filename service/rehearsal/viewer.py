"""Somebody who looks at a job's readouts through the proxy, and comes back where the stream breaks."""

import json
import threading
import time
from itertools import pairwise
from typing import Any
from urllib.parse import quote

from websockets.exceptions import ConnectionClosed, InvalidHandshake
from websockets.sync.client import ClientConnection, connect

Message = dict[str, Any]
RATE_HZ, AGAIN_S, PATIENCE_S, SILENT_S = 5.0, 0.25, 10.0, 3.0
"""Something comes once a second; without a word for so long it comes back."""


class Viewer:
    """Watches one target on a thread of its own. `seen`: what it was told, each with the time it came at; `breaks`: how
    often it had to come back; `of`: the service it is attached to, as that calls itself, "" while to none."""

    def __init__(self, address: str, job: str, target: str | None = None) -> None:
        self._url = f"ws{address.removeprefix('http')}/v1/jobs/{job}/readouts/live"
        self.target = target
        self.seen: list[tuple[float, Message]] = []
        self.breaks, self.of = 0, ""
        self._over = False
        self._attached = threading.Condition()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def attached(self, within_s: float = PATIENCE_S) -> str:
        """The service it is attached to, once it is; "" after so long."""
        with self._attached:
            self._attached.wait_for(lambda: self.of, timeout=within_s)
        return self.of

    def end(self) -> None:
        """Look no more."""
        self._over = True
        self._thread.join(PATIENCE_S)

    def shown(self) -> list[tuple[float, Message]]:
        """Of what it was told, what had a number."""
        return [(at, each) for at, each in list(self.seen) if each.get("readout") is not None]

    def blank_s(self, since: float, until: float) -> float:
        """The longest time without a number between two moments of `time.monotonic`."""
        times = [since, *(at for at, _ in self.shown() if since <= at <= until), until]
        return max(later - earlier for earlier, later in pairwise(times))

    def _watch(self) -> None:
        asked = f"?rate_hz={RATE_HZ:g}"
        while not self._over:
            try:
                # A target's name is an option of the address, spelled as such.
                with connect(
                    self._url + asked + _option(self.target), proxy=None, open_timeout=PATIENCE_S
                ) as wire:
                    wire.send('{"clock": 1}')
                    self._listen(wire)
            except (OSError, InvalidHandshake, ConnectionClosed, TimeoutError, EOFError):
                pass
            self.of = ""
            if not self._over:
                self.breaks += 1
                time.sleep(AGAIN_S)

    def _listen(self, wire: ClientConnection) -> None:
        while not self._over:
            said = json.loads(wire.recv(timeout=SILENT_S))
            if "clock" in said:
                with self._attached:
                    self.of = said["of"]
                    self._attached.notify_all()
            else:
                self.seen.append((time.monotonic(), said))


def _option(target: str | None) -> str:
    return "" if target is None else f"&target={quote(target, safe='')}"
