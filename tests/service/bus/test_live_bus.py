"""A live bus: an interface that fails, one that is none, more frames than are taken."""

from typing import Any

import can
import pytest

from kinematics.errors import Refused
from service.bus import live_bus
from service.bus.layouts import BUILT_IN
from service.bus.live_bus import LiveBus

from .units import CHANNELS, Units, waited_for


@pytest.fixture
def channel() -> str:
    return f"pit-{next(CHANNELS)}"


class Failing:
    """An interface that gives two frames, then fails; opens again the third time."""

    def __init__(self) -> None:
        self.opened = 0

    def __call__(self, **_: Any) -> "Failing":
        self.opened += 1
        if self.opened in (2, 3):
            raise OSError("no such device")
        self.left = 2
        return self

    def recv(self, **_: float) -> can.Message:
        if not self.left:
            raise can.CanOperationError("the cable is out")
        self.left -= 1
        return can.Message(arbitration_id=1, data=b"\1")

    def shutdown(self) -> None:
        raise can.CanError("already gone")


def test_an_interface_that_fails_is_opened_again_with_growing_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    failing = Failing()
    monkeypatch.setattr(can, "Bus", failing)
    words: list[str] = []
    got = []
    with LiveBus("virtual:x", say=words.append, first_pause_s=0.01) as bus:

        def enough() -> bool:
            got.extend(bus.take(0.05))
            return len(got) >= 4

        waited_for(enough, lambda: words)
    assert failing.opened >= 4
    assert any("the cable is out" in each for each in words)
    assert [each.rpartition("again in ")[2] for each in words if "no such device" in each] == [
        "0.02 s.",
        "0.04 s.",
    ]
    assert any("open again" in each for each in words)
    assert [frame.at_s for frame in got] == sorted(frame.at_s for frame in got)


def test_of_frames_that_nobody_takes_the_newest_are_kept(
    monkeypatch: pytest.MonkeyPatch, channel: str
) -> None:
    monkeypatch.setattr(live_bus, "MOST_WAITING", 50)
    with LiveBus(f"virtual:{channel}") as bus, Units(channel) as units:
        for i in range(80):
            units.say(0xA1, float(i))
        waited_for(lambda: bus.dropped >= 30)
        frames = bus.take(1.0)
    assert len(frames) == 50
    assert BUILT_IN["SSI2"].read(frames[-1].data)["pitch"] == pytest.approx(79.0, abs=1e-4)
    assert bus.dropped == 30


def test_an_interface_that_is_none_is_refused() -> None:
    with pytest.raises(Refused) as caught, LiveBus("telepathy:can0"):
        pass
    assert caught.value.code == "bus-failed"


def test_a_package_that_is_not_there_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    def lacks(**_: Any) -> can.BusABC:
        raise can.CanInterfaceNotImplementedError("msgpack not installed")

    monkeypatch.setattr(can, "Bus", lacks)
    monkeypatch.setattr(live_bus, "find_spec", lambda module: None if module == "msgpack" else object())
    for bus, advice in (
        ("udp_multicast:239.74.163.2", "pip install msgpack"),
        ("slcan:ttyUSB0", "socketcan:can0"),
    ):
        with pytest.raises(Refused) as caught, LiveBus(bus):
            pass
        assert advice in caught.value.faults[0].advice
