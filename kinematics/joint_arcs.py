"""Where a point of the bucket gets to in the arm's plane while joints move between their stops: exact arcs, exact tests.

Places are complex numbers, reach + height i (m). Joints in a row, each within a range; the point's place is a sum of
links turned by sums of joint angles. Where the point is on the border of all it reaches, no joint that is free can move
it outwards: from the pin of every free joint the way to the point has one direction. All free joints but the innermost
are therefore aligned with it, which fixes their angles, and as the innermost turns the point runs on a circle about its
pin. So the border lies on finitely many arcs, all of them here. Where a place is reached at all, one joint can be run
towards a stop until it stands there or until the others are at stops or aligned: two joints are left, and two circles.

Source: stationary points of a function on a box (Karush, Kuhn and Tucker); the arcs are the Jacobian's singular places
with joint limits, as in K. Abdel-Malek and J. Yang, Workspace boundaries of serial manipulators using manifold
stratification, 2006 (from memory).
"""

import cmath
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from .arm_plane import Floats, nearest_turn
from .machine import Range

Complexes = NDArray[np.complex128]
Tail = tuple[complex, tuple[float, ...], tuple[str, ...]]

LOW, HIGH, ALIGNED = "low", "high", "aligned"
# A nanometre at ten metres; rounding of a few sums of metres stays far below.
WITHIN_RAD = 1e-10
# An angle told to be a stop's: far below what any sensor tells.
AT_STOP_RAD = 1e-8
# Of lengths that are to close: rounding of sums of metres.
WITHIN_M = 1e-11
# A point nearer to a pin than this does not move as that joint turns.
ON_PIN_M = 1e-9


@dataclass(frozen=True, slots=True)
class Arc:
    """One arc of the point as `joint` turns and the others stand: `centre` (m), `radius` (m), from `start` (rad, from the
    reach axis towards height) on by `sweep` (rad, positive: the joint rises from `low`).

    `others`: the angles (rad) of the joints that stand; `holds`: what each of them stands by, "low" or "high" of its
    range, or "aligned": pin, pin and point in one line.
    """

    centre: complex
    radius: float
    start: float
    sweep: float
    joint: str
    low: float
    others: Mapping[str, float]
    holds: Mapping[str, str]

    def at(self, angle: float) -> complex:
        """The place (m) in a direction (rad) from the centre."""
        return self.centre + cmath.rect(self.radius, angle)

    def past_start(self, angle: float) -> float:
        """How far (rad, 0 up to a turn) a direction lies past the start; a rounding before it counts as 0."""
        turned = (angle - self.start) % (2.0 * math.pi)
        return 0.0 if 2.0 * math.pi - turned <= WITHIN_RAD else turned

    def holds_angle(self, angle: float) -> bool:
        """Whether a direction (rad) from the centre is on the arc, its ends included."""
        return self.past_start(angle) <= self.sweep + WITHIN_RAD

    def joints_at(self, angle: float) -> dict[str, float]:
        """Every joint's angle (rad) with the point in a direction (rad) of the arc from its centre."""
        return {**self.others, self.joint: self.low + min(self.past_start(angle), self.sweep)}


@dataclass(frozen=True, eq=False)
class Row:
    """Joints in a row from `base` (m): `links[k]` runs from joint k's pin to the next pin, the last one to the point, in
    the frame that joint k turns; `ranges[k]` (rad) are the joint's.

    One link of 3 m straight ahead, one of 2 m, both joints from 0 to 90 deg: the point goes from 5 to -2 m of reach.
    """

    base: complex
    links: tuple[complex, ...]
    ranges: tuple[Range, ...]
    names: tuple[str, ...]

    def place(self, joints: Mapping[str, float]) -> complex:
        """The point's place (m) with the joints at these angles (rad)."""
        at, angle = self.base, 0.0
        for name, link in zip(self.names, self.links, strict=True):
            angle += joints[name]
            at += link * cmath.rect(1.0, angle)
        return at

    def tipped(self, tip: complex) -> "Row":
        """The same joints with another point on the last link."""
        return Row(self.base, (*self.links[:-1], tip), self.ranges, self.names)

    def at_stops(self, joints: Mapping[str, float]) -> dict[str, str]:
        """Those joints that stand at an end of their range: "low" or "high"."""
        found = {}
        for name, span in zip(self.names, self.ranges, strict=True):
            for word, stop in ((LOW, span.low), (HIGH, span.high)):
                if abs(joints[name] - stop) <= AT_STOP_RAD:
                    found[name] = word
        return found

    def _stops(self, first: int, last: int) -> Iterator[tuple[tuple[float, ...], tuple[str, ...]]]:
        """Every way in which joints first to last, that one not included, stand at stops."""
        ends = [((span.low, LOW), (span.high, HIGH)) for span in self.ranges[first:last]]
        for chosen in product(*ends):
            yield tuple(angle for angle, _ in chosen), tuple(word for _, word in chosen)

    def _way(self, first: int, last: int, between: tuple[float, ...]) -> complex:
        """From joint `first`'s pin to `last`'s (or the point), in the frame that `first` turns."""
        at, angle = self.links[first], 0.0
        for turned, link in zip(between, self.links[first + 1 : last], strict=True):
            angle += turned
            at += link * cmath.rect(1.0, angle)
        return at

    def _tails(self, free: int, further: Mapping[int, list[Tail]]) -> list[Tail]:
        """Ways (m) from a free joint's pin to the point in the frame it turns, joints beyond at stops or aligned with it;
        the angles of those, and what they stand by."""
        found: list[Tail] = []
        count = len(self.links)
        for between, words in self._stops(free + 1, count):
            found.append((self._way(free, count, between), between, words))
        for after in range(free + 1, count):
            for between, words in self._stops(free + 1, after):
                way = self._way(free, after, between)
                if abs(way) <= ON_PIN_M:
                    continue
                for tail, angles, beyond in further[after]:
                    if abs(tail) <= ON_PIN_M:
                        continue
                    for sign in (1.0, -1.0):
                        turn = cmath.phase(sign * way / tail) - sum(between)
                        angle = turned_into(turn, self.ranges[after])
                        if angle is not None:
                            whole = way * (1.0 + sign * abs(tail) / abs(way))
                            found.append((whole, (*between, angle, *angles), (*words, ALIGNED, *beyond)))
        return found

    @cached_property
    def _all_tails(self) -> dict[int, list[Tail]]:
        tails: dict[int, list[Tail]] = {}
        for free in reversed(range(len(self.links))):
            tails[free] = self._tails(free, tails)
        return tails

    @cached_property
    def arcs(self) -> tuple[Arc, ...]:
        """Every arc that the border of what is reached may lie on; all of them are reached throughout."""
        found: list[Arc] = []
        for free, (name, span) in enumerate(zip(self.names, self.ranges, strict=True)):
            for before, words in self._stops(0, free):
                centre, turned = self._pin(before), sum(before)
                for way, angles, beyond in self._all_tails[free]:
                    if abs(way) <= ON_PIN_M:
                        continue
                    others = dict(zip(self._except(free), (*before, *angles), strict=True))
                    holds = dict(zip(self._except(free), (*words, *beyond), strict=True))
                    start = turned + span.low + cmath.phase(way)
                    sweep = min(span.high - span.low, 2.0 * math.pi)
                    arc = Arc(centre, abs(way), start, sweep, name, span.low, others, holds)
                    if not any(_same(arc, other) for other in found):
                        found.append(arc)
        return tuple(found)

    def _except(self, joint: int) -> tuple[str, ...]:
        return (*self.names[:joint], *self.names[joint + 1 :])

    def _pin(self, before: tuple[float, ...]) -> complex:
        """The pin (m) after joints that stand."""
        at, angle = self.base, 0.0
        for turned, link in zip(before, self.links, strict=False):
            angle += turned
            at += link * cmath.rect(1.0, angle)
        return at

    def farthest(self, direction: complex) -> tuple[Arc, float]:
        """(arc, direction rad from its centre) of the reached place that lies furthest in a direction: 1j is up."""
        towards = cmath.phase(direction)
        places = []
        for arc in self.arcs:
            ends = (arc.start, arc.start + arc.sweep)
            places += [(arc, angle) for angle in (ends if not arc.holds_angle(towards) else (*ends, towards))]
        return max(places, key=lambda each: (each[0].at(each[1]) * direction.conjugate()).real)

    def contains(self, places: Complexes) -> NDArray[np.bool_]:
        """Which places (m, any shape) the point reaches with every joint within its range."""
        flat = np.ravel(places)
        found = np.zeros(flat.shape, dtype=np.bool_)
        for _, ok in self._solved(flat):
            found |= ok
        return found.reshape(np.shape(places))

    def posture(self, place: complex) -> dict[str, float] | None:
        """Joint angles (rad) with the point at a place (m), one posture of many; None where none gets there."""
        for angles, ok in self._solved(np.array([place])):
            if ok[0]:
                return dict(zip(self.names, (float(np.ravel(angle)[0]) for angle in angles), strict=True))
        return None

    def _solved(self, places: Complexes) -> Iterator[tuple[list[Floats], NDArray[np.bool_]]]:
        """Postures that may put the point there, all but two joints at stops or aligned: (angles, which are within)."""
        count = len(self.links)
        for first in range(count - 1):
            for before, _ in self._stops(0, first):
                centre, turned = self._pin(before), sum(before)
                for second in range(first + 1, count):
                    for between, _ in self._stops(first + 1, second):
                        way = self._way(first, second, between)
                        for tail, beyond, _ in self._all_tails[second]:
                            yield from self._two(
                                places, first, second, (centre, turned, way, tail), (before, between, beyond)
                            )

    def _two(
        self, places: Complexes, first: int, second: int, known: tuple[complex, float, complex, complex],
        stand: tuple[tuple[float, ...], ...],
    ) -> Iterator[tuple[list[Floats], NDArray[np.bool_]]]:  # fmt: skip
        centre, turned, way, tail = known
        a, b = abs(way), abs(tail)
        if a <= ON_PIN_M or b <= ON_PIN_M:
            return
        to = places - centre
        far = np.abs(to)
        closes = (a + b - far >= -WITHIN_M) & (far - abs(a - b) >= -WITHIN_M) & (far > ON_PIN_M)
        s = 0.5 * (a + b + far)
        # As `linkage.opening`, between the way to the place and the first link.
        opening = 2.0 * np.arctan2(
            np.sqrt(np.maximum(s - far, 0.0) * np.maximum(s - a, 0.0)), np.sqrt(np.maximum(s * (s - b), 0.0))
        )
        before, between, beyond = stand
        for side in (1.0, -1.0):
            heading = np.angle(to) + side * opening
            q1 = nearest_turn(heading - cmath.phase(way) - turned, self.ranges[first])
            onward = np.angle(to - a * np.exp(1j * heading))
            q2 = nearest_turn(onward - cmath.phase(tail) - (turned + q1 + sum(between)), self.ranges[second])
            ok = closes & _in(q1, self.ranges[first]) & _in(q2, self.ranges[second])
            yield [*_all(before), q1, *_all(between), q2, *_all(beyond)], ok


def _all(angles: tuple[float, ...]) -> list[Floats]:
    return [np.array(angle) for angle in angles]


def _in(angle: Floats, span: Range) -> NDArray[np.bool_]:
    inside: NDArray[np.bool_] = (angle >= span.low - WITHIN_RAD) & (angle <= span.high + WITHIN_RAD)
    return inside


def turned_into(angle: float, span: Range) -> float | None:
    """`angle` (rad) plus whole turns, if that lies in the range."""
    turned = float(nearest_turn(np.array(angle), span))
    return turned if span.low - WITHIN_RAD <= turned <= span.high + WITHIN_RAD else None


def _same(a: Arc, b: Arc) -> bool:
    return (
        abs(a.centre - b.centre) <= WITHIN_M
        and abs(a.radius - b.radius) <= WITHIN_M
        and abs(a.sweep - b.sweep) <= WITHIN_RAD
        and abs(math.remainder(a.start - b.start, 2.0 * math.pi)) <= WITHIN_RAD
    )
