"""The sender's end of the readings door: a WebSocket that answers clock questions at once, reads what it is told, and
comes back with growing pauses after a disconnect. What was sent is never sent again."""

import json
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from typing import Any
from urllib.parse import quote

from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidStatus, InvalidURI
from websockets.sync.client import ClientConnection, connect

from kinematics.errors import Fault, Refused, refuse
from service.clock import seconds
from service.text import shown

from .address import address_faults
from .any_feeder import AGAIN, GREETED_WITHIN_S, MOST_IN_FRAME, TOLD_WITHIN_S, AnyFeeder, Say, told

FIRST_PAUSE_S, LONGEST_PAUSE_S, GIVE_UP_S = 0.25, 8.0, 60.0
CLOSED_WITHIN_S = 2.0


class Feeder(AnyFeeder):
    """Feeds readings to one job over a WebSocket of its own.

    Readings of a frame during which the connection broke are `lost`, since nobody knows whether they arrived.
    """

    def __init__(
        self, address: str, job: str, token: str | None = None, say: Say = lambda _: None,
        clock: Callable[[], float] = seconds, give_up_s: float = GIVE_UP_S, first_pause_s: float = FIRST_PAUSE_S,
    ) -> None:  # fmt: skip
        self.url = door(address, job)
        self._headers = {} if token is None else {"Authorization": f"Bearer {token}"}
        super().__init__(say, clock)
        self._give_up_s, self._first_pause_s = give_up_s, first_pause_s
        self._socket: ClientConnection | None = None
        self._reader: threading.Thread | None = None
        self._greeted = threading.Event()

    def ready(self, give_up_s: float | None = None) -> float:
        """Be connected and greeted; the seconds that had to be waited for it, 0 where it was so already.

        Raises `Refused`: "no-service" after `give_up_s` (else the feeder's own) without an answer, what the service said
        before it closed, or in what the map does not fit, once `expect` was called.
        """
        if self.connected:
            self._raise_if_over()
            return 0.0
        give_up_s = self._give_up_s if give_up_s is None else give_up_s
        began = time.monotonic()
        pause = self._first_pause_s
        while True:
            self._raise_if_over()
            why = self._try()
            if not why:
                return time.monotonic() - began
            self._raise_if_over()
            if time.monotonic() - began + pause > give_up_s:
                raise Refused([
                    Fault("no-service", "--to", f"{self.url}: {why}", "a running service",
                          "start one with: tipdatum serve")
                ])  # fmt: skip
            self._say(f"Not connected ({why}); again in {pause:g} s.")
            time.sleep(pause)
            pause = min(2.0 * pause, LONGEST_PAUSE_S)

    def send(self, readings: Sequence[Mapping[str, Any]]) -> bool:
        """Send readings, each with its time on this feeder's clock; False where the connection broke meanwhile."""
        self._raise_if_over()
        for i in range(0, len(readings), MOST_IN_FRAME):
            some = readings[i : i + MOST_IN_FRAME]
            what: Any = some[0] if len(some) == 1 else {"readings": some}
            socket = self._socket
            try:
                if socket is None:
                    raise ConnectionError
                socket.send(json.dumps(what, allow_nan=False, separators=(",", ":")))
            except (ConnectionClosed, ConnectionError):
                self.lost += len(readings) - i
                self._raise_if_over()
                return False
            self.sent += len(some)
        return True

    def settle(self) -> None:
        """Wait until the service has had time to say what of the last it refused: it says so once a second."""
        if self.connected and self._reader is not None:
            self._reader.join(timeout=TOLD_WITHIN_S)  # ends by itself only where the connection does

    def close(self) -> None:
        """Close the connection."""
        socket, reader = self._socket, self._reader
        if socket is not None:
            socket.close()
        if reader is not None:
            reader.join(timeout=GREETED_WITHIN_S)

    @property
    def connected(self) -> bool:
        """Whether it is connected and greeted."""
        return self._socket is not None and self._greeted.is_set()

    def _try(self) -> str:
        """One attempt; why it failed, "" where it did not."""
        if self._reader is not None:
            self._reader.join(timeout=GREETED_WITHIN_S)
        self._greeted.clear()
        held = ExitStack()
        try:
            socket = held.enter_context(
                connect(
                    self.url,
                    additional_headers=self._headers,
                    proxy=None,
                    open_timeout=GREETED_WITHIN_S,
                    close_timeout=CLOSED_WITHIN_S,
                )
            )
        except InvalidStatus as error:
            return self._turned_away(error)
        except (OSError, InvalidHandshake, InvalidURI, EOFError) as error:
            return str(error) or type(error).__name__
        self._before += self._now
        self._now = Counter()
        self._socket = socket
        self.connections += 1
        self._reader = threading.Thread(target=self._listen, args=(socket, held), daemon=True)
        self._reader.start()
        if not self._greeted.wait(GREETED_WITHIN_S) or not self.connected:
            socket.close()
            return "the service did not greet"
        if self.connections > 1:
            self._say("Connected again.")
        return ""

    def _turned_away(self, error: InvalidStatus) -> str:
        status = error.response.status_code
        try:
            problem = json.loads(error.response.body or b"")
        except ValueError:
            problem = None
        if 400 <= status < 500 and status not in AGAIN:
            self._over = told(problem, f"status {status}")
        return f"status {status}"

    # What the service says, on the reader's thread.

    def _listen(self, socket: ClientConnection, held: ExitStack) -> None:
        try:
            for text in socket:
                if not self._hear(socket, text):
                    break
        except ConnectionClosed:
            pass
        except (TypeError, AttributeError, LookupError) as error:
            self._over = Refused([Fault("no-service", "--to", repr(error), "the words of this service")])
        finally:
            self._socket = None
            self._greeted.set()  # whoever waits looks again
            held.close()

    def _hear(self, socket: ClientConnection, text: str | bytes) -> bool:
        """One frame; False where nothing more is to be had from it."""
        try:
            said = json.loads(text)
        except ValueError:
            said = None
        if not isinstance(said, dict):
            self._over = Refused([Fault("no-service", "--to", shown(str(text)), "the words of this service")])
            return False
        if "clock" in said:
            socket.send(json.dumps({"clock": said["clock"], "at_s": self.clock()}))
        if "welcome" in said:
            if not self._hear_welcome(said["welcome"]):
                return False
            self._greeted.set()
        if "refused" in said:
            self._now = Counter(said.get("counts", {}))
            self._tell_refused(said["refused"])
        if "strike" in said:
            self._hear_strike(said["strike"])
        if "problem" in said:
            self._hear_problem(said["problem"])
            return False
        return True


def door(address: str, job: str) -> str:
    """The address of a job's readings door: http://pit:8311 gives ws://pit:8311/v1/jobs/JOB/readings.

    Raises `Refused` "bad-option" for what is no address.
    """
    refuse(address_faults(address))
    return f"ws{address.rstrip('/').removeprefix('http')}/v1/jobs/{quote(job, safe='')}/readings"
