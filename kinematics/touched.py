"""What a machine met of the world while its sensors were read: heights of its points, and lines held on its links."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from .errors import Fault
from .mounting_lines import Level, PlumbLine
from .parameters import EDGE_POINTS, TOOTH_POINTS
from .sensing import Told

POINTS_TOUCHED = (*EDGE_POINTS, *TOOTH_POINTS, "receiver")
LINKS = ("boom", "fore_boom", "stick", "bucket")
"""On whose pin line a level or plumb line may lie."""
BODY, AXES = "body", ("pitch", "roll")
MOST_HEIGHT_M, MOST_STANDARD_M, MOST_STANDARD_RAD = 200.0, 0.5, math.radians(5.0)
"""Beyond, a number is in another unit."""


@dataclass(frozen=True, slots=True)
class HeightSeen:
    """A height of a point of the machine, seen from outside while the sensors said `readings` (rad or m, by name).

    `group`: heights of one group are compared with each other: touches of one fixed point from one stand; edge heights
    under one set-up of a level or total station; strikes of one plane from one stand. What each group counts from is
    found with the rest. `point`: of `POINTS_TOUCHED`. `height` (m) in that datum, positive up: 0 for every touch of one
    fixed point and every strike of one level plane, minus the reading of a rod. `standard` (m): standard uncertainty of
    it alone, of contact or rod, above 0. A rod of 1.420 m on the edge: height -1.420.
    """

    name: str
    group: str
    readings: Mapping[str, Told]
    point: str
    height: float
    standard: float

    def faults(self) -> Iterator[Fault]:
        """What is wrong with its own numbers."""
        if self.point not in POINTS_TOUCHED:
            yield Fault(
                "no-such-point", "point", repr(str(self.point)[:60]), "one of " + ", ".join(POINTS_TOUCHED)
            )
        yield from _number("height", self.height, -MOST_HEIGHT_M, MOST_HEIGHT_M, "m")
        yield from _size("standard", self.standard, MOST_STANDARD_M, "m")


@dataclass(frozen=True, slots=True)
class LineSeen:
    """A level or plumb line held on a link while the sensors said `readings` (rad or m, by name).

    `link`: of `LINKS`, the line through its two pins (of a bucket with `to_edge`: bucket pin to edge centre); or "body"
    with `axis`: a level along the body's x, "pitch", higher ahead positive, or its y, "roll", higher on the left
    positive. The line's `uncertainty` is the standard uncertainty (rad). A boom laid level: Level(0.0, 0.0005).
    """

    name: str
    readings: Mapping[str, Told]
    link: str
    line: Level | PlumbLine
    axis: str | None = None

    @property
    def standard(self) -> float:
        """Standard uncertainty (rad) of the line."""
        return self.line.uncertainty

    def faults(self) -> Iterator[Fault]:
        """What is wrong with it, as far as it can be seen without a machine."""
        if self.link not in (*LINKS, BODY):
            yield Fault(
                "no-such-joint", "link", repr(str(self.link)[:60]), "one of " + ", ".join((*LINKS, BODY))
            )
        if (self.link == BODY) != (self.axis is not None):
            yield Fault("half-described", "axis", str(self.axis), "pitch or roll with the body, else None")
        elif self.axis is not None and self.axis not in AXES:
            yield Fault("not-a-choice", "axis", repr(str(self.axis)[:60]), "pitch or roll")
        if self.link == BODY and not isinstance(self.line, Level):
            yield Fault("wrong-kind", "line", "a plumb line on the body", "a Level")
        if self.line.to_edge and self.link != "bucket":
            yield Fault("not-sensed-so", "line", f"to_edge on {self.link}", "to_edge of the bucket only")
        yield from _size("line.uncertainty", self.line.uncertainty, MOST_STANDARD_RAD, "rad")


Seen = HeightSeen | LineSeen


def _number(where: str, value: object, low: float, high: float, unit: str) -> Iterator[Fault]:
    if isinstance(value, bool) or not isinstance(value, int | float):
        yield Fault("not-a-number", where, repr(value), "a number")
    elif not math.isfinite(value):
        yield Fault("not-finite", where, str(value), "a finite number")
    elif not low <= value <= high:
        yield Fault(
            "out-of-range", where, f"{value:g} {unit}", f"{low:g} to {high:g} {unit}", "check the unit"
        )


def _size(where: str, value: object, most: float, unit: str) -> Iterator[Fault]:
    found = [*_number(where, value, -math.inf, most, unit)]
    yield from found
    if not found and isinstance(value, int | float) and value <= 0.0:
        yield Fault("not-positive", where, f"{value:g} {unit}", "a standard uncertainty above 0")
