"""The last seconds of a job's sensors as one service has them, for another to go on from as if they were its own."""

import math
from typing import Any

from kinematics.errors import Fault
from service.live.channel import Channel
from service.live.feed import Feed, Fitted, stands
from service.live.scale import Value


def snapshot(feed: Feed, now: float) -> dict[str, Any]:
    """All that a touch or a posture is read from; times in seconds by the clock of whoever makes it, rad and m."""
    track = feed.track
    return {
        "now": now, "since": _finite(feed.since), "stands": list(stands(feed.state)), "fitted": _fitted(feed),
        "sensors": {
            name: {
                "track": [] if track is None else track.window(name, feed.reach(now), math.inf),
                "beyond": list(channel.beyond), "born": _finite(channel.born), "value": channel.value,
                "error": channel.error,
            }
            for name, channel in feed.channels.items()
        },
    }  # fmt: skip


NO_SNAPSHOT = (LookupError, TypeError, ValueError, OverflowError)
"""What `restored` raises, a track's refusals among them, where what was said is no snapshot."""


def agrees(said: dict[str, Any], here: Feed) -> bool:
    """Whether both services know of the same last move, setup or other such entry, as far as it is told."""
    if not {"stands", "fitted"} <= said.keys():
        return True  # what it is else is told where it is restored
    return bool(said["stands"] == list(stands(here.state)) and said["fitted"] == _fitted(here))


def restored(said: dict[str, Any], here: Feed) -> tuple[Feed, float]:
    """A feed like the one that was told of, and now by its clock; `here`: this service's, for machine and state.

    Raises one of `NO_SNAPSHOT` where what was said is none.
    """
    since = -math.inf if said["since"] is None else float(said["since"])
    feed = Feed(here.job, Fitted(here.state, here.sensors, here.why, here.sets), since)
    for name, channel in feed.channels.items():
        _restore(feed, channel, said["sensors"][name])
    return feed, float(said["now"])


def _restore(feed: Feed, channel: Channel, said: dict[str, Any]) -> None:
    if feed.track is not None:
        for at_s, value in said["track"]:
            feed.track.add(channel.name, float(at_s), _value(value))
    channel.beyond.extend((float(at_s), _value(value)) for at_s, value in said["beyond"])
    if said["born"] is not None:
        channel.born, channel.value = float(said["born"]), _value(said["value"])
    channel.error = str(said["error"])


def _value(said: Any) -> Value:
    return (float(said[0]), float(said[1])) if isinstance(said, list) else float(said)


def _finite(seconds: float) -> float | None:
    return seconds if math.isfinite(seconds) else None


def _fitted(feed: Feed) -> list[str | None]:
    return [None if each is None else each.hash for each in (feed.state.machine, feed.state.attachment)]


BEFORE = Fault(
    "observed-before", "", "readings from before the last move, setup or other such entry", "readings taken since",
    "wait, then again",
)  # fmt: skip
