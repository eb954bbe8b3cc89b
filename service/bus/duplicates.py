"""Two units that answer to one address: by the names they claim it with, and by numbers that jump to and fro.

A single unit gives one course. Two give two, and frame by frame the numbers jump from one to the other and back. What
shakes at half the rate at which it is sampled does the same, so numbers alone prove nothing: two units also have two
clocks, and it is the times that tell whether one clock can have sent all of it.
"""

import math
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from kinematics.units import Quantity

NAMES_PGN = 60928
"""Address claimed (J1939-81): 8 bytes, the sender's name."""
NOBODY = 254
SHORT, LONG = 24, 64
_EVERY, _EVERY_S = 4, 0.004
_RETURNS = {SHORT: 10, LONG: 6}
_TRANSITIONS = 10
_FEWEST = 4
# The courses must lie four times as far apart as each one wanders from frame to frame.
_APART = 4.0
_MOST_STEPS = 3.0
_TWICE = 1.6
# Looks, one in four frames, that must agree, each against it counting double: chance does not.
_AGREE = 14
_BUNCHED, _MOST_BUNCHED = 0.08, 0.15
_RATE_S = 1.0
_LEARN_S = 2.0
LEAST: Mapping[Quantity, float] = {
    Quantity.ANGLE: math.radians(0.3), Quantity.LENGTH: 0.003, Quantity.ACCELERATION: 0.5,
    Quantity.RATE: math.radians(1.0),
}  # fmt: skip
"""How far apart two courses must lie at least (rad, m, m/s2, rad/s): two units that agree better do little harm."""


@dataclass(frozen=True, slots=True)
class Claim:
    """Who says that a source address is theirs, and when (s)."""

    source: int
    name: int
    at_s: float

    @property
    def parts(self) -> dict[str, int]:
        """The fields of the name (J1939-81, from memory), as numbers."""
        fields = (
            ("identity", 0, 21), ("manufacturer", 21, 11), ("function", 40, 8), ("function_instance", 35, 5),
            ("vehicle_system", 49, 7), ("industry_group", 60, 3), ("may_move", 63, 1),
        )  # fmt: skip
        return {name: self.name >> start & ((1 << size) - 1) for name, start, size in fields}


@dataclass(slots=True)
class Claims:
    """Source addresses and the names that claimed them. A name has one address: where it claims another, it left."""

    by_source: dict[int, dict[int, Claim]] = field(default_factory=dict)

    def take(self, source: int, data: bytes, at_s: float) -> bool:
        """An address claim; False where its 8 bytes are not there. From source 254 it says that a unit found none."""
        if len(data) != 8:
            return False
        name = int.from_bytes(data, "little")
        for other, claims in self.by_source.items():
            if other != source:
                claims.pop(name, None)
        if source < NOBODY:
            self.by_source.setdefault(source, {})[name] = Claim(source, name, at_s)
        return True

    def of(self, source: int) -> tuple[Claim, ...]:
        """Every claim on an address; more than one is a conflict."""
        return tuple(self.by_source.get(source, {}).values())

    def conflicts(self) -> dict[int, tuple[Claim, ...]]:
        """Addresses that more than one name claims."""
        return {source: self.of(source) for source, claims in self.by_source.items() if len(claims) > 1}


@dataclass(frozen=True, slots=True)
class Jumps:
    """The numbers jump between two courses: the last of each, how far apart they lie, the frames looked at, and `two`:
    what proves two senders, "" where one that shakes at half its rate could do the same."""

    at_s: float
    levels: tuple[float, float]
    apart: float
    frames: int
    two: str


class Jumping:
    """Watches one number of one stream of frames for a second course.

    `least`: what lies nearer together is not told apart; `step`: one bit of it, `turn`: where it comes round again (deg:
    360, so that 179.9 and -179.9 are neighbours). `period_s`: the time between its frames, where a standard sets it.
    """

    def __init__(
        self, least: float, step: float = 0.0, turn: float | None = None, period_s: float | None = None
    ) -> None:
        self._least = max(least, _MOST_STEPS * step)
        self._turn = turn
        self._rate = None if period_s is None else 1.0 / period_s
        self._last: deque[tuple[float, float]] = deque(maxlen=LONG)
        self._returns: deque[int] = deque(maxlen=_RETURNS[SHORT])
        self._times: deque[float] = deque(maxlen=4096)
        self._number = 0
        self._looked = -math.inf
        self._window: tuple[float, int] | None = None
        self._agree: dict[str, int] = {}

    def take(self, t: float, value: float) -> Jumps | None:
        """A number at a time (s); what was found, looked for at every fourth frame that gives reason to."""
        last = self._last
        self._number += 1
        self._times.append(t)
        if len(last) > 1:
            jump = self._between(value, last[-1][1])
            if jump > self._least and _APART * self._between(value, last[-2][1]) <= jump:
                self._returns.append(self._number)
        last.append((t, value))
        self._learn(t)
        if self._number % _EVERY or t - self._looked < _EVERY_S:
            return None
        self._looked = t
        for size, wanted in _RETURNS.items():
            if len(last) >= size and self._returned(wanted, size):
                found = self._look(list(last)[-size:])
                if found is not None:
                    return found
        return None

    def _between(self, a: float, b: float) -> float:
        by = abs(a - b)
        if self._turn is None:
            return by
        by %= self._turn
        return min(by, self._turn - by)

    def _returned(self, wanted: int, within: int) -> bool:
        return len(self._returns) >= wanted and self._number - self._returns[-wanted] < within

    def _learn(self, t: float) -> None:
        """The rate of an undisturbed stream, over two seconds without a return."""
        if self._window is None or (self._returns and self._returns[-1] == self._number):
            self._window = t, self._number
            return
        since, number = self._window
        if t - since >= _LEARN_S:
            rate = (self._number - number) / (t - since)
            self._rate = rate if self._rate is None else max(self._rate, rate)
            self._window = t, self._number

    def _look(self, window: Sequence[tuple[float, float]]) -> Jumps | None:
        courses = self._courses(window)
        if courses is None:
            return None
        labels, own, other = courses
        apart = _part(other, 0.1)
        if apart < self._least or _APART * _part(own, 0.9) > apart:
            return None
        times = [t for t, _ in window]
        crossings = sum(a != b for a, b in pairwise(labels))
        if crossings < _TRANSITIONS or min(sum(labels), len(labels) - sum(labels)) < _FEWEST:
            return None
        levels = [next(v for (_, v), s in zip(reversed(window), reversed(labels), strict=True) if s is side)
                  for side in (False, True)]  # fmt: skip
        clocks = _two_clocks(times, labels, upward=levels[0] > levels[1])
        two = self._agreed(clocks) or self._twice(times[-1])
        return Jumps(times[-1], (levels[0], levels[1]), _part(other, 0.5), len(window), two)

    def _agreed(self, clocks: str) -> str:
        agree = self._agree
        agree.update({each: max(count - 2, 0) for each, count in agree.items() if each != clocks})
        if not clocks:
            return ""
        agree[clocks] = min(agree.get(clocks, 0) + 1, _AGREE)
        return clocks.partition(":")[0] if agree[clocks] >= _AGREE else ""

    def _courses(
        self, window: Sequence[tuple[float, float]]
    ) -> tuple[list[bool], list[float], list[float]] | None:
        """Each number with the course that it carries on; how far it lies from the last of its own and of the other."""
        jumps = [
            self._between(b[1], c[1])
            for a, b, c in zip(window, window[1:], window[2:], strict=False)
            if _APART * self._between(a[1], c[1]) <= self._between(b[1], c[1]) > self._least
        ]
        if not jumps:
            return None
        half = 0.5 * _part(jumps, 0.5)
        here, there = window[0][1], None
        labels, own, other = [False], [], []
        on = False
        for _, value in window[1:]:
            near = self._between(value, here)
            if there is None:
                if near > half:
                    here, there, on = value, here, not on
                else:
                    here = value
                labels.append(on)
                continue
            far = self._between(value, there)
            if far < near:
                here, there, near, far, on = there, here, far, near, not on
            here = value
            own.append(near)
            other.append(far)
            labels.append(on)
        return (labels, own, other) if own else None

    def _twice(self, now: float) -> str:
        """Frames come at twice the rate that they should have, over a second."""
        if self._rate is None or now - self._times[0] < _RATE_S:
            return ""
        # In each quarter of it: frames held up and handed on at once are no rate.
        quarters = [0, 0, 0, 0]
        for t in reversed(self._times):
            if t <= now - _RATE_S:
                break
            quarters[min(int(4.0 * (now - t) / _RATE_S), 3)] += 1
        if min(quarters) * 4.0 / _RATE_S < _TWICE * self._rate:
            return ""
        rate = sum(quarters) / _RATE_S
        return f"{rate:.0f} frames/s in place of {self._rate:.0f}"


def _two_clocks(times: Sequence[float], labels: Sequence[bool], *, upward: bool) -> str:
    """Why one clock cannot have sent these frames, "" where it can.

    From an even clock the time before a frame does not hang on what is in it. Two clocks of one rate: the way there is
    shorter than the way back, as their phase is (`upward`: whether "there" is the higher course; it ends what is told,
    for chance has no direction). Of unlike rates: a frame of the one between two of the other takes no time.
    """
    gaps: dict[tuple[bool, bool], list[float]] = {(a, b): [] for a in (False, True) for b in (False, True)}
    between = [t - s for s, t in pairwise(times)]
    for a, b, gap in zip(labels, labels[1:], between, strict=False):
        gaps[a, b].append(gap)
    mean = (times[-1] - times[0]) / len(between)
    if sum(gap < _BUNCHED * mean for gap in between) > _MOST_BUNCHED * len(between):
        return ""  # handed on in bunches: these are not the times of the bus
    there, back = gaps[False, True], gaps[True, False]
    if min(len(there), len(back)) > _FEWEST:
        first = _part(there, 0.5) < _part(back, 0.5)
        short, long = (there, back) if first else (back, there)
        if 1.1 * _part(short, 0.5) <= _part(long, 0.5) and _part(short, 0.8) < _part(long, 0.2):
            return f"two clocks out of step:{first is upward}"
    for side in (False, True):
        straight, around = gaps[side, side], _around(times, labels, side)
        if min(len(straight), len(around)) <= _FEWEST:
            continue
        mid = _part(straight, 0.5)
        even = all(_part(each, 0.8) - _part(each, 0.2) <= 0.25 * mid for each in (straight, around))
        if even and abs(_part(around, 0.5) - mid) <= 0.15 * mid:
            return "two clocks, one between the beats of the other"
    return ""


def _around(times: Sequence[float], labels: Sequence[bool], side: bool) -> list[float]:  # noqa: FBT001
    """The times between frames of one course that have frames of the other between them."""
    mine = [i for i, each in enumerate(labels) if each is side]
    return [times[j] - times[i] for i, j in pairwise(mine) if j > i + 1]


def _part(values: Sequence[float], part: float) -> float:
    """The value below which this part of them lies; 0 of none."""
    ordered = sorted(values)
    return ordered[min(int(part * len(ordered)), len(ordered) - 1)] if ordered else 0.0
