"""The service's side of a broker, put together of what the routes tell and ask."""

from typing import Any

from fastapi import FastAPI

from service.access.caller import Caller, Role
from service.broker.topics import Topics
from service.fleet.fleet import Fleet
from service.fleet.means import Means, Message
from service.live.feed import Feed
from service.live.hub import Hub
from service.settings import Settings

from .live import welcome
from .live_message import Watch
from .sensors import health_of
from .standing import may_feed

_ANYBODY = Caller("the broker", frozenset({Role.VIEWER}), frozenset())


def at_broker(app: FastAPI, settings: Settings) -> Fleet | None:
    """The service at the broker of its settings, None without one; the hub must be there."""
    address, state = settings.broker, app.state
    if address is None:
        return None
    hub: Hub = state.hub

    async def admit(feed: Feed, token: str | None) -> Caller:
        return await may_feed(state.access, token, feed.state)

    def message(feed: Feed) -> Message:
        return Watch(
            state.keeper, feed, target=None, line="edge", station=None, caller=_ANYBODY
        ).message  # fmt: skip

    def health(feed: Feed) -> dict[str, Any]:
        return health_of(hub, feed).model_dump(mode="json")

    return Fleet(address, Means(
        hub, Topics(address.prefix), admit, welcome, message, health, settings.readings_per_s, settings.mqtt_readouts_hz
    ), settings.mqtt_ca)  # fmt: skip
