"""What one job's machine reads now: a channel for each sensor, the track of the last seconds, and who is waiting.

For the event loop alone. Nothing here is written down; what enters the log goes through the keeper.
"""

import asyncio
import math
from collections import Counter
from dataclasses import dataclass, field
from typing import Any
from weakref import WeakValueDictionary

import numpy as np

from kinematics.errors import Fault
from kinematics.sensor_set import SensorSet
from kinematics.track import Track
from service.book import payloads as p
from service.book.state import JobState, Stand
from service.book.trusting import Sets, stands_of

from .channel import Channel
from .clock import HALF_OPEN_S
from .frames import in_short
from .raw import is_raw
from .receiver import HANDED_ON_S, Link, Receiver, is_of_receiver
from .scale import Value

KEEP_S = 5.0
# Who sends nothing for so long has nothing to send: were it the way that is long, its connection would have ended.
SILENT_S = 2.0 * HALF_OPEN_S


FITTING = Fault(
    "no-setup", "", "another machine or attachment since a moment ago", "its sensors read anew", "wait"
)


@dataclass(frozen=True, slots=True)
class Fitted:
    """What stands on the job: its sensors, and the state they were made for. `sensors` None: none, because of `why`.

    `sets`: the sensors of every stand that its readouts may rest on.
    """

    state: JobState
    sensors: SensorSet | None
    why: tuple[Fault, ...] = ()
    sets: Sets = field(default_factory=dict)


class Feed:
    """The readings of one job."""

    def __init__(self, job: str, fitted: Fitted, since: float = -math.inf) -> None:
        """`since`: when the job's log last said how machine, laser and receiver stand, by our clock."""
        self.job = job
        self.number = 0
        self.counts: Counter[str] = Counter()
        self.receiver = Receiver()
        self.arrived = -math.inf
        self.links: set[Link] = set()
        self.viewers = 0
        self.published = False  # to whoever asks a broker
        self.follows = False  # another service keeps the job: it judges crossings and tells of them
        self.used = self.told = 0.0
        self._held_s = 0.0
        self.channels: dict[str, Channel] = {}
        self._former: dict[str, Channel] = {}
        # What viewers who ask alike share, for as long as one of them looks: a megabyte of plates.
        self.watches: WeakValueDictionary[object, Any] = WeakValueDictionary()
        self._waiting: list[asyncio.Future[None]] = []
        self._kept: dict[object, tuple[int, Any]] = {}
        self.fit(fitted, since)

    def fit(self, fitted: Fitted, since: float) -> None:
        """Another machine or attachment stands on the job, or the first: readings begin anew, counts go on."""
        self._former |= self.channels
        self.state, self.sensors, self.why, self.sets = fitted.state, fitted.sensors, fitted.why, fitted.sets
        self.channels = {}
        self.track: Track | None = None
        first = 0
        if self.sensors is not None:
            self.track = self._new_track(self.sensors)
            for name, sensor in self.sensors.all.items():
                channel = self.channels[name] = Channel(name, sensor, first)
                first += 2 if channel.pair else 1
                if name in self._former:
                    channel.carry(self._former[name])
        self.said = np.full(first, math.nan)
        self.unread = self._unread()
        # What was read before another machine, a move, a swing or another laser says nothing of after.
        self.since = since
        self.receiver.stand(self.state, self.sensors, self.since)
        self._limits()
        self.changed()
        for link in self.links:
            link.stir()

    @property
    def fitting(self) -> bool:
        """Whether the sensors of what stands on the job are about to be read."""
        return self.why == (FITTING,)

    def adopt(self, state: JobState, now: float) -> None:
        """The job's state after further entries, with the same machine and attachment on it."""
        before, self.state = self.state, state
        self.unread = self._unread()
        if stands(before) != stands(state):
            self.since = now
            self.track = None if self.sensors is None else self._new_track(self.sensors)
            self.receiver.stand(self.state, self.sensors, now)
        elif before.rules.steady_s < state.rules.steady_s and self.sensors is not None:
            self.track = self._new_track(self.sensors)
        self._limits()
        self.changed()

    def know(self, sets: Sets) -> None:
        """The sensors of further stands were read."""
        self.sets = {**self.sets, **sets}
        self.unread = self._unread()
        self.changed()

    def _unread(self) -> frozenset[Stand]:
        """Stands that readouts rest on and whose sensors were not read yet."""
        return frozenset() if self.sensors is None else frozenset(stands_of(self.state) - self.sets.keys())

    def _new_track(self, sensors: SensorSet) -> Track:
        return Track(sensors, self._keep_s())

    def _keep_s(self) -> float:
        # A strike asks how the body rested before it, a crossing may take three seconds.
        keep_s = self.state.rules.steady_s + KEEP_S
        return keep_s if self.state.book.laser is None else keep_s + self._held_s

    def hold(self, seconds: float) -> None:
        """With a laser set up, keep readings for so long beyond: the receiver's may come once more so much later."""
        self._held_s = seconds
        if self.track is not None:
            self.track.keep_s = self._keep_s()

    def reach(self, to: float) -> float:
        """From when on, by our clock, the track is of use for what is judged at `to`, however long it is kept."""
        return to - self.state.rules.steady_s - KEEP_S if self._held_s else -math.inf

    def _limits(self) -> None:
        most = self.state.rules.age_limit_s
        for channel in self.channels.values():
            channel.limit_s = min(channel.sensor.age_limit_s, most)

    # Readings in.

    def take(self, link: Link, reading: dict[str, Any], now: float) -> Fault | None:
        """Take one reading object; what is wrong with it is counted and returned."""
        name = reading.get("sensor")
        channel = self.channels.get(name) if type(name) is str else None
        if channel is not None:
            fault = self._take(channel, link, reading, now)
            if fault is not None:
                channel.counts[fault.code] += 1
        elif "sensor" not in reading and is_of_receiver(reading):
            fault = None if self.follows else self.receiver.take(link, self.links, reading, now)
        else:
            expected = "one of " + (", ".join(self.channels) or "none: no sensor is on this job")
            fault = Fault("no-such-sensor", "sensor", in_short(name), expected, "check the name")
        if fault is not None:
            self.counts[fault.code] += 1
        return fault

    def _take(self, channel: Channel, link: Link, reading: dict[str, Any], now: float) -> Fault | None:
        at_s = reading.get("at_s")
        ours = link.clock.date(at_s, now)
        if type(ours) is not float:
            return ours  # type: ignore[return-value]  # a fault
        link.dated(ours)
        if len(reading) == 3 and channel.unit in reading:
            value = channel.read(reading[channel.unit])
        else:
            value = self._otherwise(channel, link, reading, ours, now)
        if type(value) is Fault:
            if value.code == "out-of-range" and not is_raw(reading) and not self._held(channel, link, now):
                channel.keep(reading, ours, self.since)
            return value
        if channel.fused is not None and not is_raw(reading) and (other := channel.finished(now)):
            return other
        if channel.feeder is not link:
            if self._held(channel, link, now):
                return _fed_by_another(channel.name)
            channel.feeder = link
        fault = channel.take(value, at_s, ours, now)  # type: ignore[arg-type]  # no fault, see above
        if fault is None:
            first = channel.first
            if channel.pair:
                self.said[first], self.said[first + 1] = value  # type: ignore[misc]
            else:
                self.said[first] = value
            if self.track is not None and channel.born >= self.since:
                self.track.add(channel.name, channel.born, value)  # type: ignore[arg-type]
            self.arrived = now
        return fault

    def _otherwise(
        self, channel: Channel, link: Link, reading: dict[str, Any], ours: float, now: float
    ) -> Value | Fault:  # fmt: skip
        """What a dated reading comes to that is not in the channel's first unit."""
        if is_raw(reading):
            if self._held(channel, link, now):  # frames of two connections do not mix
                return _fed_by_another(channel.name)
            if channel.feeder is not link:  # its axes may have been put right
                channel.fused = None
            value = channel.fuse(reading, ours, now, self.since)
            if channel.raw_at == now:
                channel.feeder = link
            return value
        if len(reading) != 3 or channel.si not in reading:
            return channel.odd(reading)
        return channel.si_scale.read(reading[channel.si])

    def _held(self, channel: Channel, link: Link, now: float) -> bool:
        """Whether another connection feeds this sensor."""
        before = channel.feeder
        last = max(channel.arrived, channel.raw_at)
        return before is not link and before in self.links and now - last < HANDED_ON_S

    @property
    def taken(self) -> int:
        """Readings taken so far, the receiver's samples and those of sensors that are gone included."""
        return self.receiver.taken + sum(each.taken for each in (self._former | self.channels).values())

    def seen_to(self, now: float) -> float:
        """Up to when all has come that tells of a crossing, by our clock.

        Now; or for as long as one who sends everything in its order is behind, the newest that it has sent: what comes
        late is not taken for silence.
        """
        owners = {
            (channel.feeder, max(channel.arrived, channel.raw_at)) for channel in self.channels.values()
        }
        owners.add((self.receiver.link, self.receiver.arrived))
        return min(
            (link.newest for link, arrived in owners
             if isinstance(link, Link) and link.stream and link in self.links and now - arrived < SILENT_S),
            default=now,
        )  # fmt: skip

    # Ages.

    def silent(self, now: float) -> list[Fault]:
        """Why there is no number for want of fresh readings, sensor by sensor; empty where all are fresh."""
        found = list(self.why)
        for channel in self.channels.values():
            age = now - channel.born
            if channel.value is None:
                found.append(Fault(
                    "sensor-quiet", channel.name, "no reading yet", "a reading of every sensor",
                    channel.error or "look at the health of the sensors, and at what feeds them",
                ))  # fmt: skip
            elif age > channel.limit_s:
                found.append(Fault(
                    "sensor-quiet", channel.name, f"last read {age:.2f} s ago", f"at most {channel.limit_s:g} s",
                    channel.error or "look at its wiring and at what feeds it",
                    {"age_s": age, "limit_s": channel.limit_s},
                ))  # fmt: skip
            elif channel.born < self.since:
                found.append(Fault("observed-before", channel.name, "a reading from before the last entry of the log",
                                   "one taken after it", "wait for the next reading"))  # fmt: skip
        return found

    def seen(self, now: float) -> tuple[bool, str | None, float]:
        """(whether every reading may be used now, the sensor of the oldest, when that was true by our clock); False, None
        and -inf without sensors."""
        if not self.channels:
            return False, None, -math.inf
        fresh, name, oldest, since = True, None, math.inf, self.since
        for channel in self.channels.values():
            born = channel.born
            if born < oldest:
                name, oldest = channel.name, born
            if now - born > channel.limit_s or born < since:
                fresh = False
        return fresh, name, oldest

    def deadline(self) -> float:
        """When the first reading will be too old, by our clock."""
        return min((each.born + each.limit_s for each in self.channels.values()), default=math.inf)

    def fresh(self, now: float) -> bool:
        """Whether every reading may be used now."""
        return self.seen(now)[0]

    # Who waits.

    def changed(self) -> None:
        """Something a viewer should see has changed."""
        self.number += 1
        if self._waiting:
            waiting, self._waiting = self._waiting, []
            for each in waiting:
                if not each.done():
                    each.set_result(None)

    def turn(self) -> "asyncio.Future[None]":
        """To be awaited: done once something has changed."""
        turn: asyncio.Future[None] = asyncio.Future()
        self._waiting.append(turn)
        return turn

    def kept(self, key: object) -> Any:
        """What was kept under a key for the present number, None if nothing."""
        number, what = self._kept.get(key, (-1, None))
        return what if number == self.number else None

    def keep(self, key: object, what: Any) -> None:
        """Keep something for as long as nothing changes, so that viewers who ask alike share it."""
        if len(self._kept) > _MOST_KEPT:
            self._kept.clear()
        self._kept[key] = self.number, what


_MOST_KEPT = 64


def _fed_by_another(name: str) -> Fault:
    return Fault(
        "fed-by-another", "sensor", f"{name}, which another connection feeds", "one feeder for each sensor",
        "stop one of them",
    )  # fmt: skip


def stands(state: JobState) -> tuple[int, ...]:
    """The last entry that says how machine, laser and receiver stand, and what was acknowledged since."""
    return tuple(
        e.seq for e in state.entries if (e.type in p.STAND or e.type == "acknowledged") and e.seq not in state.void
    )[-1:]  # fmt: skip
