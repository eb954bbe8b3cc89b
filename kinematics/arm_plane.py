"""The arm's plane with what stands still in it, for whoever solves for boom, stick and bucket.

Boom and fore boom together are one link, the stick another; the bucket's in-plane angle is boom + fore boom + stick +
bucket. Two links meet at the stick pin in closed form (circle intersection; J. Craig, Introduction to Robotics, ch. 4).
Angles and places may be arrays.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arm import Pose, pose
from .assembly import ROUNDING_RAD, Assembly
from .chain import body_from_arm, hitch_from_bucket, level_from_body
from .errors import Fault, Refused, refuse
from .machine import Range
from .maps import Map, Vector, after, place
from .parameters import BUCKET_POINTS

Floats = NDArray[np.float64]

SOLVED = ("boom", "stick", "bucket")
HELD = ("swing_boom", "fore_boom", "tilt", "rotate")
# Fine enough that two floor angles alike, this far apart, are one within the noise of any sensor.
STEP_RAD = math.radians(0.25)
CONVERGED_RAD = 1e-12
# Within a degree of square to the reach direction, a millimetre of reach asks for 57 mm of arm.
SIDEWAYS = math.sin(math.radians(1.0))


@dataclass(frozen=True, slots=True, eq=False)
class Hold:
    """What stands still while boom, stick and bucket move.

    `arm` maps the arm's plane to the level frame, `hitch` the bucket to its two pins; boom and fore boom are one link of
    `link` (m), turned `bend` (rad) up from the boom. `edge` from right to left corner and `back` from edge centre to
    the middle of the heel, both as directions of the hitch (m).
    """

    assembly: Assembly
    pitch: float
    roll: float
    given: dict[str, float]
    arm: Map
    hitch: Map
    link: float
    bend: float
    edge: Vector
    back: Vector

    def pose(self, boom: float, stick: float, bucket: float) -> Pose:
        """The pose with these three joints (rad); errors as `arm.pose`. A joint that rounding alone put beyond a stop
        without slack, where a linkage turns back, stands at the stop."""
        solved = {
            name: _unrounded(angle, self.assembly.ranges[name], self.assembly.stops[name])
            for name, angle in zip(SOLVED, (boom, stick, bucket), strict=True)
        }
        return pose(self.assembly, pitch=self.pitch, roll=self.roll, **solved, **self.given)

    def on_hitch(self, point: str) -> Vector:
        """A point of the bucket (m) in the hitch's frame."""
        return _on_hitch(self.assembly, self.hitch, point)

    @property
    def farthest(self) -> float:
        """Longest way (m) from boom foot pin to bucket pin."""
        return self.link + self.assembly.machine.stick_length

    @property
    def fore(self) -> float:
        """The fore boom's angle (rad), 0 without one."""
        return self.given.get("fore_boom", 0.0)

    def bound(self, at: Vector) -> float:
        """No reach of the hitch's point `at`, either way, is longer (m)."""
        return self.farthest + math.hypot(*at) + math.hypot(*self.arm[9:12])

    def level(self, angle: Floats, v: Vector) -> tuple[Floats, Floats, Floats]:
        """A direction of the hitch in the level frame, the hitch at in-plane angles (rad)."""
        m, s, c = self.arm, np.sin(angle), np.cos(angle)
        x, y, z = c * v[0] - s * v[2], v[1], s * v[0] + c * v[2]
        return (
            m[0] * x + m[1] * y + m[2] * z,
            m[3] * x + m[4] * y + m[5] * z,
            m[6] * x + m[7] * y + m[8] * z,
        )

    def floor(self, angle: Floats) -> Floats:
        """Floor angle (rad, as `Pose.floor_angle`) with the hitch at in-plane angles (rad)."""
        ex, ey, _ = self.level(angle, self.edge)
        hx, hy, hz = self.level(angle, self.back)
        floor: Floats = np.arctan2(hz * np.hypot(ex, ey), hx * ey - hy * ex)
        return floor

    def pin(self, at: Vector, angle: Floats, reach: Floats, height: Floats) -> tuple[Floats, Floats]:
        """(x, z) of the bucket pin in the arm's plane (m) that puts the hitch's point `at` at a reach and height."""
        m = self.arm
        ahead, _, up = self.level(angle, at)
        bx, bz = reach - m[9] - ahead, height - m[11] - up
        square = m[0] * m[8] - m[2] * m[6]
        return (m[8] * bx - m[2] * bz) / square, (m[0] * bz - m[6] * bx) / square

    def arm_to(self, x: Floats, z: Floats, side: Floats | float) -> tuple[Floats, Floats, Floats]:
        """(boom, stick in rad, margin in m) that put the bucket pin at (x, z) of the arm's plane.

        `side` +1: the stick pin lies left of the way from boom foot to bucket pin (elbow up), -1 right. Where the
        margin is negative the links miss by as much, and the angles mean nothing.
        """
        a, b = self.link, self.assembly.machine.stick_length
        far = np.hypot(x, z)
        margin = np.minimum(a + b - far, far - abs(a - b))
        s = 0.5 * (a + b + far)
        # As `linkage.opening`, between the way to the bucket pin and the boom.
        opening = 2.0 * np.arctan2(
            np.sqrt(np.maximum(s - far, 0.0) * np.maximum(s - a, 0.0)), np.sqrt(np.maximum(s * (s - b), 0.0))
        )
        up = np.arctan2(z, x) + side * opening
        along = np.arctan2(z - a * np.sin(up), x - a * np.cos(up))
        ranges = self.assembly.ranges
        boom = nearest_turn(up - self.bend, ranges["boom"])
        return boom, nearest_turn(along - boom - self.fore, ranges["stick"]), margin


def nearest_turn(angle: Floats, span: Range) -> Floats:
    """`angle` (rad) plus whole turns, so that it lies within half a turn of the middle of `span`."""
    middle = 0.5 * (span.low + span.high)
    turned: Floats = angle - 2.0 * math.pi * np.floor((angle - middle + math.pi) / (2.0 * math.pi))
    return turned


def hold(
    assembly: Assembly,
    *,
    pitch: float,
    roll: float,
    swing_boom: float | None,
    fore_boom: float | None,
    tilt: float | None,
    rotate: float | None,
    also: Iterable[Fault] = (),
) -> Hold:
    """Body attitude and the joints that are not solved for (rad); `also`: faults already found, told with these.

    Raises `Refused`: as `arm.pose` for what is given, and "arm-sideways".
    """
    given = dict(zip(HELD, (swing_boom, fore_boom, tilt, rotate), strict=True))
    middle = {name: 0.5 * (assembly.ranges[name].low + assembly.ranges[name].high) for name in SOLVED}
    faults = list(also)
    try:
        pose(
            assembly, pitch=pitch, roll=roll, swing_boom=swing_boom, fore_boom=fore_boom, tilt=tilt, rotate=rotate,
            **middle,
        )  # fmt: skip
    except Refused as refused:  # an edge that stands plumb in mid-range need not do so elsewhere
        faults += [fault for fault in refused.faults if fault.code != "edge-plumb"]
    refuse(faults)
    have = {name: value for name, value in given.items() if value is not None}
    m = assembly.parameters[0]
    arm = after(level_from_body(pitch, roll), body_from_arm(m, have.get("swing_boom", 0.0)))
    if abs(arm[0] * arm[8] - arm[2] * arm[6]) < SIDEWAYS:
        raise Refused([
            Fault("arm-sideways", "swing_boom", "an arm that stands square to the reach direction",
                  "an arm that reaches forward", "swing the boom back: boom, stick and bucket hardly change the reach")
        ])  # fmt: skip
    outer, fore = float(m["fore_boom_length"]), have.get("fore_boom", 0.0)
    along, up = float(m["boom_length"]) + outer * math.cos(fore), outer * math.sin(fore)
    hitch = hitch_from_bucket(m, have.get("tilt", 0.0), have.get("rotate", 0.0))
    left, centre, right, heel_left, heel_right = (
        np.array(_on_hitch(assembly, hitch, point))
        for point in ("left", "centre", "right", "heel_left", "heel_right")
    )
    edge, back = (left - right).tolist(), (0.5 * (heel_left + heel_right) - centre).tolist()
    return Hold(
        assembly, pitch, roll, have, arm, hitch, math.hypot(along, up), math.atan2(up, along), tuple(edge), tuple(back)
    )  # fmt: skip


def _unrounded(angle: float, span: Range, stop: Range) -> float:
    if stop.high < angle <= span.high + ROUNDING_RAD:
        return stop.high
    if span.low - ROUNDING_RAD <= angle < stop.low:
        return stop.low
    return angle


def _on_hitch(assembly: Assembly, hitch: Map, point: str) -> Vector:
    m = assembly.parameters[0]
    return place(hitch, m[f"{point}_x"], m[f"{point}_y"], m[f"{point}_z"])


def floor_roots(held: Hold, floor_angle: float) -> Floats:
    """In-plane angles (rad, within one turn) at which the floor angle is as wanted; raises `Refused` "no-floor-angle"."""
    floors = held.floor(np.linspace(-math.pi, math.pi, 1441))
    turned = np.unwrap(floors)
    found = np.empty(0)
    if float(turned.max() - turned.min()) > ROUNDING_RAD:
        found = roots(lambda angle: np.sin(held.floor(angle) - floor_angle), -math.pi, math.pi)
        found = found[np.cos(held.floor(found) - floor_angle) > 0.0]
        if len(found) > 1 and found[-1] - found[0] > 2.0 * math.pi - ROUNDING_RAD:
            found = found[:-1]
    if not len(found):
        off = np.abs(np.arctan2(np.sin(floors - floor_angle), np.cos(floors - floor_angle)))
        wanted, nearest = math.degrees(floor_angle), math.degrees(float(floors[int(np.argmin(off))]))
        raise Refused([
            Fault("no-floor-angle", "floor_angle", f"{wanted:.2f} deg",
                  "a floor angle that boom, stick and bucket give at this lean, swing, tilt and rotation: the nearest is "
                  f"{nearest:.2f} deg", "turn tilt or rotation", {"nearest_deg": nearest, "wanted_deg": wanted})
        ])  # fmt: skip
    return found


def roots(f: Callable[[Floats], Floats], low: float, high: float) -> Floats:
    """Where a continuous f changes sign from low to high, ascending, to `CONVERGED_RAD`; a jump is no root.

    Sampled every `STEP_RAD`, and 64 times finer where |f| dips without a change of sign; then bisection.
    """
    x = np.linspace(low, high, 2 + math.ceil((high - low) / STEP_RAD))
    y = f(x)
    size, alike = np.abs(y), y[:-1] * y[1:] > 0.0
    dips = 1 + np.flatnonzero((size[1:-1] <= size[:-2]) & (size[1:-1] <= size[2:]) & alike[:-1] & alike[1:])
    if len(dips):
        x = np.unique(np.concatenate([x, np.linspace(x[dips - 1], x[dips + 1], 129).ravel()]))
        y = f(x)
    at = np.flatnonzero(y[:-1] * y[1:] < 0.0)
    a, b, sign = x[at], x[at + 1], np.sign(y[at])
    while len(at) and np.max(b - a) > CONVERGED_RAD:
        middle = 0.5 * (a + b)
        left = np.sign(f(middle)) == sign
        a, b = np.where(left, middle, a), np.where(left, b, middle)
    found = 0.5 * (a + b)
    return np.unique(np.concatenate([x[y == 0.0], found[np.abs(f(found)) <= 1e-6]]))


def point_faults(assembly: Assembly, point: str) -> list[Fault]:
    """What keeps `point` from being a point of this bucket."""
    if point in BUCKET_POINTS and not math.isnan(float(assembly.parameters[0][f"{point}_x"])):
        return []
    return [
        Fault("no-such-point", "point", repr(point), "a point that the profile has, of " + ", ".join(BUCKET_POINTS),
              "choose another point, or measure it")
    ]  # fmt: skip


def angle_fault(where: str, angle: float, most: float) -> list[Fault]:
    """What is wrong with a floor angle (rad) of at most `most` either way."""
    if not math.isfinite(angle):
        return [Fault("not-finite", where, str(angle), "a finite angle")]
    if abs(angle) <= most:
        return []
    return [
        Fault("angle-absurd", where, f"{math.degrees(angle):.2f} deg", f"at most {math.degrees(most):g} deg either way",
              "check unit and sign", {"angle_deg": math.degrees(angle)})
    ]  # fmt: skip
