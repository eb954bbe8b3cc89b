"""Units on python-can's virtual bus, and waiting that is bounded."""

import itertools
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import can

from service.bus.framing import SSI2, Lack, identifier
from service.bus.layouts import BUILT_IN

WAIT_S = 20.0
CHANNELS = itertools.count()
PITCH = {"body": [0.6, -0.4], "boom": 25.0, "stick": -65.0, "idler": -20.0, "tilt": 0.3}
SOURCES = {name: 0xA0 + i for i, name in enumerate(PITCH)}


def waited_for(good: Callable[[], object], why: Callable[[], object] = lambda: "") -> None:
    """Bounded, and looked at often: what is waited for is another thread's or process's."""
    began = time.monotonic()
    while not good():
        assert time.monotonic() - began < WAIT_S, why()
        time.sleep(0.005)


class Units:
    """Units on the bus, each frame sent when the test says."""

    def __init__(self, channel: str) -> None:
        self._bus = can.Bus(interface="virtual", channel=channel)

    def __enter__(self) -> "Units":
        return self

    def __exit__(self, *_: object) -> None:
        self._bus.shutdown()

    def say(self, source: int, said: float | list[float], latency: float = 40.0) -> None:
        pitch, roll = said if isinstance(said, list) else (said, Lack.NOT_AVAILABLE)
        data = BUILT_IN["SSI2"].write(
            {"pitch": pitch, "roll": roll, "latency": latency, "pitch_merit": 0.0, "roll_merit": 0.0}
        )
        self._bus.send(can.Message(arbitration_id=identifier(SSI2, source), is_extended_id=True, data=data))

    def all(self) -> None:
        for name, source in SOURCES.items():
            self.say(source, PITCH[name])  # type: ignore[arg-type]

    def claim(self, source: int, identity: int) -> None:
        data = (identity | 1 << 63).to_bytes(8, "little")
        self._bus.send(can.Message(arbitration_id=0x18EEFF00 | source, is_extended_id=True, data=data))

    @contextmanager
    def working(self, hz: float = 50.0) -> Iterator[None]:
        """All of them, in their time, on a thread."""
        over = threading.Event()

        def work() -> None:
            while not over.wait(1.0 / hz):
                self.all()

        thread = threading.Thread(target=work)
        thread.start()
        try:
            yield
        finally:
            over.set()
            thread.join(WAIT_S)
