"""The inverse of a pose: boom, stick and bucket that put a point of the bucket at a reach and height, floor as wanted.

The floor angle hangs on one unknown, the bucket's in-plane angle, found by bisection; with it, reach and height are two
linear equations for the bucket pin in the arm's plane, where boom and stick meet in closed form (`arm_plane`).
"""

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from .arm import Pose
from .arm_plane import SOLVED, Floats, Hold, angle_fault, floor_roots, hold, nearest_turn, point_faults
from .assembly import ROUNDING_RAD, Assembly
from .drives import drive_length
from .errors import Fault, Refused, refuse
from .linkage import OK, idler_from_bucket
from .maps import Vector

Number = TypeVar("Number", float, Floats)
# A straight arm closes to the last bit of a sum of metres; a nanometre is below anything that can be measured.
CLOSES_M = 1e-9
# Two elbows of a straight arm are one; apart by the root of a rounding.
_ALIKE_RAD = 1e-7
_SCAN_M = 0.005
_FOUND_M = 1e-6


@dataclass(frozen=True, slots=True)
class Line:
    """A level or sloping line in the level frame: `height` (m over the body origin) at `reach` (m).

    `slope` is a ratio, rising away from the machine: Line(-3.0, 0.02, 5.0) stands at -2.98 m at a reach of 6 m.
    Raises `Refused` "not-finite".
    """

    height: float
    slope: float = 0.0
    reach: float = 0.0

    def __post_init__(self) -> None:
        refuse(finite_faults(height=self.height, slope=self.slope, reach=self.reach))

    def height_at(self, reach: Number) -> Number:
        """Height (m over the body origin) at a reach (m from the swing axis)."""
        return self.height + self.slope * (reach - self.reach)


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """`joints` (rad) of boom, stick, bucket; the solved `pose`; `cylinders` (m, pin to pin) by the joint they move.

    `others`: every further pose within the joints' ranges that puts the point there with the same floor angle.
    """

    joints: dict[str, float]
    pose: Pose
    cylinders: dict[str, float]
    others: tuple[Pose, ...]


def place_edge(
    assembly: Assembly,
    *,
    pitch: float,
    roll: float,
    point: str,
    reach: float,
    height: float,
    floor_angle: float,
    swing_boom: float | None = None,
    fore_boom: float | None = None,
    tilt: float | None = None,
    rotate: float | None = None,
    near: Pose | None = None,
) -> Placement:
    """Boom, stick and bucket that put `point` (of `parameters.BUCKET_POINTS`) at level-frame `reach` and `height` (m).

    `floor_angle` (rad) as `Pose.floor_angle`: 0 flat, positive with the heel above the edge. The other joints are given
    as to `pose`. Where several poses do it, the first is the one with the elbow up, not past square; with `near`, the
    one whose largest joint move from that pose is least. Links of 3, 2 and 1 m, the floor along the last, reach (4, 2)
    flat at 67.38, -90, 22.62 deg and at 0, 90, -90.
    Raises `Refused`: as `pose`; "no-such-point"; "angle-absurd"; "arm-sideways"; "no-floor-angle" where the bucket
    turns without its floor ever getting there; "out-of-reach" with `miss_m`; "beyond-joint" for every joint that would
    have to pass its range, with `beyond_deg` and for a cylinder `beyond_mm`. The last two with `nearest_reach_m` at
    that height and floor angle if there is one (looked for in steps of 5 mm, then found to 1e-6 m).
    """
    faults = finite_faults(reach=reach, height=height)
    faults += angle_fault("floor_angle", floor_angle, math.pi)
    faults += point_faults(assembly, point)
    held = hold(
        assembly, pitch=pitch, roll=roll, swing_boom=swing_boom, fore_boom=fore_boom, tilt=tilt, rotate=rotate,
        also=faults,
    )  # fmt: skip
    angles, at = floor_roots(held, floor_angle), held.on_hitch(point)
    joints, margin = candidates(held, at, angles, np.array([reach]), height)
    joints, margin = joints.reshape(len(SOLVED), -1), margin.ravel()
    beyond = past_range(assembly, joints)
    closes = margin >= -CLOSES_M
    good = np.flatnonzero(closes & (beyond <= ROUNDING_RAD)).tolist()
    if not good:
        nearest = _nearest_reach(held, at, angles, reach, height)
        if not closes.any():
            raise Refused([_out_of_reach(float(margin.max()), held, reach, nearest)])
        best = int(np.argmin(np.where(closes, beyond, np.inf)))
        raise Refused(_joint_faults(assembly, joints[:, best].tolist(), nearest))
    # Sides alternate: an odd column has its elbow down.
    found = [(i % 2, held.pose(*joints[:, i].tolist())) for i in good]
    if near is None:
        found.sort(key=lambda item: (item[0], item[1].past_square))
    else:
        found.sort(key=lambda item: max(abs(item[1].joint(name) - near.joint(name)) for name in SOLVED))
    poses: list[Pose] = []
    for _, one in found:
        if all(np.max(np.abs(one.q - before.q)) > _ALIKE_RAD for before in poses):
            poses.append(one)
    first = poses[0]
    return Placement({name: first.joint(name) for name in SOLVED}, first, first.cylinders(), tuple(poses[1:]))


def candidates(
    held: Hold, at: Vector, angles: Floats, reach: Floats, height: Floats | float
) -> tuple[Floats, Floats]:
    """(boom, stick, bucket rad, margin m) that may put the hitch's point `at` at a reach and height (m, one or one each),
    the hitch at in-plane angles (rad); shapes (3, roots, 2 sides, reaches) and without the 3. Elbow up, then down."""
    a = angles[:, None, None]
    x, z = held.pin(at, a, reach, np.asarray(height))
    boom, stick, margin = held.arm_to(x, z, np.array([1.0, -1.0])[:, None])
    bucket = nearest_turn(a - boom - held.fore - stick, held.assembly.ranges["bucket"])
    return np.stack([boom, stick, bucket]), np.broadcast_to(margin, boom.shape)


def past_range(assembly: Assembly, joints: Floats) -> Floats:
    """How far (rad) the worst of boom, stick, bucket (first axis) is beyond its range; negative within."""
    spans = [assembly.ranges[name] for name in SOLVED]
    past = [np.maximum(s.low - angle, angle - s.high) for s, angle in zip(spans, joints, strict=True)]
    worst: Floats = np.max(past, axis=0)
    return worst


def _nearest_reach(held: Hold, at: Vector, angles: Floats, reach: float, height: float) -> float | None:
    """The reach (m) nearest to `reach` that every joint allows at this height and in-plane angle, or None."""

    def works(x: Floats) -> NDArray[np.bool_]:
        joints, margin = candidates(held, at, angles, x, height)
        ok = (margin >= -CLOSES_M) & (past_range(held.assembly, joints) <= ROUNDING_RAD)
        somehow: NDArray[np.bool_] = np.any(ok, axis=(0, 1))
        return somehow

    bound = held.bound(at)
    x = np.linspace(-bound, bound, 1 + math.ceil(2.0 * bound / _SCAN_M))
    good = x[works(x)]
    if not len(good):
        return None
    inner = float(good[np.argmin(np.abs(good - reach))])
    outer = inner + math.copysign(min(_SCAN_M, abs(reach - inner)), reach - inner)
    while abs(outer - inner) > _FOUND_M:
        middle = 0.5 * (inner + outer)
        inner, outer = (middle, outer) if works(np.array([middle]))[0] else (inner, middle)
    return inner


def _advice(nearest: float | None) -> tuple[str, dict[str, float]]:
    if nearest is None:
        return "no reach works at this height and floor angle: change one of them, or move", {}
    words = f"the nearest reach that works at this height and floor angle is {nearest:.3f} m"
    return words, {"nearest_reach_m": nearest}


def _out_of_reach(margin: float, held: Hold, reach: float, nearest: float | None) -> Fault:
    advice, numbers = _advice(nearest)
    closest = abs(held.link - held.assembly.machine.stick_length)
    return Fault(
        "out-of-reach", "reach", f"a reach of {reach:.3f} m, where boom and stick miss the bucket pin by {-margin:.3f} m",
        f"a bucket pin from {closest:.3f} to {held.farthest:.3f} m from the boom foot pin", advice,
        {"reach_m": reach, "miss_m": -margin} | numbers,
    )  # fmt: skip


def _joint_faults(assembly: Assembly, joints: list[float], nearest: float | None) -> list[Fault]:
    faults = []
    advice, numbers = _advice(nearest)
    for name, angle in zip(SOLVED, joints, strict=True):
        span = assembly.ranges[name]
        past = max(span.low - angle, angle - span.high)
        if past <= ROUNDING_RAD:
            continue
        low, high, found, beyond = (math.degrees(value) for value in (span.low, span.high, angle, past))
        told = {"angle_deg": found, "low_deg": low, "high_deg": high, "beyond_deg": beyond}
        words = f"{found:.2f} deg, {beyond:.2f} deg beyond its range"
        length, past_mm = _length_beyond(assembly, name, angle)
        if past_mm > 0.0:
            told |= {"cylinder_mm": 1e3 * length, "beyond_mm": past_mm}
            words += f", its cylinder {past_mm:.1f} mm beyond its stroke"
        expected = f"{low:.2f} to {high:.2f} deg"
        faults.append(Fault("beyond-joint", name, words, expected, advice, told | numbers))
    return faults


def _length_beyond(assembly: Assembly, joint: str, angle: float) -> tuple[float, float]:
    """(length m, mm beyond its stroke) of the cylinder at an angle (rad) past its stops; zeros where none gets there."""
    if joint not in assembly.cylinders:
        return 0.0, 0.0
    if joint == "bucket" and assembly.links is not None:
        angle, status, _ = idler_from_bucket(angle, *assembly.links, assembly.idler_side)
        if status != OK:
            return 0.0, 0.0
    try:
        length = drive_length(assembly, joint, angle)
    except Refused:  # past the line of foot, pin and eye
        return 0.0, 0.0
    stroke = assembly.cylinders[joint].stroke
    return length, 1e3 * max(stroke.low - length, length - stroke.high)


def finite_faults(**values: float) -> list[Fault]:
    """A fault for each that is not a finite number, by its name."""
    return [
        Fault("not-finite", name, str(value), "a finite number")
        for name, value in values.items()
        if not math.isfinite(value)
    ]
