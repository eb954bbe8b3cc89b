"""What a laser receiver tells, turned into its times in the plane: each time it went through, or stopped there.

Times are the caller's, in seconds, any zero. A receiver tells either a bit, on the plane or not, or the beam's height.
"""

import math
from collections import deque
from dataclasses import dataclass, replace
from typing import Any

from .errors import Fault, Refused

# Common practice, no source: all of these.
LEAST_GAP_S, GAP_TURNS = 0.25, 2.5
"""The head passes once a turn: a receiver that heard nothing for longer has left the plane; less is a bounce."""
NEAR_M, STOP_S = 0.002, 1.0
"""A receiver that stays so near to the beam for so long has stopped in it."""
APART_S = 0.8
"""Passes that follow sooner are none of a receiver going through once: it bounces. So long each waits for the next."""
MOST_TORN, TORN_TURNS = 0.7, 1.5
"""Holes: bits on the plane more than 1.5 turns apart, with others off it between them. Two and more may be so much of the
time in the plane; a receiver that hears less of the beam swings out of it."""
LONGEST_S = 3.0
"""Told then, though it has not left the plane: a track of 4 s still holds what was before."""
HIGHEST_M = 2.0
"""No receiver sees a beam so far along its mast: the number was given in another unit."""
MOST_WAITING = 64


@dataclass(frozen=True, slots=True)
class InPlane:
    """Once through the plane, or once in it.

    `at_s`: its moment, with bits the middle of the first and the last on the plane, `first_s` and `last_s`, so that a
    dead band is taken off evenly; with heights that of the zero, or the middle of a stop. `above_m`: the beam's
    height over the receiver's centre along the mast then (m, 0 at a zero), None with bits. `up`: whether the receiver
    rose, None where its samples do not say. `count` samples in it. `left`: False where it was told after `LONGEST_S`,
    still in the plane; a bit then places the plane no finer than within the receiver's dead band. `scattered`: it
    bounced, for there is another within 0.8 s before or after, or its bits on the plane are mostly holes.
    """

    at_s: float
    first_s: float
    last_s: float
    count: int
    above_m: float | None
    up: bool | None
    left: bool
    scattered: bool = False


class Striking:
    """The samples of one receiver, as they come; `due` gives the times in the plane that are complete, and no other near.

    `revolutions_per_s` of the laser head. A silence of more than max(0.25 s, 2.5 turns) ends one; a false bit ends it
    unless a true one follows sooner, which is a bounce at the dead band's edge. Receivers must tell their bit once a
    turn or oftener, not only when it changes. Of more than 64 not fetched the oldest go.
    Raises `Refused` "not-positive".
    """

    __slots__ = ("_bits", "_done", "_heights", "_last_s", "_torn_s", "gap_s")

    def __init__(self, revolutions_per_s: float) -> None:
        if not (math.isfinite(revolutions_per_s) and revolutions_per_s > 0.0):
            raise Refused([
                Fault("not-positive", "revolutions_per_s", str(revolutions_per_s), "a finite number above zero")
            ])  # fmt: skip
        self.gap_s = max(LEAST_GAP_S, GAP_TURNS / revolutions_per_s)
        self._torn_s = TORN_TURNS / revolutions_per_s
        self._done = _Done()
        self._bits: _Bits | None = None
        self._heights: _Heights | None = None
        self._last_s = -math.inf

    def add_hit(self, at_s: float, hit: bool) -> Fault | None:  # noqa: FBT001 - it is the sample
        """A bit: whether the receiver was on the plane at `at_s` (s), later than the sample before.

        Returns, for a stream has many, what is wrong with a sample that was not taken: "not-a-number", "not-finite",
        "not-rising", "other-kind" of a receiver that told heights before.
        """
        if type(hit) is not bool:
            return Fault("not-a-number", "hit", repr(hit), "true or false")
        fault = self._time_fault(at_s) or _mixed("hit", "heights", self._heights)
        if fault is None:
            if self._bits is None:
                self._bits = _Bits(self.gap_s, self._torn_s, self._done)
            self._last_s = at_s
            self._bits.add(at_s, hit=hit)
        return fault

    def add_above(self, at_s: float, above_m: float) -> Fault | None:
        """The beam's height over the receiver's centre along its mast (m) at `at_s` (s); positive: the centre is too low.

        -0.012: the centre stands 12 mm over the plane. Returns a fault as `add_hit`, and "out-of-range" beyond 2 m.
        """
        fault = _number_fault("above_m", above_m)
        if fault is None and not abs(above_m) <= HIGHEST_M:
            fault = Fault(
                "out-of-range", "above_m", f"{above_m:g} m", f"within {HIGHEST_M:g} m", "check the unit"
            )
        fault = fault or self._time_fault(at_s) or _mixed("above_m", "bits", self._bits)
        if fault is None:
            if self._heights is None:
                self._heights = _Heights(self.gap_s, self._done)
            self._last_s = at_s
            self._heights.add(at_s, float(above_m))
        return fault

    def due(self, now_s: float) -> list[InPlane]:
        """The times in the plane complete at `now_s` (s), oldest first, each once. Raises `Refused` "not-finite"."""
        if not math.isfinite(now_s):
            raise Refused([Fault("not-finite", "now_s", str(now_s), "a finite time in seconds")])
        under_way_s = math.inf
        for each in (self._bits, self._heights):
            if each is not None:
                each.quiet(now_s)
                under_way_s = min(under_way_s, each.since_s())
        return self._done.due(max(now_s, self._last_s), under_way_s)

    def _time_fault(self, at_s: Any) -> Fault | None:
        fault = _number_fault("at_s", at_s)
        if fault is None and not at_s > self._last_s:
            return Fault(
                "not-rising", "at_s", f"{at_s:.6f} s", f"later than {self._last_s:.6f} s", "leave it out"
            )
        return fault


def _number_fault(where: str, value: Any) -> Fault | None:
    if isinstance(value, bool) or not isinstance(value, float | int):
        return Fault("not-a-number", where, repr(value), "a number")
    if not math.isfinite(value):
        return Fault("not-finite", where, str(value), "a finite number")
    return None


def _mixed(where: str, kind: str, other: object) -> Fault | None:
    if other is None:
        return None
    return Fault("other-kind", where, f"a receiver that told {kind} before", f"{kind}, or another `Striking`")


class _Done:
    """Times in the plane that are over, told when no other can follow within `APART_S`."""

    __slots__ = ("_found", "_last")

    def __init__(self) -> None:
        self._found: deque[InPlane] = deque(maxlen=MOST_WAITING)
        self._last: InPlane | None = None

    def append(self, passed: InPlane) -> None:
        last, self._last = self._last, None
        if last is not None:
            near = passed.first_s - last.last_s <= APART_S
            self._found.append(replace(last, scattered=last.scattered or near))
            passed = replace(passed, scattered=passed.scattered or near)
        if passed.left:
            self._last = passed
        else:
            self._found.append(passed)

    def due(self, now_s: float, under_way_s: float) -> list[InPlane]:
        """Those that are told now, `under_way_s` being when the one under way began: it may be near the last."""
        if self._last is not None and min(now_s, under_way_s) - self._last.last_s > APART_S:
            self._found.append(self._last)
            self._last = None
        found = list(self._found)
        self._found.clear()
        return found


class _Bits:
    """The time in the plane under way, if any, of a receiver that tells a bit."""

    __slots__ = ("_done", "count", "first_s", "gap_s", "holes", "last_s", "missed", "told", "torn_s")

    def __init__(self, gap_s: float, torn_s: float, done: _Done) -> None:
        self.gap_s, self.torn_s, self._done = gap_s, torn_s, done
        self.holes, self.missed = (0, 0.0), False  # number and sum (s) of the holes; whether one is open
        self.first_s = self.last_s = -math.inf
        self.count = 0
        self.told = False

    def add(self, at_s: float, *, hit: bool) -> None:
        self.quiet(at_s)
        if not hit:
            self.missed = True
            return
        if not self.count:
            self.first_s, self.holes = at_s, (0, 0.0)
        elif self.missed and at_s - self.last_s > self.torn_s:
            self.holes = self.holes[0] + 1, self.holes[1] + at_s - self.last_s
        self.missed = False
        self.last_s = at_s
        self.count += 1
        if not self.told and at_s - self.first_s >= LONGEST_S:
            self._tell(left=False)

    def quiet(self, now_s: float) -> None:
        """End it if nothing was heard for too long by now."""
        if self.count and now_s - self.last_s > self.gap_s:
            if not self.told:
                self._tell(left=True)
            self.count, self.told = 0, False

    def _tell(self, *, left: bool) -> None:
        self.told = True
        middle = 0.5 * (self.first_s + self.last_s)
        number, torn_s = self.holes
        torn = number > 1 and torn_s > MOST_TORN * (self.last_s - self.first_s)
        self._done.append(InPlane(middle, self.first_s, self.last_s, self.count, None, None, left, torn))

    def since_s(self) -> float:
        """When the one under way began, infinity without one."""
        return self.first_s if self.count and not self.told else math.inf


class _Heights:
    """The same of one that tells the beam's height: it ends when it stayed off by more than `NEAR_M` for the gap."""

    __slots__ = ("_done", "gap_s", "here", "last", "left_s", "side", "told")

    def __init__(self, gap_s: float, done: _Done) -> None:
        self.gap_s, self._done = gap_s, done
        self.last: tuple[float, float] | None = None
        self.side = 0.0  # before it: +1 with the beam above the centre, 0 unknown
        self.here: _Here | None = None
        self.left_s: float | None = None
        self.told = False

    def add(self, at_s: float, above_m: float) -> None:
        self.quiet(at_s)
        last, self.last = self.last, (at_s, above_m)
        near = abs(above_m) <= NEAR_M
        crosses = last is not None and last[1] != 0.0 and last[1] * above_m <= 0.0
        if self.here is None and (near or crosses):
            self.here = _Here(at_s if near or last is None else last[0])
        if self.here is None:
            self.side = math.copysign(1.0, above_m)
            return
        inside = near or crosses or self.left_s is None
        self.here.add(last if crosses else None, at_s, above_m, inside=inside)
        if near:
            self.left_s = None
        elif inside:
            self.left_s = at_s
        if self.left_s is not None and at_s - self.left_s > self.gap_s:
            self._end()
        elif not self.told and self.here.last_s - self.here.first_s >= LONGEST_S:
            self._tell(self.here, 0.0, left=False)

    def quiet(self, now_s: float) -> None:
        """End it if nothing was heard for too long by now."""
        if self.last is not None and now_s - self.last[0] > self.gap_s:
            self._end()
            self.last, self.side = None, 0.0

    def since_s(self) -> float:
        """When the one under way began, infinity without one."""
        return math.inf if self.here is None or self.told else self.here.first_s

    def _end(self) -> None:
        last = 0.0 if self.last is None else self.last[1]
        side = math.copysign(1.0, last) if abs(last) > NEAR_M else 0.0
        if self.here is not None and not self.told:
            self._tell(self.here, side, left=True)
        self.here, self.left_s, self.told = None, None, False
        self.side = side

    def _tell(self, here: "_Here", side: float, *, left: bool) -> None:
        found = here.place()
        if found is None:
            return
        self.told = True
        at_s, above_m = found
        up = self.side > 0.0 if self.side * side < 0.0 else None
        self._done.append(InPlane(at_s, here.first_s, here.last_s, here.count, above_m, up, left))


class _Here:
    """What was seen about the beam: times, the zeros among them, and the means that need no list of samples."""

    __slots__ = ("between", "count", "first_s", "last_s", "near", "near_s", "since", "zeros")

    def __init__(self, first_s: float) -> None:
        self.first_s = self.last_s = first_s
        self.count = 0
        self.zeros: tuple[float, float] | None = None
        self.near_s: tuple[float, float] | None = None
        self.near = (0.0, 0)  # sum and number of the samples near the beam
        self.between = (0.0, 0)  # of the samples from the first zero to the last
        self.since = (0.0, 0)  # of those after the last

    def add(self, crossed: tuple[float, float] | None, at_s: float, above_m: float, *, inside: bool) -> None:
        """A sample; `crossed` the one before it, on the other side of the beam, or None."""
        if inside:
            self.last_s = at_s
            self.count += 1
        if crossed is not None:
            zero = crossed[0] + (at_s - crossed[0]) * crossed[1] / (crossed[1] - above_m)
            if self.zeros is None:
                self.zeros = zero, zero
            else:
                self.zeros = self.zeros[0], zero
                self.between = self.between[0] + self.since[0], self.between[1] + self.since[1]
            self.since = (0.0, 0)
        self.since = self.since[0] + above_m, self.since[1] + 1
        if abs(above_m) <= NEAR_M:
            self.near_s = (at_s if self.near_s is None else self.near_s[0]), at_s
            self.near = self.near[0] + above_m, self.near[1] + 1

    def place(self) -> tuple[float, float] | None:
        """(moment, the beam's height over the centre then); None where it came near and went, without a stop."""
        if self.zeros is not None:
            return 0.5 * (self.zeros[0] + self.zeros[1]), _mean(self.between)
        if self.near_s is not None and self.near_s[1] - self.near_s[0] >= STOP_S:
            return 0.5 * (self.near_s[0] + self.near_s[1]), _mean(self.near)
        return None


def _mean(sum_and_number: tuple[float, int]) -> float:
    total, number = sum_and_number
    return total / number if number else 0.0
