"""A live bus, listened to: frames stamped as they come, by a thread that survives whatever the interface does.

Nothing is ever sent. Where python-can can set an interface to listen only, it is. J1939 runs at 250 or 500 kbit/s. Tried
with python-can's virtual interface alone.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from importlib.util import find_spec
from types import TracebackType
from typing import Any, Self

from kinematics.errors import Fault, Refused, refuse
from service.clock import seconds
from service.text import plain, shown

from .any_feeder import Say
from .frames import Frame, frame_of

MOST_WAITING = 20_000
"""Frames: ten seconds of a bus of 250 kbit/s that is full (some 2000 frames/s)."""
BATCH_S = 0.005
FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.25, 8.0
LOWEST_BITRATE, HIGHEST_BITRATE = 10_000, 1_000_000
_LOOK_S = 0.1
_CLOSED_WITHIN_S = 5.0
_QUIET: Mapping[str, Mapping[str, Any]] = {
    "slcan": {"listen_only": True}, "vector": {"listen_only": True}, "nixnet": {"listen_only": True},
    "cantact": {"monitor": True}, "seeedstudio": {"operation_mode": "silent"}, "kvaser": {"driver_mode": False},
}  # fmt: skip
_SERIAL = ("serial", "pyserial")
_PACKAGES: Mapping[str, tuple[str, str]] = {
    "udp_multicast": ("msgpack", "msgpack"), "slcan": _SERIAL, "seeedstudio": _SERIAL, "robotell": _SERIAL,
    "serial": _SERIAL, "cantact": ("cantact", "cantact"), "canalystii": ("canalystii", "canalystii"),
    "gs_usb": ("gs_usb", "gs-usb"), "neovi": ("ics", "python-ics"),
}  # fmt: skip
"""By interface of python-can the module it wants besides, and the package that has it, as its own extras name them."""
_PASSIVE = frozenset({"pcan", "systec"})


class LiveBus:
    """A bus by "INTERFACE:CHANNEL". A context manager; `take` gives what came.

    `dropped`: frames for which there was no room, the oldest first. `opened`: how often. `trouble`: why it is not open.
    Raises `Refused`: "bad-option"; on entering "bus-failed" where it cannot be opened at all.
    """

    def __init__(
        self, words: str, *, bitrate: int | None = None, say: Say = lambda _: None,
        clock: Callable[[], float] = seconds, first_pause_s: float = FIRST_PAUSE_S,
    ) -> None:  # fmt: skip
        self._interface, _, self._channel = words.partition(":")
        refuse(_option_faults(words, bitrate))
        self._bitrate, self._say, self._clock, self._first_pause_s = bitrate, say, clock, first_pause_s
        self._frames: deque[Frame] = deque()
        self._came = threading.Condition()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._bus: Any = None
        self.dropped = self.opened = 0
        self.trouble = ""

    def __enter__(self) -> Self:
        try:
            self._bus = self._open()
        except Exception as error:  # each driver has faults of its own
            found = f"{self._interface}:{self._channel}: {_words(error)}"
            advice = (
                lacking(self._interface)
                or "such as socketcan:can0 on Linux, brought up first; see /guide/bus"
            )
            raise Refused(
                [Fault("bus-failed", "--bus", found, "an interface and channel of python-can", advice)]
            ) from None
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join(timeout=_CLOSED_WITHIN_S)

    def take(self, within_s: float) -> list[Frame]:
        """The frames that came, after at most so long; of those that come together all of 5 ms at once."""
        with self._came:
            if not self._frames and not self._came.wait_for(lambda: self._frames, timeout=within_s):
                return []
            left = self._frames[0].at_s + BATCH_S - self._clock()
        if left > 0.0:
            time.sleep(min(left, BATCH_S))
        with self._came:
            frames = list(self._frames)
            self._frames.clear()
        return frames

    def clear(self) -> int:
        """Let go of what waits; how many frames."""
        with self._came:
            count = len(self._frames)
            self._frames.clear()
        return count

    def _open(self) -> Any:
        import can  # noqa: PLC0415 - half a second, for those who use a bus

        options: dict[str, Any] = dict(_QUIET.get(self._interface, {}))
        if self._interface in _PASSIVE:
            options["state"] = can.BusState.PASSIVE
        if self._bitrate is not None:
            options["bitrate"] = self._bitrate
        bus = can.Bus(channel=self._channel, interface=self._interface, **options)
        self.opened += 1
        return bus

    def _listen(self) -> None:
        """The reader's thread: until it is told to stop, through every failure of the interface."""
        pause = self._first_pause_s
        while not self._over.is_set():
            try:
                if self._bus is None:
                    self._bus = self._open()
                    self._say(f"The bus {self._interface}:{self._channel} is open again.")
                    self.trouble = ""
                while not self._over.is_set():
                    message = self._bus.recv(timeout=_LOOK_S)
                    if message is not None:
                        pause = self._first_pause_s
                        self._put(message)
            except Exception as error:  # each driver has faults of its own; the interface may be pulled out
                self.trouble = _words(error)
                self._close()
                self._say(
                    f"The bus {self._interface}:{self._channel} failed ({self.trouble}); again in {pause:g} s."
                )
                self._over.wait(pause)
                pause = min(2.0 * pause, LONGEST_PAUSE_S)
        self._close()

    def _put(self, message: Any) -> None:
        message.timestamp = self._clock()
        frame = frame_of(message)
        with self._came:
            if len(self._frames) >= MOST_WAITING:
                self._frames.popleft()
                self.dropped += 1
            self._frames.append(frame)
            self._came.notify()

    def _close(self) -> None:
        bus, self._bus = self._bus, None
        if bus is not None:
            try:
                bus.shutdown()
            except Exception as error:  # what is gone cannot be closed
                self.trouble = self.trouble or _words(error)


def lacking(interface: str) -> str:
    """The advice where an interface wants a Python package that is not there, else ""."""
    module, package = _PACKAGES.get(interface, ("can", ""))
    return "" if find_spec(module) is not None else f"pip install {package}"


def _words(error: Exception) -> str:
    return plain(str(error) or type(error).__name__, 200)


def _option_faults(words: str, bitrate: int | None) -> list[Fault]:
    faults = []
    interface, colon, channel = words.partition(":")
    if not (interface and colon and channel):
        faults.append(Fault("bad-option", "--bus", shown(words), "INTERFACE:CHANNEL, such as socketcan:can0"))
    if bitrate is not None and not LOWEST_BITRATE <= bitrate <= HIGHEST_BITRATE:
        span = f"{LOWEST_BITRATE} to {HIGHEST_BITRATE} bit/s; J1939 is 250000 or 500000"
        faults.append(Fault("bad-option", "--bitrate", str(bitrate), span))
    elif bitrate is not None and interface == "socketcan":
        faults.append(
            Fault("bad-option", "--bitrate", str(bitrate), "none with socketcan, whose bitrate the system sets",
                  f"ip link set {channel} type can bitrate {bitrate} listen-only on")
        )  # fmt: skip
    return faults
