"""How high an arm brings its bucket with the point plumb below the bucket pin, the last of a load gone.

The point below the pin fixes the bucket's angle in the plane: the joints' sum. The greatest height of the pin is then
where every other joint is at a stop, or moves the pin level for a moment, or the bucket joint is at a stop: finitely
many postures, each tried.
"""

import cmath
import math
from collections.abc import Iterator, Sequence

from .joint_arcs import Row, turned_into
from .machine import Range

Angles = tuple[float, ...]


def highest_hanging(row: Row) -> dict[str, float] | None:
    """Joints (rad) of the highest posture of a row whose point stands plumb below its last pin; None where there is none.

    Exact; where several postures are equally high, any of them.
    One link of 2 m between level and upright, a last link of 1 m free to turn: 1 m up, with the first link upright.
    """
    hangs = -0.5 * math.pi - cmath.phase(row.links[-1])
    found = [dict(zip(row.names, angles, strict=True)) for angles in _of_sum(row.links, row.ranges, hangs)]
    return max(found, key=lambda joints: row.place(joints).imag, default=None)


def _of_sum(links: Sequence[complex], spans: Sequence[Range], total: float) -> Iterator[Angles]:
    """Postures whose joints add up to `total` (rad, whole turns aside), the last link so keeping its direction, and no
    joint that is free moving the row's end up or down."""
    *inner, outermost = spans
    if not inner:
        angle = turned_into(total, outermost)
        if angle is not None:
            yield (angle,)
        return
    for angles in _stationary(links[:-1], inner):
        last = turned_into(total - sum(angles), outermost)
        if last is not None:
            yield (*angles, last)
    for stop in (outermost.low, outermost.high):
        for angles in _of_sum(links[:-1], inner, total - stop):
            yield (*angles, stop)


def _stationary(links: Sequence[complex], spans: Sequence[Range]) -> Iterator[Angles]:
    names = tuple(str(k) for k in range(len(links)))
    for arc in Row(0j, tuple(links), tuple(spans), names).arcs:
        up = [angle for angle in (0.5 * math.pi, -0.5 * math.pi) if arc.holds_angle(angle)]
        for angle in (arc.start, arc.start + arc.sweep, *up):
            joints = arc.joints_at(angle)
            yield tuple(joints[name] for name in names)
