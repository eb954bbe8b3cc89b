"""Corrections: advice on how far one joint alone would have to move to bring a point of the bucket onto a line.

It is advice for the person at the levers and never commands a machine. A joint turns the bucket about one axis, and
whatever is linear in its places then follows base + A cos t + B sin t: both answers and the nearest approach are exact.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from .arm import Pose
from .arm_plane import point_faults
from .assembly import JOINTS
from .chain import body_from_arm, level_from_body
from .drives import cylinder_length
from .errors import Fault, refuse
from .maps import Vector, after, direction, lifted, place
from .parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS
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
    and `off_by_m` is how far (m, plumb) it stays above the line (below: negative). `places`: where edge, teeth and heel
    then are (level frame, m), named as by `Pose.lowest`.
    """

    joint: str
    move_rad: float
    angle: float
    cylinder_move_m: float | None
    reach: float
    reaches: bool
    off_by_m: float
    places: Mapping[str, Vector]


@dataclass(frozen=True, slots=True)
class TiltCorrection:
    """What the tilt alone would do for the cross-slope; `move_rad` to `angle` (rad), left corner up positive.

    `reaches`: the edge comes to the cross-slope wanted; if not, `cross_slope` (ratio, as `Pose.cross_slope`) is the
    nearest within the tilt's range, and `off_by` what it has more than wanted. `places` as in `Correction`.
    """

    move_rad: float
    angle: float
    cross_slope: float
    reaches: bool
    off_by: float
    places: Mapping[str, Vector]


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


def corrections(
    pose: Pose, line: Line, *, point: str = "centre", left_slope: float = 0.0
) -> tuple[Correction, ...]:
    """One `Correction` for each of `ADVISED` that the machine has, for `point` of the bucket and a level-frame line.

    A sloping line counts at the reach where the point comes to. With the edge 8 m out on level ground and 80 mm above a
    level line, the boom would have to come down 0.57 deg, in round figures. The smaller of two moves is told.
    `left_slope` (ratio): the line lies in a plane that rises so much to the left; it runs where the point stands now.
    Raises `Refused` "no-such-point"; "not-finite".
    """
    refuse(point_faults(pose.assembly, point))
    if not math.isfinite(left_slope):
        refuse([Fault("not-finite", "left_slope", str(left_slope), "a finite ratio")])
    seen, places = pose.level(point), _places(pose)
    found = []
    for joint, (at, axis) in _axes(pose).items():
        lever = seen[0] - at[0], seen[1] - at[1], seen[2] - at[2]
        ahead, left, rise = (_turning(lever, axis, i) for i in range(3))
        off = _Wave(
            at[2]
            - line.height_at(at[0])
            + rise.base
            - line.slope * ahead.base
            - left_slope * (left.base - lever[1]),
            rise.a - line.slope * ahead.a - left_slope * left.a,
            rise.b - line.slope * ahead.b - left_slope * left.b,
        )
        moves = off.moves(*_room(pose, joint))
        move = _first([off.at(t) for t in moves], moves)
        now, over = pose.joint(joint), off.at(move)
        length = None
        if joint in pose.assembly.cylinders:
            length = cylinder_length(pose.assembly, joint, now + move) - cylinder_length(
                pose.assembly, joint, now
            )
        found.append(
            Correction(
                joint, move, now + move, length, at[0] + ahead.at(move), abs(over) <= REACHED, over,
                _moved(places, at, axis, move),
            )
        )  # fmt: skip
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
    at, axis = _axes(pose)["tilt"]
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
    return TiltCorrection(
        move, pose.joint("tilt") + move, slope(move), abs(left_off) <= REACHED, left_off,
        _moved(_places(pose), at, axis, move),
    )  # fmt: skip


def _places(pose: Pose) -> dict[str, Vector]:
    """Level-frame places (m) of edge, teeth and heel, named as by `Pose.lowest`."""
    names = EDGE_POINTS + TOOTH_POINTS + HEEL_POINTS if pose.has_teeth else EDGE_POINTS + HEEL_POINTS
    places = {name: pose.level(name) for name in names}
    if len(pose.assembly.attachment.edge) > len(EDGE_POINTS):
        places |= {f"edge_{i}": (x, y, z) for i, (x, y, z) in enumerate(pose.edge_line().tolist())}
    return places


def _moved(places: Mapping[str, Vector], at: Vector, axis: Vector, move: float) -> dict[str, Vector]:
    """Places turned (rad, by the right hand) about an axis."""
    (ox, oy, oz), (u, v, w) = at, axis
    s, c = math.sin(move), math.cos(move)
    moved = {}
    for name, (px, py, pz) in places.items():
        x, y, z = px - ox, py - oy, pz - oz
        along = (1.0 - c) * (u * x + v * y + w * z)
        moved[name] = (
            ox + c * x + s * (v * z - w * y) + along * u,
            oy + c * y + s * (w * x - u * z) + along * v,
            oz + c * z + s * (u * y - v * x) + along * w,
        )
    return moved


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
    along = axis[0] * lever[0] + axis[1] * lever[1] + axis[2] * lever[2]
    j, k = (i + 1) % 3, (i + 2) % 3
    base = axis[i] * along
    return _Wave(base, lever[i] - base, axis[j] * lever[k] - axis[k] * lever[j])


def _axes(pose: Pose) -> dict[str, tuple[Vector, Vector]]:
    """(a point on it, unit direction) of the axis of each of `ADVISED` that the machine has, in the level frame.

    Positive angles turn by the right hand.
    """
    m, ranges = pose.assembly.parameters[0], pose.assembly.ranges
    pitch, roll, swing, *angles = pose.q[:7].tolist()
    arm = after(level_from_body(pitch, roll), body_from_arm(m, swing))
    across = direction(arm, 0.0, -1.0, 0.0)  # boom, stick and bucket rise about it
    outwards = (float(m[f"{name}_length"]) for name in JOINTS[1:4])
    found = {}
    x = z = turned = 0.0
    for name, angle, along in zip(JOINTS[1:5], angles, (*outwards, 0.0), strict=True):
        if name in ranges:
            found[name] = place(arm, x, 0.0, z), across
        turned += angle
        x, z = x + along * math.cos(turned), z + along * math.sin(turned)
    if "tilt" in ranges:
        coupler = lifted(m["coupler_angle"], m["coupler_x"], 0.0, m["coupler_z"])
        at = place(coupler, m["tilt_point_x"], m["tilt_point_y"], m["tilt_point_z"])
        axis = direction(coupler, m["tilt_axis_x"], m["tilt_axis_y"], m["tilt_axis_z"])
        hitch = after(arm, lifted(turned, x, 0.0, z))
        found["tilt"] = place(hitch, *at), direction(hitch, *axis)
    # numpy's own numbers are slow one by one
    return {
        name: ((float(px), float(py), float(pz)), (float(u), float(v), float(w)))
        for name, ((px, py, pz), (u, v, w)) in found.items()
    }
