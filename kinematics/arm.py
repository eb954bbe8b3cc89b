"""One pose: joint angles and body attitude to the cutting edge, receiver and pins, through the compiled chain."""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from . import chain, pins
from .assembly import JOINTS, Assembly
from .drives import FourBarPose, beyond_joint, drive_length, four_bar_from_bucket
from .errors import Fault, Refused
from .parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS

_INDEX = {name: i for i, name in enumerate(chain.POINTS)}
_OPTIONAL = (2, 4, 7, 8)  # swing boom, fore boom, tilt, rotate: places in q of joints a machine may lack


class Pose:
    """Where everything is in one pose. Lengths in metres, angles in radians.

    `level` places: z plumb up from the body origin, x the horizontal trace of the body's x-z plane (reach),
    y left. `body` places: the body's own axes. A tooth point is None on a bucket without teeth, the receiver
    on a machine without one.
    """

    __slots__ = ("_four_bar", "_row", "assembly", "q")

    def __init__(self, assembly: Assembly, q: NDArray[np.float64], row: NDArray[np.float64]) -> None:
        self.assembly = assembly
        self.q = q
        self._row = row
        self._four_bar: FourBarPose | None = None

    def level(self, point: str) -> tuple[float, float, float]:
        """Level-frame place (x reach, y left, z height over the body origin) of one of `chain.POINTS`.

        Raises `Refused` "no-such-point" for a tooth or receiver that the profile does not have.
        """
        return self._place(chain.LEVEL, point)

    def body(self, point: str) -> tuple[float, float, float]:
        """Body-frame place of one of `chain.POINTS`; errors as `level`."""
        return self._place(chain.BODY, point)

    def _place(self, base: int, point: str) -> tuple[float, float, float]:
        start = base + 3 * _INDEX[point]
        x, y, z = self._row[start : start + 3].tolist()
        if x != x:  # NaN marks what the profile does not have  # noqa: PLR0124
            raise Refused([
                Fault("no-such-point", point, "a profile without it", "a point that the profile has",
                      "choose another point, or measure it")
            ])  # fmt: skip
        return x, y, z

    def output(self, name: str) -> float:
        """The value of one of `chain.OUTPUTS`; errors as `level`."""
        if name in chain.POINT_OUTPUTS:
            point, _, axis = name.rpartition("_")
            return self.level(point)[("reach", "lateral", "height").index(axis)]
        if name == "mast_angle":
            self.level("receiver")
        return float(self._row[chain.OUTPUTS.index(name)])

    def joint(self, name: str) -> float:
        """Angle (rad) of one of `assembly.JOINTS`, 0 of one that the machine does not have."""
        return float(self.q[2 + JOINTS.index(name)])

    def places(self) -> dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]]:
        """Level and body place (m) of each of `chain.POINTS` that the profile has, by name."""
        row = self._row
        xyz = [
            row[start : start + 3 * len(_INDEX)].reshape(-1, 3).tolist()
            for start in (chain.LEVEL, chain.BODY)
        ]
        return {
            name: (tuple(level), tuple(body))
            for name, level, body in zip(chain.POINTS, *xyz, strict=True)
            if not math.isnan(level[0])
        }

    def height(self, point: str) -> float:
        """Height (m) of a point above the body origin: plumb . place. Positive up."""
        return self.level(point)[2]

    @property
    def reach(self) -> float:
        """Level-frame x (m) of the edge centre from the swing axis; positive forward."""
        return float(self._row[3])

    @property
    def lateral(self) -> float:
        """Level-frame y (m) of the edge centre; positive left."""
        return float(self._row[4])

    @property
    def cross_slope(self) -> float:
        """(right corner - left corner) / horizontal distance, a ratio; positive with its right corner higher.

        Attachment square, left side up 5 deg, nose up 3 deg: -0.0874.
        """
        return float(self._row[chain.CROSS_SLOPE])

    @property
    def floor_angle(self) -> float:
        """Inclination (rad) of the floor from edge to heel; 0 flat, positive with the heel above the edge."""
        return float(self._row[chain.FLOOR_ANGLE])

    @property
    def heel_clearance(self) -> float:
        """Height (m) of heel over edge on the side where it is least; below zero the heel rubs."""
        return float(self._row[chain.HEEL_CLEARANCE])

    @property
    def mast_angle(self) -> float:
        """Angle (rad) between the receiver's mast and plumb; NaN on a machine without a receiver."""
        return float(self._row[chain.MAST_ANGLE])

    @property
    def past_square(self) -> bool:
        """True where the rotator has turned the bucket's own left to the operator's right."""
        return bool(self._row[chain.SQUARE] < 0.0)

    @property
    def has_teeth(self) -> bool:
        """True where the profile gives tooth tips."""
        return self.assembly.attachment.teeth is not None

    @property
    def plumb(self) -> tuple[float, float, float]:
        """Unit plumb direction (up) in body coordinates."""
        x, y, z = self._row[chain.LEVEL_FROM_BODY + 6 : chain.LEVEL_FROM_BODY + 9].tolist()
        return x, y, z

    def edge_line(self) -> NDArray[np.float64]:
        """Level-frame places (m) of every vertex of the cutting edge, left to right, shape (n, 3)."""
        edge = self.assembly.attachment.edge
        if len(edge) == len(EDGE_POINTS):
            return self._row[chain.LEVEL : chain.LEVEL + 9].reshape(3, 3).copy()
        rotation, origin = self.frame()
        placed: NDArray[np.float64] = np.array(edge) @ rotation.T + origin
        return placed

    def frame(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Rotation (3, 3) and origin (3,) (m) of the bucket's frame in the level frame: level = rotation @ own + origin.

        Everything level and curled out by 0.3, its x leads forward and 0.3 up.
        """
        m = self._row[chain.BODY_FROM_BUCKET : chain.BODY_FROM_BUCKET + 12]
        level = self._row[chain.LEVEL_FROM_BODY : chain.LEVEL_FROM_BODY + 9].reshape(3, 3)
        return level @ m[:9].reshape(3, 3), level @ m[9:]

    def lowest(self) -> tuple[str, float]:
        """(what, height m over the body origin) of the lowest of edge, teeth and heel."""
        names = EDGE_POINTS + TOOTH_POINTS + HEEL_POINTS if self.has_teeth else EDGE_POINTS + HEEL_POINTS
        named = [(name, float(self._row[3 * _INDEX[name] + 2])) for name in names]
        if len(self.assembly.attachment.edge) > len(EDGE_POINTS):
            named += [(f"edge_{i}", z) for i, z in enumerate(self.edge_line()[:, 2].tolist())]
        return min(named, key=lambda item: item[1])

    def four_bar(self) -> FourBarPose | None:
        """The bucket linkage in this pose, None on a machine without a measured one."""
        if self._four_bar is None and self.assembly.idler is not None:
            self._four_bar = four_bar_from_bucket(self.assembly, float(self.q[6]))
        return self._four_bar

    def cylinders(self) -> dict[str, float]:
        """Pin-to-pin length (m) of every measured cylinder, by the joint it moves."""
        bar = self.four_bar()
        angles = {"boom": self.q[3], "fore_boom": self.q[4], "stick": self.q[5], "bucket": bar and bar.idler}
        return {
            name: drive_length(self.assembly, name, float(angles[name])) for name in self.assembly.cylinders
        }

    def pins(self) -> dict[str, tuple[float, float, float]]:
        """Body-frame place (m) of every pin the profile gives, by name."""
        bar = self.four_bar()
        places = np.empty((len(pins.PINS), 3))
        pins.write_pins(self.assembly.parameters, self.q, math.nan if bar is None else bar.idler, places)
        two_piece = self.assembly.machine.fore_boom is not None
        return {
            name: (x, y, z)
            for name, (x, y, z) in zip(pins.PINS, places.tolist(), strict=True)
            if not math.isnan(x) and (two_piece or name != "fore_boom_pin")
        }


def pose(
    assembly: Assembly,
    *,
    pitch: float,
    roll: float,
    boom: float,
    stick: float,
    bucket: float,
    swing_boom: float | None = None,
    fore_boom: float | None = None,
    tilt: float | None = None,
    rotate: float | None = None,
) -> Pose:
    """Solve one pose. Angles in rad; pitch positive nose up, roll positive left side up; joints positive from x
    towards z, swing boom and rotation anticlockwise from above, tilt raising the left corner.

    A joint that the machine has must be given; one that it lacks must not. With boom at 0.6, stick at -1.4 and
    the bucket at 0.9, a further -0.1 of bucket curls the edge in.
    Raises `Refused` with every fault: "not-finite", "beyond-joint", "missing-joint", "no-such-joint",
    "too-steep", "edge-plumb".
    """
    given = (pitch, roll, swing_boom, boom, fore_boom, stick, bucket, tilt, rotate)
    ranges = assembly.ranges
    if None in given or len(ranges) < len(JOINTS):
        for i in _OPTIONAL:
            if (given[i] is None) == (JOINTS[i - 2] in ranges):
                raise Refused(_faults(assembly, given))
        q = np.array([0.0 if value is None else value for value in given])
    else:
        q = np.array(given, dtype=np.float64)
    row = np.empty(chain.WIDTH)
    status = chain.solve(assembly.parameters, assembly.limits, q, row)
    if status != 0:
        raise Refused(_faults(assembly, given))
    return Pose(assembly, q, row)


def _faults(assembly: Assembly, given: tuple[float | None, ...]) -> Iterator[Fault]:
    count = 0
    for name, value in zip(("pitch", "roll"), given[:2], strict=True):
        for fault in _lean_fault(name, value):
            count += 1
            yield fault
    for name, value in zip(JOINTS, given[2:], strict=True):
        for fault in _joint_fault(assembly, name, value):
            count += 1
            yield fault
    if not count:
        yield Fault(
            "edge-plumb", "", "a cutting edge that stands plumb from corner to corner", "an edge with a cross-slope",
            "turn tilt or rotation back",
        )  # fmt: skip


def _lean_fault(name: str, value: float | None) -> Iterator[Fault]:
    if value is None or not math.isfinite(value):
        yield Fault("not-finite", name, str(value), "a finite angle")
    elif abs(value) > chain.STEEPEST_RAD:
        yield Fault(
            "too-steep", name, f"{math.degrees(value):.2f} deg",
            f"at most {math.degrees(chain.STEEPEST_RAD):g} deg either way",
            "check the body sensor's sign, axes and unit", {"angle_deg": math.degrees(value)},
        )  # fmt: skip


def _joint_fault(assembly: Assembly, name: str, value: float | None) -> Iterator[Fault]:
    span = assembly.ranges.get(name)
    if span is None:
        if value is not None:
            yield Fault(
                "no-such-joint", name, f"an angle for {name}", "joints " + ", ".join(assembly.ranges),
                "leave it out: this machine and attachment do not have it",
            )  # fmt: skip
    elif value is None:
        yield Fault("missing-joint", name, "no angle", "an angle for each of " + ", ".join(assembly.ranges))
    elif not math.isfinite(value):
        yield Fault("not-finite", name, str(value), "a finite angle")
    else:
        stop = assembly.stops[name]
        if not stop.low <= value <= stop.high:
            yield beyond_joint(name, value, span)
