"""From the file's units to metres and radians, and from two tape distances to a point in a link's plane."""

import math
from dataclasses import dataclass, field

from kinematics import linkage
from kinematics.errors import Fault, Refused
from kinematics.machine import Point, Range
from kinematics.units import profile_length_to_metres

from .schema import ByTape, ByXZ, Space
from .table import Span, Units

# Well above any link of a digging arm; what exceeds it is a wrong unit or a slipped point.
LONGEST_M = 40.0
NOWHERE = (math.nan, math.nan)


@dataclass(frozen=True, slots=True)
class Measures:
    """Reads one file's numbers; what it cannot read becomes NaN and an entry of `faults`."""

    units: Units
    faults: list[Fault] = field(default_factory=list)

    def metres(self, path: str, value: float) -> float:
        """A length in metres; "too-long" beyond `LONGEST_M`."""
        try:
            length = profile_length_to_metres(value, self.units.length)
        except Refused:  # beyond any length at all
            length = math.inf
        if abs(length) <= LONGEST_M:
            return length
        self.faults.append(
            Fault("too-long", path, f"{value:g} {self.units.length}", f"at most {LONGEST_M:g} m",
                  "check units.length and the decimal point")
        )  # fmt: skip
        return math.nan

    def radians(self, path: str, value: float) -> float:
        """An angle in radians; "beyond-a-turn" outside -360 to 360 deg."""
        angle = self.turned(value)
        if abs(angle) <= 2.0 * math.pi:
            return angle
        self.faults.append(
            Fault("beyond-a-turn", path, f"{value:g} {self.units.angle}", "at most one turn either way",
                  "check units.angle and the decimal point")
        )  # fmt: skip
        return math.nan

    def turned(self, value: float) -> float:
        """An angle in radians, of any number of turns."""
        return math.radians(value) if self.units.angle == "deg" else value

    def unlimited(self, value: float) -> float:
        """A length in metres; what is not finite, or beyond any length, stays as it stands, for its taker to refuse."""
        try:
            return profile_length_to_metres(value, self.units.length)
        except Refused:
            return value

    def angles(self, path: str, span: Span) -> Range:
        """An angle's range in radians; "beyond-a-turn" too where it is wider than a turn."""
        low, high = self.radians(f"{path}.low", span.low), self.radians(f"{path}.high", span.high)
        if high - low > 2.0 * math.pi + 1e-9:
            self.faults.append(
                Fault("beyond-a-turn", path, f"{span.low:g} to {span.high:g} {self.units.angle}",
                      "a range of at most one turn", "check units.angle")
            )  # fmt: skip
        return Range(low, high)

    def space(self, path: str, place: Space) -> Point:
        """A place in space in metres."""
        return (
            self.metres(f"{path}.x", place.x),
            self.metres(f"{path}.y", place.y),
            self.metres(f"{path}.z", place.z),
        )

    def planar(self, path: str, place: ByXZ | ByTape, between_pins: float) -> tuple[float, float]:
        """(x, z) in metres of a point in the plane of a link whose two pins are `between_pins` metres apart.

        By tape: the two circles' meeting on the named side; "tape-does-not-meet" says by how much they miss.
        """
        if isinstance(place, ByXZ):
            return self.metres(f"{path}.x", place.x), self.metres(f"{path}.z", place.z)
        inner = self.metres(f"{path}.to_inner", place.to_inner)
        outer = self.metres(f"{path}.to_outer", place.to_outer)
        if not all(map(math.isfinite, (inner, outer, between_pins))):
            return NOWHERE
        side = 1.0 if place.side == "above" else -1.0
        x, z, _, status, margin = linkage.meet(0.0, 0.0, inner, between_pins, 0.0, outer, side)
        if status != linkage.NO_CLOSURE:
            return x, z
        self.faults.append(
            Fault("tape-does-not-meet", path, f"{inner:.4f} m and {outer:.4f} m miss each other by {-margin:.4f} m",
                  f"two distances that meet, from pins {between_pins:.4f} m apart",
                  "tape both again, and the distance between the pins", {"miss_m": -margin})
        )  # fmt: skip
        return NOWHERE
