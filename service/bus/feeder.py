"""The sender's end of the readings door: a WebSocket that answers clock questions at once, reads what it is told, and
comes back with growing pauses after a disconnect. What was sent is never sent again."""

import json
import re
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from types import TracebackType
from typing import Any, Self
from urllib.parse import quote

from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidStatus, InvalidURI
from websockets.sync.client import ClientConnection, connect

from kinematics.errors import Fault, Refused, refuse
from service.text import shown

from .address import address_faults
from .entries import Entry
from .expecting import misfits
from .tallies import AGAIN_S, MOST_PLACES

MOST_IN_FRAME = 500
"""Readings in one frame; the longest takes some 100 bytes of the 65536 that a frame may have."""
FIRST_PAUSE_S, LONGEST_PAUSE_S, GIVE_UP_S = 0.25, 8.0, 60.0
GREETED_WITHIN_S, CLOSED_WITHIN_S = 10.0, 2.0
TOLD_WITHIN_S = 1.5
_AGAIN = frozenset({408, 425, 429})
_FIGURES = re.compile(r"[\d.]+")
Say = Callable[[str], None]


class Feeder:
    """Feeds readings to one job. A context manager; `ready` before `send`.

    `welcome`: what the service said it expects. `refused`: readings refused, by code, over all connections. `strikes`:
    what it said of each pass through the laser plane. `sent`, `lost` readings: lost are those of a frame during which the
    connection broke, since nobody knows whether they arrived.
    """

    def __init__(
        self, address: str, job: str, token: str | None = None, say: Say = lambda _: None,
        clock: Callable[[], float] = time.monotonic, give_up_s: float = GIVE_UP_S, first_pause_s: float = FIRST_PAUSE_S,
    ) -> None:  # fmt: skip
        self.url = door(address, job)
        self._headers = {} if token is None else {"Authorization": f"Bearer {token}"}
        self._say, self.clock = say, clock
        self._give_up_s, self._first_pause_s = give_up_s, first_pause_s
        self._socket: ClientConnection | None = None
        self._reader: threading.Thread | None = None
        self._greeted = threading.Event()
        self._welcomed = threading.Condition()
        self._over: Refused | None = None
        self._before: Counter[str] = Counter()
        self._now: Counter[str] = Counter()
        self._expected: Callable[[Mapping[str, Any]], tuple[Fault, ...]] = lambda _: ()
        self._told_s: dict[str, float] = {}
        self.welcome: dict[str, Any] = {}
        self.strikes: list[dict[str, Any]] = []
        self.connections = self.sent = self.lost = 0

    @property
    def refused(self) -> dict[str, int]:
        """Readings that the service refused, by code."""
        return dict(self._before + self._now)

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

    def expect(self, entries: Sequence[Entry], *, partly: bool = False, receiver: bool = False) -> None:
        """Hold a map of sensors against the machine on the job, all faults at once; after `ready`, before `send`.

        `feeder.expect(map.entries, receiver=map.receiver is not None)`. `partly`: somebody else feeds the machine's other
        sensors. Raises `Refused` as `misfits`. From then on every later welcome is held against it too: where the map
        does not fit, `ready` and `send` raise the reason and nothing more is sent.
        """

        def faults(welcome: Mapping[str, Any]) -> tuple[Fault, ...]:
            return tuple(misfits(welcome, entries, partly=partly, receiver=receiver))

        with self._welcomed:
            self._expected = faults
            found = faults(self.welcome)
        refuse(found)

    @property
    def latencies_s(self) -> dict[str, float]:
        """The latency of each sensor that the service takes off by itself; 0 of an older service, which does not say."""
        sensors: Mapping[str, Mapping[str, Any]] = self.welcome.get("sensors", {})
        return {name: float(each.get("latency_s", 0.0)) for name, each in sensors.items()}

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

    def welcomed_as(
        self, good: Callable[[Mapping[str, Any]], bool], within_s: float = GREETED_WITHIN_S
    ) -> bool:
        """Wait for a welcome of this kind: a machine that was just put on the job is told a moment later."""
        with self._welcomed:
            return self._welcomed.wait_for(lambda: good(self.welcome), timeout=within_s)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        socket, reader = self._socket, self._reader
        if socket is not None:
            socket.close()
        if reader is not None:
            reader.join(timeout=GREETED_WITHIN_S)

    @property
    def connected(self) -> bool:
        """Whether it is connected and greeted."""
        return self._socket is not None and self._greeted.is_set()

    def _raise_if_over(self) -> None:
        if self._over is not None:
            raise self._over

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
        if 400 <= status < 500 and status not in _AGAIN:
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
            with self._welcomed:
                self.welcome = said["welcome"]
                faults = self._expected(self.welcome)
                self._welcomed.notify_all()
            if faults:
                self._over = Refused(faults)
                return False
            self._greeted.set()
        if "refused" in said:
            self._now = Counter(said.get("counts", {}))
            self._tell_refused(said["refused"])
        if "strike" in said:
            self.strikes.append(said["strike"])
            self._say(_strike(said["strike"]))
        if "problem" in said:
            problem = said["problem"]
            if not (
                problem.get("status", 0) >= 500 or problem.get("status") in _AGAIN or _half_open(problem)
            ):
                self._over = told(problem, "a connection it closed")
            return False
        return True

    def _tell_refused(self, refused: Sequence[Mapping[str, Any]]) -> None:
        """Each kind once, then at most every 30 s with the count of its code: it comes anew each second."""
        now, counts = self.clock(), self.refused
        for each in refused:
            code, found = str(each.get("code")), str(each.get("found"))
            kind = f"{code} {_FIGURES.sub('', found)}"
            if len(self._told_s) >= MOST_PLACES:
                kind = code
            told = self._told_s.get(kind)
            if told is not None and now - told < AGAIN_S:
                continue
            self._told_s[kind] = now
            again = "" if told is None else f"; {counts.get(code, 0)} readings of {code} by now"
            self._say(f"Refused {code}: expected {each.get('expected')}, found {found}{again}")


def door(address: str, job: str) -> str:
    """The address of a job's readings door: http://pit:8311 gives ws://pit:8311/v1/jobs/JOB/readings.

    Raises `Refused` "bad-option" for what is no address.
    """
    refuse(address_faults(address))
    return f"ws{address.rstrip('/').removeprefix('http')}/v1/jobs/{quote(job, safe='')}/readings"


def told(problem: Any, otherwise: str) -> Refused:
    """A problem document as what is refused; `otherwise` where it is none."""
    errors = problem.get("errors") if isinstance(problem, dict) else None
    if not errors:
        found = problem.get("title", otherwise) if isinstance(problem, dict) else otherwise
        return Refused([Fault("no-service", "--to", str(found), "the answer of this service")])
    return Refused(
        Fault(
            e.get("code", ""),
            e.get("pointer", ""),
            e.get("found", ""),
            e.get("expected", ""),
            e.get("advice", ""),
        )
        for e in errors
    )


def _half_open(problem: Mapping[str, Any]) -> bool:
    return any(each.get("code") == "half-open" for each in problem.get("errors", ()))


def _strike(strike: Mapping[str, Any]) -> str:
    because = "; ".join(
        f"{why.get('found')} (expected {why.get('expected')})" for why in strike.get("because", ())
    )
    number = strike.get("seq")
    if strike.get("verdict") == "crossed once":
        return "The receiver crossed the plane; the way back makes it one strike of two crossings."
    return f"Strike{'' if number is None else f' {number}'}: {strike.get('verdict')}" + (
        f", {because}" if because else ""
    )
