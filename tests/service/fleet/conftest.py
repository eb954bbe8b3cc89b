"""One broker and one service at it for the folder; tests take jobs of their own."""

from collections.abc import Iterator

import pytest

from service.live.warm import warm
from tests.service.live.making import Door, sensed, serving
from tests.service.mosquitto import Broker, own_broker

from .waiting import until


@pytest.fixture(scope="module")
def broker() -> Iterator[Broker]:
    with own_broker() as found:
        yield found


@pytest.fixture(scope="module")
def door(broker: Broker, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Door]:
    warm(sensed("midi-8t", "coupled-900"))
    with serving(tmp_path_factory.mktemp("brokered"), mqtt=broker.url()) as opened:
        until(lambda: at_broker(opened) == "here")
        yield opened


def at_broker(door: Door) -> str:
    """What the service says of its broker."""
    found: str = door.http.http.get("/v1/health").json()["broker"]
    return found
