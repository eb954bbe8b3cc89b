"""One clock for all who date readings, that goes on while the computer sleeps; and the other, which somebody sets."""

import inspect
import logging
import time
from datetime import UTC, datetime, timedelta

import pytest

from service.bus.broker_feeder import BrokerFeeder
from service.bus.feeder import Feeder
from service.bus.live_bus import LiveBus
from service.bus.pacing import Pacer
from service.clock import NeverBack, Steps, seconds
from service.live.hub import Hub


@pytest.mark.parametrize("who", [BrokerFeeder, Feeder, LiveBus, Pacer, Hub])
def test_all_who_date_readings_have_it(who: type) -> None:
    of = inspect.signature(who).parameters
    assert (of.get("clock") or of["monotonic"]).default is seconds


@pytest.mark.skipif(
    not hasattr(time, "CLOCK_BOOTTIME"), reason="needs a system with CLOCK_BOOTTIME, as Linux has"
)
def test_it_counts_sleep() -> None:
    before = time.clock_gettime(time.CLOCK_BOOTTIME)
    assert before <= seconds() <= time.clock_gettime(time.CLOCK_BOOTTIME)


class Clocks:
    """The one that is set (`unix`) and the one that is not."""

    def __init__(self) -> None:
        self.unix, self.steady = 1_777_880_000.0, 100.0

    def pass_by(self, passed: float, step: float = 0.0) -> None:
        """So many seconds, with the first set on by `step` meanwhile."""
        self.unix += passed + step
        self.steady += passed

    def utc(self) -> datetime:
        return datetime.fromtimestamp(self.unix, UTC)


def test_time_that_does_not_go_back() -> None:
    clocks = Clocks()
    now = NeverBack(clocks.utc, lambda: clocks.steady)
    begun = now()
    clocks.pass_by(10.0)
    assert now() - begun == timedelta(seconds=10)
    clocks.pass_by(5.0, -3600.0)
    assert now() - begun == timedelta(seconds=15)
    assert now.ahead == timedelta(hours=1)
    clocks.pass_by(20.0)
    assert now() - begun == timedelta(seconds=35)
    clocks.pass_by(1.0, 3600.0 + 7.0)
    assert now() == clocks.utc()
    assert now.ahead == timedelta(0)
    clocks.pass_by(0.0, -1e9)
    assert now() - begun == timedelta(seconds=43)


@pytest.mark.parametrize("step", [-3600.0, 3600.0, 86_400.0, -1.7e9])
def test_that_it_was_set_is_seen_once(step: float) -> None:
    clocks = Clocks()
    steps = Steps(lambda: clocks.unix, lambda: clocks.steady)
    clocks.pass_by(7.0)
    assert steps.look() == 0.0
    clocks.pass_by(1.0, step)
    assert steps.look() == pytest.approx(step, abs=1e-6)
    clocks.pass_by(1.0)
    assert steps.look() == 0.0
    clocks.pass_by(1.0, -step)
    assert steps.look() == pytest.approx(-step, abs=1e-6)
    assert steps.total_s == pytest.approx(2.0 * abs(step))


def test_a_clock_that_is_disciplined_was_not_set() -> None:
    """Half a thousandth is as fast as systems make it go, from memory: 1.8 s an hour."""
    clocks = Clocks()
    steps = Steps(lambda: clocks.unix, lambda: clocks.steady)
    for _ in range(3600):
        clocks.pass_by(1.0, 0.0005)
        assert steps.look() == 0.0
    assert steps.total_s == 0.0


def test_the_live_door_says_so(caplog: pytest.LogCaptureFixture) -> None:
    clocks = Clocks()
    hub = Hub(None, None, steps=Steps(lambda: clocks.unix, lambda: clocks.steady))  # type: ignore[arg-type]
    with caplog.at_level(logging.WARNING, "tipdatum"):
        hub._look_at_the_clock()
        assert caplog.messages == []
        clocks.pass_by(1.0, -3600.0)
        hub._look_at_the_clock()
    assert "set back by 3600 s" in caplog.text
    assert hub.seen().set_s == pytest.approx(3600.0)
