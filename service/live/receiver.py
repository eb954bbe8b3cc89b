"""The laser receiver of a job's machine as its samples arrive, and who feeds them."""

import math
from collections import Counter, deque
from collections.abc import Awaitable, Callable, Container
from dataclasses import dataclass, field
from typing import Any

from kinematics.crossing_seen import PAIR_S, CrossingSeen
from kinematics.errors import Fault
from kinematics.sensor_set import SensorSet
from kinematics.striking import InPlane, Striking
from kinematics.track import Track
from service.access.caller import Caller
from service.book.state import JobState

from .clock import SenderClock
from .frames import in_short

# A stall of the network must not cut a crossing in two.
GRACE_S = 1.0
_HIT = "receiver_hit"
_ABOVE = {"receiver_above_mm": 1e-3, "receiver_above_m": 1.0}
"""By how a frame names it, metres in one of its unit."""
_FAR = 1e9
_MOST_TIMES = 2048  # ten seconds of a receiver that tells 200 a second
# A sensor or receiver changes hands only after its feeder has been silent for so long.
HANDED_ON_S = 2.0


@dataclass(eq=False, slots=True)
class Link:
    """One connection that feeds readings, as the feed knows it."""

    clock: SenderClock
    caller: Caller
    refused: Counter[str] = field(default_factory=Counter)
    tell: Callable[[dict[str, Any]], None] = lambda _: None
    stir: Callable[[], None] = lambda: None
    check: Callable[[], Awaitable[None]] | None = None
    """Brings `caller` up to date; raises a `Problem` where it may no longer feed this job."""
    stream: str = ""
    """Of one who may send the same readings to another service once more: what all these have in common."""
    newest: float = -math.inf
    """Of its readings that were dated, by our clock; earlier than its clock's newest where they are sent once more."""

    def dated(self, ours: float) -> None:
        """A reading of this time has come."""
        self.newest = max(self.newest, ours)


@dataclass(frozen=True, slots=True)
class Passed:
    """A crossing that is complete, with the readings about it and the state of the job that it was seen in."""

    through: InPlane
    track: Track
    state: JobState


@dataclass(frozen=True, slots=True)
class Waiting:
    """A crossing that may still find its counterpart, who fed it, and the state of the job that it was seen in.

    `key`: what is the same of this crossing to whichever service sees it; None where but one can.
    """

    seen: CrossingSeen
    link: Link
    state: JobState
    key: str | None = None


def is_of_receiver(reading: dict[str, Any]) -> bool:
    """Whether a reading object is one of the receiver's."""
    return _HIT in reading or not _ABOVE.keys().isdisjoint(reading)


class Receiver:
    """What the receiver has told since machine, laser and receiver stand as they do.

    `striking`: None where there is no laser or no receiver. `pending`: a crossing that waits for its counterpart.
    `last`: the last strike as viewers are told it. `link`: the connection that feeds it. `verdicts`: how often a crossing
    was taken, turned down, or no attempt. `looked_s`: up to when, by our clock, crossings were looked for.
    """

    def __init__(self) -> None:
        self.striking: Striking | None = None
        self.pending: Waiting | None = None
        self.last: dict[str, Any] | None = None
        self.link: Link | None = None
        self.taken = 0
        self.counts: Counter[str] = Counter()
        self.verdicts: Counter[str] = Counter()
        self._turns: float | None = None
        self._times: deque[tuple[float, float]] = deque(maxlen=_MOST_TIMES)  # of samples: ours, the sender's
        self.arrived = self.looked_s = self._since = -math.inf

    def stand(self, state: JobState, sensors: SensorSet | None, since: float) -> None:
        """Begin anew: what was struck before a move, a laser set up or the like, at `since` by our clock, is void."""
        self._since = since
        laser = state.book.laser
        there = sensors is not None and sensors.assembly.machine.receiver is not None
        self._turns = laser.revolutions_per_s if laser is not None and there else None
        self.pending = None
        self.striking = None if self._turns is None else Striking(self._turns)

    def take(
        self, link: Link, links: Container[Link | None], reading: dict[str, Any], now: float
    ) -> Fault | None:
        """Take one sample, `links` being connected; what is wrong with it is counted and returned."""
        held = self.link is not link and self.link in links and now - self.arrived < HANDED_ON_S
        fault = _FED if held else self._take(link, reading, now)
        if fault is None:
            self.taken += 1
            self.arrived = now
        else:
            self.counts[fault.code] += 1
        return fault

    def _take(self, link: Link, reading: dict[str, Any], now: float) -> Fault | None:
        if len(reading) != 2 or "at_s" not in reading:
            found = ", ".join(sorted(map(str, reading)))[:80]
            return Fault("bad-reading", "", found,
                         f"at_s and {_HIT}, true or false, or one of {', '.join(_ABOVE)}, a number")  # fmt: skip
        ours = link.clock.date(reading["at_s"], now)
        if isinstance(ours, Fault):
            return ours
        link.dated(ours)
        if self.striking is None or self._turns is None:
            return Fault("no-laser", "", "a receiver's reading on a job without laser or receiver",
                         "a laser set up on the job, and a receiver in the machine's profile",
                         "record the laser: POST laser-setups")  # fmt: skip
        # What another began is not finished in this one's name.
        striking = self.striking if self.link is link else Striking(self._turns)
        fault = _add(striking, ours, reading) if ours >= self._since else None
        if fault is None and self.link is not link:
            self.link, self.striking, self.pending = link, striking, None
        if fault is None and link.stream:
            self._times.append((ours, float(reading["at_s"])))
        return fault

    def leave(self, link: Link) -> None:
        """One who will send once more what is under way feeds no longer: nothing is made of the part that is here."""
        if self.link is link:
            self.link = self.pending = None
            if self._turns is not None:
                self.striking = Striking(self._turns)

    def key(self, link: Link, passed: InPlane) -> str | None:
        """What is the same of a crossing to whichever service sees it; None where its readings go to one alone.

        Its stream, and when by the sender's clock its last sample in the plane was taken.
        """
        if not link.stream:
            return None
        said = next((said for ours, said in reversed(self._times) if ours == passed.last_s), None)
        return None if said is None else f"strike {link.stream} {said!r}"

    def crossed(self, now: float) -> list[InPlane]:
        """The crossings that are complete: their end seen in the samples, or none come any more."""
        self.looked_s = now
        return [] if self.striking is None else self.striking.due(now - GRACE_S)

    def waited(self, now: float) -> bool:
        """Whether a crossing has waited for its counterpart for as long as that could take to be told."""
        return self.pending is not None and now - self.pending.seen.at_s > PAIR_S + GRACE_S + 0.5


_FED = Fault(
    "fed-by-another",
    "",
    "the receiver, which another connection feeds",
    "one feeder for it",
    "stop one of them",
)


def _add(striking: Striking, ours: float, reading: dict[str, Any]) -> Fault | None:
    if _HIT in reading:
        hit = reading[_HIT]
        if type(hit) is not bool:
            return Fault("bad-reading", _HIT, in_short(hit), "true or false")
        return _at(_HIT, striking.add_hit(ours, hit))
    key = next(each for each in _ABOVE if each in reading)
    above = reading[key]
    if type(above) is not float and type(above) is not int:
        return Fault("bad-reading", key, in_short(above), "a number")
    if type(above) is int and not abs(above) < _FAR:  # JSON has whole numbers that no float holds
        found = f"{'-' if above < 0 else ''}1e9 {key.rpartition('_')[2]} or more"
        return Fault("out-of-range", key, found, "a height near the receiver", "check the unit")
    return _at(key, striking.add_above(ours, above * _ABOVE[key]))


def _at(key: str, fault: Fault | None) -> Fault | None:
    """The fault of a sample at the name that it has in a frame."""
    if fault is None or fault.where == "at_s":
        return fault
    return Fault(fault.code, key, fault.found, fault.expected, fault.advice, fault.numbers)
