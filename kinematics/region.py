"""Where a pass can go: reaches of a line and in-plane bucket angles that every joint, the floor and the heel allow.

A strip is an unbroken range of in-plane angles with the floor inside its window and the heel clear, for one side of the
elbow; on it, room is how far (rad or m) the tightest of `LIMITS` is from being broken.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arm_plane import SOLVED, STEP_RAD, Floats, Hold, roots
from .assembly import ROUNDING_RAD
from .chain import over_heel
from .machine import Range
from .maps import Vector
from .parameters import HEEL_POINTS
from .reach import Line

Mask = NDArray[np.bool_]

LIMITS = (
    *((joint, end) for joint in SOLVED for end in ("low", "high")), ("arm", "far"), ("arm", "close"),
    ("floor", "low"), ("floor", "high"), ("heel", "left"), ("heel", "right"),
)  # fmt: skip
# The rounding of a joint angle, and of a sum of metres.
ROUNDING = ROUNDING_RAD
# An edge this nearly along its own travel (sine of the angle between) cuts no surface.
_ALONG = 1e-3
_FEWEST = 9
_ZOOM = 33


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """An unbroken run of columns of a mask, with the first and last allowed row of each."""

    start: int
    first: NDArray[np.int64]
    last: NDArray[np.int64]

    @property
    def stop(self) -> int:
        """The last column, included."""
        return self.start + len(self.first) - 1


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """The limits of a pass of the hitch's point `at` along `line`, with the floor inside `window` (rad to the line)."""

    held: Hold
    at: Vector
    line: Line
    window: Range

    def joints(self, reach: Floats, angle: Floats, side: float) -> tuple[Floats, Floats, Floats, Floats]:
        """(boom, stick, bucket rad, far way m from boom foot to bucket pin) that put the point on the line."""
        x, z = self.held.pin(self.at, angle, reach, self.line.height_at(reach))
        boom, stick, _ = self.held.arm_to(x, z, side)
        return boom, stick, angle - boom - self.held.fore - stick, np.hypot(x, z)

    def floor(self, angle: Floats) -> tuple[Floats, Floats, Floats]:
        """(floor to the surface the edge cuts rad, left heel, right heel above that surface m) at in-plane angles.

        The surface holds the edge, corner to corner, and runs along the line; the floor's angle to it is taken square to
        the edge. Each heel end is held against the edge's point ahead of it and the half of the edge on its side, since
        a V cuts two surfaces. NaN where the edge lies along its travel.
        """
        held, slope = self.held, self.line.slope
        ex, ey, ez = held.level(angle, held.edge)
        aside = self._aside(ex, ey, ez)
        hx, hy, hz = held.level(angle, held.back)
        above = hz - slope * hx + aside * hy
        behind = hx * (ey - ez * aside) - hy * (ex + ez * slope) + hz * (ex * aside + ey * slope)
        to_surface = np.arctan2(above * np.sqrt(ex * ex + ey * ey + ez * ez), behind)
        heels = []
        for heel in HEEL_POINTS:
            over, half = self._half(heel)
            x, y, z = held.level(angle, over)
            heels.append(z - slope * x + self._aside(*held.level(angle, half)) * y)
        return to_surface, heels[0], heels[1]

    def _aside(self, x: Floats, y: Floats, z: Floats) -> Floats:
        """Fall to the left of a surface that holds this direction and runs along the line: z = slope x - fall y."""
        cuts = np.abs(y) > _ALONG * np.maximum(np.hypot(x, y), np.abs(z))
        found: Floats = np.where(cuts, self.line.slope * x - z, np.nan) / np.where(cuts, y, 1.0)
        return found

    def _half(self, heel: str) -> tuple[Vector, Vector]:
        """(from the edge's point ahead to a heel end, half of the edge on its side), directions of the hitch (m)."""
        m = self.held.assembly.parameters[0]
        left, right = over_heel(m, m[f"{heel}_y"])
        centre, end = self.held.on_hitch("centre"), self.held.on_hitch(heel)
        corner = self.held.on_hitch("right" if right > 0.0 else "left")
        share = left + right
        half = tuple(b - a for a, b in zip(centre, corner, strict=True))
        over = tuple(b - a - share * way for a, b, way in zip(centre, end, half, strict=True))
        return (over[0], over[1], over[2]), (half[0], half[1], half[2])

    def margins(self, reach: Floats, angle: Floats, side: float) -> Iterator[Floats]:
        """Room (rad or m) to each of `LIMITS`, in order; NaN where there is no surface."""
        *joints, far = self.joints(reach, angle, side)
        for name, value in zip(SOLVED, joints, strict=True):
            span = self.held.assembly.ranges[name]
            yield value - span.low
            yield span.high - value
        yield self.held.farthest - far
        yield far - abs(2.0 * self.held.link - self.held.farthest)
        floor, left, right = self.floor(angle)
        yield floor - self.window.low
        yield self.window.high - floor
        yield left
        yield right

    def room(self, reach: Floats, angle: Floats, side: float) -> Floats:
        """The least of `margins`, NaN where there is no surface."""
        margins = self.margins(reach, angle, side)
        least = next(margins)
        for margin in margins:
            least = np.minimum(least, margin)
        return least

    def allowed(self, reach: Floats, angle: Floats, side: float) -> Mask:
        """Where every limit is kept."""
        ok: Mask = self.room(reach, angle, side) >= -ROUNDING
        return ok

    def strips(self) -> list[Floats]:
        """In-plane angles (rad) that floor and heel allow: each unbroken range as samples at most `STEP_RAD` apart."""
        ranges = [self.held.assembly.ranges[name] for name in SOLVED]
        low, high = (self.held.fore + sum(getattr(span, end) for span in ranges) for end in ("low", "high"))
        ends = [np.array([low, high])]
        for bound in (self.window.low, self.window.high):
            ends.append(roots(lambda a, bound=bound: np.sin(self._floor_or_turn(a) - bound), low, high))  # type: ignore[misc]
        for i in (1, 2):
            ends.append(roots(lambda a, i=i: np.nan_to_num(self.floor(a)[i], nan=-1.0), low, high))  # type: ignore[misc]
        ends.append(roots(lambda a: self.held.level(a, self.held.edge)[1], low, high))
        at = np.unique(np.concatenate(ends))
        floor, left, right = self.floor(0.5 * (at[:-1] + at[1:]))
        good = (floor >= self.window.low) & (floor <= self.window.high) & (left >= 0.0) & (right >= 0.0)
        good &= np.diff(at) > ROUNDING
        found: list[Floats] = []
        for first, stop in _runs(good):
            width = at[stop] - at[first]
            found.append(np.linspace(at[first], at[stop], max(_FEWEST, 1 + math.ceil(width / STEP_RAD))))
        return found

    def _floor_or_turn(self, angle: Floats) -> Floats:
        return np.nan_to_num(self.floor(angle)[0], nan=math.pi)

    def roomiest(self, reach: float, low: float, high: float, side: float) -> tuple[float, float]:
        """(in-plane angle rad between low and high with the most room at this reach, that room)."""
        first, last = low, high
        while True:
            angles = np.linspace(low, high, _ZOOM)
            room = np.nan_to_num(self.room(np.array(reach), angles, side), nan=-1.0)
            best = int(np.argmax(room))
            cell = (high - low) / (_ZOOM - 1)
            if cell <= ROUNDING / _ZOOM:
                return float(angles[best]), float(room[best])
            low, high = max(first, float(angles[best]) - cell), min(last, float(angles[best]) + cell)


def longest_run(mask: Mask) -> Run | None:
    """The longest run of columns (first axis) of a mask that hang together, each joined to the next by touching rows.

    A pass goes one way: a run never turns back. None where nothing is allowed.
    """
    nodes: list[
        tuple[int, int, int, int, int]
    ] = []  # column, first row, last row, columns so far, node before
    before: list[int] = []
    for column, row in enumerate(mask):
        here = []
        for first, stop in _runs(row):
            joined = [i for i in before if nodes[i][1] <= stop and first - 1 <= nodes[i][2]]
            back = max(joined, key=lambda i: nodes[i][3], default=-1)
            here.append(len(nodes))
            nodes.append((column, first, stop - 1, 1 + (nodes[back][3] if joined else 0), back))
        before = here
    if not nodes:
        return None
    at = max(range(len(nodes)), key=lambda i: nodes[i][3])
    kept = []
    while at >= 0:
        kept.append(nodes[at])
        at = nodes[at][4]
    kept.reverse()
    return Run(kept[0][0], np.array([node[1] for node in kept]), np.array([node[2] for node in kept]))


def _runs(row: Mask) -> list[tuple[int, int]]:
    """(first, one past the last) of every unbroken run of True."""
    padded = np.zeros(len(row) + 2, dtype=np.int8)
    padded[1:-1] = row
    turns = np.flatnonzero(np.diff(padded))
    return [(first, stop) for first, stop in turns.reshape(-1, 2).tolist()]


def bisected(inside: Floats, outside: Floats, ok: Callable[[Floats], Mask], until: float) -> Floats:
    """Between points where `ok` holds and points where it may not: the last that holds, to `until`."""
    a, b = inside, outside
    while np.max(np.abs(b - a), initial=0.0) > until:
        middle = 0.5 * (a + b)
        holds = ok(middle)
        a, b = np.where(holds, middle, a), np.where(holds, b, middle)
    return a
