"""One clock for all who date readings, that does not stand still while the computer sleeps."""

import inspect
import time

import pytest

from service.bus.broker_feeder import BrokerFeeder
from service.bus.feeder import Feeder
from service.bus.live_bus import LiveBus
from service.bus.pacing import Pacer
from service.clock import seconds
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
