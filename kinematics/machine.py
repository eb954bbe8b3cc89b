"""What is measured of a machine and of an attachment, as frozen data with its invariants.

Metres and radians. Each link's frame has its origin at its inner pin and x towards its outer pin; y is left,
z up for a link that points forward. A bucket's or coupler's x runs from its bucket pin to its link pin, so
that a worn edge moves no zero. A machine without a joint has None where that joint would be described.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from .errors import Fault, refuse

Point = tuple[float, float, float]
SHORTEST_LINK_M = 0.01
# Of a direction's length: what a file's six digits leave.
UNIT_WITHIN = 1e-6
# No coupler that holds a bucket lets it rock further; more is a wrong unit or an open latch.
MOST_PLAY_RAD = math.radians(5.0)
# A measurement that is known no better was none; more is a wrong unit. Common practice, no source.
MOST_UNKNOWN_M, MOST_UNKNOWN_RAD, MOST_SLOP_M = 0.2, math.radians(5.0), 0.02


def _finite(where: str, *values: float) -> Iterator[Fault]:
    for value in values:
        if not math.isfinite(value):
            yield Fault("not-finite", where, str(value), "a finite number")


def _link(where: str, length: float) -> Iterator[Fault]:
    if math.isfinite(length) and length < SHORTEST_LINK_M:
        yield Fault(
            "zero-length-link",
            where,
            f"{length:g} m",
            f"a length of at least {SHORTEST_LINK_M} m",
            "measure from pin centre to pin centre",
            {"length_m": length},
        )


@dataclass(frozen=True, slots=True)
class Range:
    """Lowest and highest value a joint angle (rad) or a length (m) takes, both included."""

    low: float
    high: float

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with it: not finite, or low not below high."""
        yield from _finite(where, self.low, self.high)
        if self.low >= self.high:
            found = "both ends alike" if self.low == self.high else "the lower end above the upper"
            # No unit: the same range holds angles or lengths, and a file may have them in others.
            numbers = {"low": self.low, "high": self.high}
            yield Fault("range-swapped", where, found, "the lower end below the upper", "", numbers)


@dataclass(frozen=True, slots=True)
class Cylinder:
    """A cylinder across one joint: `foot` seen from the joint's pin in the inner link's frame (x, z),
    `eye` in the outer link's frame; `stroke` its pin-to-pin length; `extending` +1 raises, -1 lowers."""

    foot_x: float
    foot_z: float
    eye_x: float
    eye_z: float
    stroke: Range
    extending: int

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with it, as far as it can be seen without the machine around it."""
        yield from _finite(where, self.foot_x, self.foot_z, self.eye_x, self.eye_z)
        yield from self.stroke.faults(f"{where}.stroke")
        yield from _link(f"{where}.foot", math.hypot(self.foot_x, self.foot_z))
        yield from _link(f"{where}.eye", math.hypot(self.eye_x, self.eye_z))
        yield from _link(f"{where}.stroke", self.stroke.low)
        yield from _sign(f"{where}.extending", self.extending)


def _sign(where: str, value: int) -> Iterator[Fault]:
    if value not in (-1, 1):
        yield Fault("not-a-side", where, str(value), "+1 or -1")


Held = Cylinder | Range
"""What limits a joint: its cylinder's stroke, or a measured range of the angle itself."""


@dataclass(frozen=True, slots=True)
class BucketLinkage:
    """Idler and power link that turn the bucket, in the stick's frame.

    `branch` +1 open, -1 crossed (see `linkage.bucket_from_idler`). `drive`: the bucket cylinder, whose foot is
    a point of the stick and whose rod pin is the idler's outer pin (`eye` is then (idler_length, 0) in the
    idler and `foot` is seen from the idler's pivot), or the measured range of the idler's angle.
    """

    pivot_x: float
    pivot_z: float
    idler_length: float
    power_link: float
    branch: int
    drive: Held

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with it, as far as it can be seen without an attachment."""
        yield from _finite(where, self.pivot_x, self.pivot_z, self.idler_length, self.power_link)
        yield from _link(f"{where}.idler", self.idler_length)
        yield from _link(f"{where}.power_link", self.power_link)
        yield from _sign(f"{where}.branch", self.branch)
        yield from self.drive.faults(f"{where}.drive")
        if isinstance(self.drive, Cylinder) and (self.drive.eye_x, self.drive.eye_z) != (
            self.idler_length,
            0.0,
        ):
            yield Fault(
                "eye-off-idler", f"{where}.drive.eye", f"x {self.drive.eye_x:g} m, z {self.drive.eye_z:g} m",
                f"x {self.idler_length:g} m, z 0: the idler's outer pin", "the bucket cylinder's rod holds that pin",
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Receiver:
    """Laser receiver on the stick: its place and the unit direction of its mast, in the stick's frame."""

    place: Point
    mast: Point

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with it."""
        yield from _finite(where, *self.place, *self.mast)
        yield from _unit(f"{where}.mast", self.mast)


def _unit(where: str, direction: Point) -> Iterator[Fault]:
    length = math.hypot(*direction)
    if math.isfinite(length) and abs(length - 1.0) > UNIT_WITHIN:
        yield Fault("not-a-direction", where, f"length {length:g}", "a direction of length 1")


def is_turn(parameter: str) -> bool:
    """Whether a parameter (of `parameters.NAMES`) is an angle or a number of a unit direction; else it is a length."""
    return parameter.endswith("_angle") or parameter.startswith(("mast_", "tilt_axis_", "rotate_axis_"))


@dataclass(frozen=True, slots=True)
class _Uncertainty:
    lengths: float | None = None
    angles: float | None = None
    of: Mapping[str, float] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "of", MappingProxyType(dict(self.of)))

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with its numbers; whether the names in `of` are any is for `parameters.misnamed`."""
        yield from _unknown(f"{where}.lengths", self.lengths, MOST_UNKNOWN_M)
        yield from _unknown(f"{where}.angles", self.angles, MOST_UNKNOWN_RAD, angle=True)
        for name, value in self.of.items():
            turn = is_turn(name)
            yield from _unknown(
                f"{where}.of.{name}", value, MOST_UNKNOWN_RAD if turn else MOST_UNKNOWN_M, angle=turn
            )


@dataclass(frozen=True, slots=True)
class MachineUncertainty(_Uncertainty):
    """How well a machine is known; None: nobody said.

    Standard uncertainties: `lengths` (m) of every length, `angles` (rad) of every angle and number of a direction that
    `of` does not name; `of` by parameter (`parameters.NAMES`, m or rad): {"boom_length": 0.002} is a boom taped to 2 mm.
    `pin_slop` (m): the full clearance of a pin in its bore. `flex` (m): how far the edge gives, standard, when it digs
    or is set down.
    """

    pin_slop: float | None = None
    flex: float | None = None

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with its numbers."""
        yield from _Uncertainty.faults(self, where)
        yield from _unknown(f"{where}.pin_slop", self.pin_slop, MOST_SLOP_M)
        yield from _unknown(f"{where}.flex", self.flex, MOST_UNKNOWN_M)


@dataclass(frozen=True, slots=True)
class AttachmentUncertainty(_Uncertainty):
    """How well an attachment is known; None: nobody said. `lengths`, `angles`, `of` as of a machine.

    `edge_wear` (m): standard uncertainty of how far the edge has worn back since it was measured, 0.003 is 3 mm.
    """

    edge_wear: float | None = None

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with its numbers."""
        yield from _Uncertainty.faults(self, where)
        yield from _unknown(f"{where}.edge_wear", self.edge_wear, MOST_UNKNOWN_M)


def _unknown(where: str, value: float | None, most: float, *, angle: bool = False) -> Iterator[Fault]:
    if value is None:
        return
    if isinstance(value, bool) or not isinstance(value, int | float):
        yield Fault("not-a-number", where, repr(value), "a number")
    elif not math.isfinite(value):
        yield Fault("not-finite", where, str(value), "a finite number")
    elif not 0.0 <= value <= most:
        shown, limit, unit = (math.degrees(value), math.degrees(most), "deg") if angle else (value, most, "m")
        yield Fault(
            "out-of-range", where, f"{shown:g} {unit}", f"0 to {limit:g} {unit}", "check the unit",
            {"value": value, "low": 0.0, "high": most},
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Machine:
    """A carrier from its swing axis to the bucket pin.

    `boom_foot` (x, y): the boom foot pin seen from the swing axis, or from the swing post where the boom
    swings by itself; `swing_post` (x, y) that post seen from the swing axis. The origin's height is the boom
    foot pin's. `boom`, `fore_boom`, `stick`: what limits each joint. `bucket`: the four-bar, or the range of
    the bucket joint itself where no linkage was measured. `boom_foot_height`: that pin over the ground the
    machine stands on, tracks level, or None: 1.7 puts the ground 1.7 m below the origin. `uncertainty`: how well
    all this is known, or None.
    """

    boom_foot_x: float
    boom_foot_y: float
    boom_length: float
    stick_length: float
    boom: Held
    stick: Held
    bucket: BucketLinkage | Range
    fore_boom_length: float | None = None
    fore_boom: Held | None = None
    swing_post_x: float = 0.0
    swing_post_y: float = 0.0
    swing_boom: Range | None = None
    receiver: Receiver | None = None
    boom_foot_height: float | None = None
    uncertainty: MachineUncertainty | None = None

    def __post_init__(self) -> None:
        refuse(self.faults())

    def faults(self) -> Iterator[Fault]:
        """Everything that is wrong with this machine, as far as it can be seen without an attachment."""
        for name in ("boom_foot_x", "boom_foot_y", "boom_length", "stick_length"):
            yield from _finite(name, getattr(self, name))
        yield from _finite("swing_post", self.swing_post_x, self.swing_post_y)
        yield from _link("boom_length", self.boom_length)
        yield from _link("stick_length", self.stick_length)
        if (self.fore_boom_length is None) != (self.fore_boom is None):
            yield Fault(
                "half-described", "fore_boom", "one of the two", "both its length and its joint, or neither"
            )
        if self.fore_boom_length is not None:
            yield from _finite("fore_boom_length", self.fore_boom_length)
            yield from _link("fore_boom_length", self.fore_boom_length)
        for name in ("boom", "fore_boom", "stick", "bucket", "swing_boom", "receiver", "uncertainty"):
            part = getattr(self, name)
            if part is not None:
                yield from part.faults(name)
        if self.boom_foot_height is not None:
            yield from _finite("boom_foot_height", self.boom_foot_height)
            if math.isfinite(self.boom_foot_height) and self.boom_foot_height <= 0.0:
                yield Fault(
                    "not-positive", "boom_foot_height", f"{self.boom_foot_height:g} m", "a height above 0",
                    "measure from the ground under the tracks up to the pin",
                    {"height_m": self.boom_foot_height},
                )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Axis:
    """A line that the bucket turns about: a point on it, its unit direction, and the angle's range (rad).

    Both in the frame of the attachment above the joint, with tilt and rotation at zero. The bucket turns by
    the right hand about the direction: tilt positive raises its left corner with the floor flat in digging
    posture, rotation positive is anticlockwise from above in that posture.
    """

    point: Point
    direction: Point
    range: Range

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with it."""
        yield from _finite(where, *self.point, *self.direction)
        yield from _unit(f"{where}.direction", self.direction)
        yield from self.range.faults(f"{where}.range")


@dataclass(frozen=True, slots=True)
class Offset:
    """A rigid step in the plane: the next frame's origin (x, z) and its angle (rad) in the frame before it."""

    x: float
    z: float
    angle: float

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with it."""
        yield from _finite(where, self.x, self.z, self.angle)


@dataclass(frozen=True, slots=True)
class Attachment:
    """All that hangs on the bucket pin: coupler, tilt, rotation and the bucket itself.

    `pin_spacing`: bucket pin to link pin. `coupler`: from the pins on the stick to the pins it holds.
    `mount`: below tilt and rotation, to the bucket's own pins. `edge`: the cutting edge from left corner to
    right corner, `centre` the index of its middle. `teeth`: tooth tips left, centre, right, or None.
    `heel`: left and right end of the heel. All in the bucket's own frame. `coupler_play`: how far the bucket
    rocks in the coupler in all (rad, 0.01 is half that either way of `coupler.angle`), None where not measured.
    `uncertainty`: how well all this is known, or None.
    """

    pin_spacing: float
    edge: tuple[Point, ...]
    centre: int
    heel: tuple[Point, Point]
    teeth: tuple[Point, Point, Point] | None = None
    coupler: Offset | None = None
    tilt: Axis | None = None
    rotate: Axis | None = None
    mount: Offset | None = None
    coupler_play: float | None = None
    uncertainty: AttachmentUncertainty | None = None

    def __post_init__(self) -> None:
        refuse(self.faults())

    def faults(self) -> Iterator[Fault]:
        """Everything that is wrong with this attachment, as far as it can be seen without a machine."""
        yield from _finite("pin_spacing", self.pin_spacing)
        yield from _link("pin_spacing", self.pin_spacing)
        if self.uncertainty is not None:
            yield from self.uncertainty.faults("uncertainty")
        for name in ("edge", "heel", "teeth"):
            for index, point in enumerate(getattr(self, name) or ()):
                yield from _finite(f"{name}.{index}", *point)
        if len(self.edge) < 3 or not 0 < self.centre < len(self.edge) - 1:
            yield Fault(
                "edge-unnamed",
                "edge",
                f"{len(self.edge)} points, centre {self.centre}",
                "at least a left corner, a centre between, and a right corner",
            )
            return
        left_y, middle, right_y = self.edge[0][1], self.edge[self.centre][1], self.edge[-1][1]
        if right_y < left_y and not right_y < middle < left_y:
            yield Fault(
                "centre-outside", "edge", f"a centre at y {middle:g} m", "the edge's centre between its corners",
                "give the middle of the edge, or the point it is read at", {"y_m": middle},
            )  # fmt: skip
        for name, left, right in self._widths():
            if left[1] <= right[1]:
                yield Fault(
                    "corners-swapped", name, f"left y {left[1]:g} m, right y {right[1]:g} m",
                    "the left corner further left (greater y) than the right",
                    "left and right are the bucket's own, seen from the seat in digging posture",
                )  # fmt: skip
        edge = self.edge[self.centre]
        floor = math.dist(
            edge[::2], ((self.heel[0][0] + self.heel[1][0]) / 2, (self.heel[0][2] + self.heel[1][2]) / 2)
        )
        yield from _link("heel", floor)
        for name in ("coupler", "tilt", "rotate", "mount"):
            part = getattr(self, name)
            if part is not None:
                yield from part.faults(name)
        if self.coupler_play is not None:
            yield from self._play_faults(self.coupler_play)

    def _play_faults(self, play: float) -> Iterator[Fault]:
        if self.coupler is None:
            yield Fault(
                "half-described", "coupler_play", "a play without a coupler", "both, or neither",
                "measure the coupler, or take the play out",
            )  # fmt: skip
        yield from _finite("coupler_play", play)
        if math.isfinite(play) and not 0.0 <= play <= MOST_PLAY_RAD:
            yield Fault(
                "out-of-range", "coupler_play", f"{math.degrees(play):g} deg",
                f"0 to {math.degrees(MOST_PLAY_RAD):g} deg, between both stops",
                "check units.angle and the decimal point; a coupler that rocks further holds no bucket",
                {"play_deg": math.degrees(play)},
            )  # fmt: skip

    def _widths(self) -> Iterator[tuple[str, Point, Point]]:
        yield "edge", self.edge[0], self.edge[-1]
        yield "heel", self.heel[0], self.heel[1]
        if self.teeth is not None:
            yield "teeth", self.teeth[0], self.teeth[2]
