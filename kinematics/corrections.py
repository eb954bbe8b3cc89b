"""Corrections: advice on how far one joint alone would have to move to bring a point of the bucket onto a line.

It is advice for the person at the levers and never commands a machine. A joint turns the bucket about one axis, and
whatever is linear in its places then follows base + A cos t + B sin t: both answers and the nearest approach are exact.
"""

import math
from dataclasses import dataclass

from .arm import Pose
from .arm_plane import point_faults
from .assembly import JOINTS
from .chain import body_from_arm, level_from_body
from .drives import cylinder_length
from .errors import Fault, refuse
from .maps import Vector, after, direction, lifted, place
from .reach import Line

ADVISED = ("boom", "fore_boom", "stick", "bucket", "tilt")
# A nanometre, or as much of a slope: rounding, far below what a lever does.
REACHED = 1e-9


@dataclass(frozen=True, slots=True)
class Correction:
    """What one joint alone would do, all others still.

    `move_rad` from where it is to `angle` (rad), signed as the joint's angle, and the cylinder's change of length
    `cylinder_move_m` (m, longer positive; None where no cylinder is measured); `reach` (m) where the point comes to.
    `reaches`: it comes onto the line; if not, the move is the one that brings it nearest within the joint's range,
    and `off_by_m` is how far (m, plumb) it stays above the line (below: negative).
    """

    joint: str
    move_rad: float
    angle: float
    cylinder_move_m: float | None
    reach: float
    reaches: bool
    off_by_m: float


@dataclass(frozen=True, slots=True)
class TiltCorrection:
    """What the tilt alone would do for the cross-slope; `move_rad` to `angle` (rad), left corner up positive.

    `reaches`: the edge comes to the cross-slope wanted; if not, `cross_slope` (ratio, as `Pose.cross_slope`) is the
    nearest within the tilt's range, and `off_by` what it has more than wanted.
    """

    move_rad: float
    angle: float
    cross_slope: float
    reaches: bool
    off_by: float


@dataclass(frozen=True, slots=True)
class _Wave:
    """base + a cos t + b sin t, t the move (rad) of a joint from where it is."""

    base: float
    a: float
    b: float

    def at(self, t: float) -> float:
        return self.base + self.a * math.cos(t) + self.b * math.sin(t)

    def moves(self, least: float, most: float) -> list[float]:
        """Moves from least to most that make it 0, then those that may bring it nearest, the stillest first."""
        size, middle = math.hypot(self.a, self.b), math.atan2(self.b, self.a)
        turns = [middle, middle + math.pi]
        if abs(self.base) <= size and size > 0.0:
            half = math.acos(-self.base / size)
            turns = [middle + half, middle - half, *turns]
        around = (turn * 2.0 * math.pi for turn in range(-2, 3))
        within = [t + turn for turn in around for t in turns if least <= t + turn <= most]
        return sorted([0.0, least, most, *within], key=abs)


def corrections(pose: Pose, line: Line, *, point: str = "centre") -> tuple[Correction, ...]:
    """One `Correction` for each of `ADVISED` that the machine has, for `point` of the bucket and a level-frame line.

    A sloping line counts at the reach where the point comes to. With the edge 8 m out on level ground and 80 mm above a
    level line, the boom would have to come down 0.57 deg, in round figures. The smaller of two moves is told.
    Raises `Refused` "no-such-point".
    """
    refuse(point_faults(pose.assembly, point))
    seen = pose.level(point)
    found = []
    for joint in ADVISED:
        if joint not in pose.assembly.ranges:
            continue
        at, axis = _axis(pose, joint)
        lever = seen[0] - at[0], seen[1] - at[1], seen[2] - at[2]
        rise, ahead = _turning(lever, axis, 2), _turning(lever, axis, 0)
        off = _Wave(
            at[2] - line.height_at(at[0]) + rise.base - line.slope * ahead.base,
            rise.a - line.slope * ahead.a,
            rise.b - line.slope * ahead.b,
        )
        moves = off.moves(*_room(pose, joint))
        move = _first([off.at(t) for t in moves], moves)
        angle, left = pose.joint(joint) + move, off.at(move)
        length = None
        if joint in pose.assembly.cylinders:
            length = cylinder_length(pose.assembly, joint, angle) - pose.cylinders()[joint]
        found.append(
            Correction(joint, move, angle, length, at[0] + ahead.at(move), abs(left) <= REACHED, left)
        )
    return tuple(found)


def cross_slope_correction(pose: Pose, cross_slope: float) -> TiltCorrection | None:
    """The tilt that would give the edge a cross-slope (ratio, positive with its right corner higher).

    None on an attachment without a tilt axis. Body level, attachment square, 5 % wanted: the tilt goes to -2.86 deg.
    Raises `Refused` "not-finite".
    """
    if not math.isfinite(cross_slope):
        refuse([Fault("not-finite", "cross_slope", str(cross_slope), "a finite ratio")])
    if "tilt" not in pose.assembly.ranges:
        return None
    left, right = pose.level("left"), pose.level("right")
    edge = left[0] - right[0], left[1] - right[1], left[2] - right[2]
    long = math.hypot(*edge)
    _, axis = _axis(pose, "tilt")
    rise = _turning(edge, axis, 2)
    # The cross-slope falls as the left corner's rise over the right one grows, and only then: ask for that rise.
    off = _Wave(rise.base + cross_slope * long / math.hypot(1.0, cross_slope), rise.a, rise.b)
    moves = off.moves(*_room(pose, "tilt"))

    def slope(t: float) -> float:
        up = rise.at(t)
        level = (long - up) * (long + up)
        return -up / math.sqrt(level) if level > 0.0 else math.copysign(math.inf, -up)

    move = _first([slope(t) - cross_slope for t in moves], moves)
    left_off = slope(move) - cross_slope
    return TiltCorrection(move, pose.joint("tilt") + move, slope(move), abs(left_off) <= REACHED, left_off)


def _first(offs: list[float], moves: list[float]) -> float:
    """The smallest move that reaches, else the one that stays off least."""
    for off, move in zip(offs, moves, strict=True):
        if abs(off) <= REACHED:
            return move
    return min(zip((abs(off) for off in offs), moves, strict=True))[1]


def _room(pose: Pose, joint: str) -> tuple[float, float]:
    """(least, most) move (rad) within the joint's range, or to stay where it is."""
    span, now = pose.assembly.ranges[joint], pose.joint(joint)
    return min(span.low - now, 0.0), max(span.high - now, 0.0)


def _turning(lever: Vector, axis: Vector, i: int) -> _Wave:
    """Component `i` of `lever` (m) as it turns by the right hand about a unit axis (Rodrigues' formula)."""
    along = sum(u * v for u, v in zip(axis, lever, strict=True))
    j, k = (i + 1) % 3, (i + 2) % 3
    base = axis[i] * along
    return _Wave(base, lever[i] - base, axis[j] * lever[k] - axis[k] * lever[j])


def _axis(pose: Pose, joint: str) -> tuple[Vector, Vector]:
    """(a point on it, unit direction) of a joint's axis in the level frame; positive angles by the right hand."""
    m = pose.assembly.parameters[0]
    swing, *angles = (pose.joint(name) for name in JOINTS[:5])
    frame = after(level_from_body(*pose.q[:2].tolist()), body_from_arm(m, swing))
    outwards = (0.0, m["boom_length"], m["fore_boom_length"], m["stick_length"])
    for name, angle, along in zip(JOINTS[1:5], angles, outwards, strict=True):
        frame = after(frame, lifted(angle, along, 0.0, 0.0))
        if name == joint:  # boom, stick and bucket rise about -y
            return place(frame, 0.0, 0.0, 0.0), direction(frame, 0.0, -1.0, 0.0)
    coupler = after(frame, lifted(m["coupler_angle"], m["coupler_x"], 0.0, m["coupler_z"]))
    at = place(coupler, m["tilt_point_x"], m["tilt_point_y"], m["tilt_point_z"])
    return at, direction(coupler, m["tilt_axis_x"], m["tilt_axis_y"], m["tilt_axis_z"])
