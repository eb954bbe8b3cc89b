"""One superset chain from the body to the bucket, as scalar formulas that never raise and never branch.

Frames are right-handed, x forward, y left, z up. Turning a link by a positive angle lifts what points
forward (about -y); swing, tilt and rotation turn by the right hand. Maps: see `maps`.
"""

import math

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .linkage import OK
from .maps import Map, Vector, after, direction, length, lift, place, stepped, swing, turned
from .parameters import BUCKET_POINTS
from .trig import arctan2, sincos

POINTS = (*BUCKET_POINTS, "receiver")
_N = len(POINTS)
POINT_OUTPUTS = tuple(f"{point}_{axis}" for point in POINTS for axis in ("reach", "lateral", "height"))
SHAPE_OUTPUTS = ("cross_slope", "floor_angle", "heel_clearance", "mast_angle")
OUTPUTS = (*POINT_OUTPUTS, *SHAPE_OUTPUTS, "square")
"""What a pose gives, in the order of `outcomes`: level-frame places (m), then shapes (ratio, rad, m, rad), and how far
(m) the bucket's own left corner lies to the operator's left of its right corner, below zero past square."""

# One row of results of one pose: the outputs, then body places, then two maps.
LEVEL = 0
CROSS_SLOPE, FLOOR_ANGLE, HEEL_CLEARANCE, MAST_ANGLE, SQUARE = range(3 * _N, 3 * _N + 5)
BODY = len(OUTPUTS)
BODY_FROM_BUCKET = BODY + 3 * _N
LEVEL_FROM_BODY = BODY_FROM_BUCKET + 12
WIDTH = LEVEL_FROM_BODY + 9

BEYOND, STEEP, EDGE_PLUMB = 11, 12, 13
# No machine works at this lean; a larger reading is a fault of sensor or sign.
STEEPEST_RAD = math.radians(45.0)
# Corner over corner to a micrometre: no level distance to divide by.
PLUMB_EDGE_M = 1e-6

Outcomes = tuple[float, ...]
Steps = tuple[float, float, float, float, float, float, float, float]
Turns = tuple[float, ...]
Frames = tuple[Map, Map, Map, float, float]


@compiled
def turns(
    pitch: float, roll: float, swing_boom: float, boom: float, fore_boom: float, stick: float, bucket: float,
    tilt: float, rotate: float,
) -> Turns:  # fmt: skip
    """Sine, then cosine, of: pitch, roll, swing boom; boom, fore boom, stick and bucket in the arm's plane (their sums);
    tilt, rotation."""
    fore = boom + fore_boom
    up = fore + stick
    a = sincos(pitch)
    b = sincos(roll)
    c = sincos(swing_boom)
    d = sincos(boom)
    e = sincos(fore)
    f = sincos(up)
    g = sincos(up + bucket)
    h = sincos(tilt)
    i = sincos(rotate)
    return (
        a[0], a[1], b[0], b[1], c[0], c[1], d[0], d[1], e[0], e[1], f[0], f[1], g[0], g[1], h[0], h[1], i[0], i[1],
    )  # fmt: skip


@compiled
def level_map(pitch_s: float, pitch_c: float, roll_s: float, roll_c: float) -> Map:
    """From the body to its level frame: z is plumb, x the horizontal trace of the body's x-z plane, y to the left.

    Plumb (up) in body coordinates n = (sin p, cos p sin r, cos p cos r), nose up and left side up positive: nose up
    1 deg lifts a point 10 m ahead by 0.175 m.
    """
    nx = pitch_s
    ny = pitch_c * roll_s
    nz = pitch_c * roll_c
    run = length(nx, nz)
    ahead_x = nz / run
    ahead_z = -nx / run
    return ahead_x, 0.0, ahead_z, ahead_z * ny, run, -ahead_x * ny, nx, ny, nz, 0.0, 0.0, 0.0


@compiled
def level_from_body(pitch: float, roll: float) -> Map:
    """As `level_map`, from the angles (rad)."""
    s, c = sincos(pitch)
    t, d = sincos(roll)
    return level_map(s, c, t, d)


@compiled
def levelled(level: Map, x: float, y: float, z: float) -> Vector:
    """A direction or place of the body in the level frame, which shares its origin."""
    return (
        level[0] * x + level[2] * z,
        level[3] * x + level[4] * y + level[5] * z,
        level[6] * x + level[7] * y + level[8] * z,
    )


@compiled
def level_after(level: Map, body: Map) -> Map:
    """A map into the body, seen from the level frame."""
    a = levelled(level, body[0], body[3], body[6])
    b = levelled(level, body[1], body[4], body[7])
    c = levelled(level, body[2], body[5], body[8])
    t = levelled(level, body[9], body[10], body[11])
    return a[0], b[0], c[0], a[1], b[1], c[1], a[2], b[2], c[2], t[0], t[1], t[2]


@compiled
def over_heel(m: np.void, y: float) -> tuple[float, float]:
    """Shares of left and right corner, the rest the centre's, in the edge's point ahead of a heel end at this y.

    The line left, centre, right; a heel wider than the edge is held against the corner. Half-way out: (0.5, 0).
    """
    out = y - m["centre_y"]
    left = m["left_y"] - m["centre_y"]
    right = m["centre_y"] - m["right_y"]
    to_left = out / (left if left > 0.0 else math.nan)
    to_right = -out / (right if right > 0.0 else math.nan)
    to_left = to_left if to_left < 1.0 else 1.0
    to_right = to_right if to_right < 1.0 else 1.0
    return to_left if out > 0.0 else 0.0, to_right if out < 0.0 else 0.0


@compiled
def steps(m: np.void) -> Steps:
    """What is the same in every pose: sines and cosines of the attachment's two fixed steps, coupler, then mount; which
    point of the edge lies ahead of the heel's left and right end (`over_heel`)."""
    coupler_s, coupler_c = sincos(m["coupler_angle"])
    mount_s, mount_c = sincos(m["mount_angle"])
    left_l, left_r = over_heel(m, m["heel_left_y"])
    right_l, right_r = over_heel(m, m["heel_right_y"])
    return coupler_s, coupler_c, mount_s, mount_c, left_l, left_r, right_l, right_r


@compiled
def hitch(m: np.void, fixed: Steps, tilt_s: float, tilt_c: float, rotate_s: float, rotate_c: float) -> Map:
    """From the bucket's own frame to the frame of the two pins on stick and power link."""
    held = stepped(rotation(m, rotate_s, rotate_c), fixed[2], fixed[3], m["mount_x"], m["mount_z"])
    leaned = leaning(m, tilt_s, tilt_c)
    return lift(fixed[0], fixed[1], m["coupler_x"], m["coupler_z"], after(leaned, held))


@compiled
def leaning(m: np.void, s: float, c: float) -> Map:
    """The turn about the tilt axis."""
    return turned(
        s, c, m["tilt_point_x"], m["tilt_point_y"], m["tilt_point_z"],
        m["tilt_axis_x"], m["tilt_axis_y"], m["tilt_axis_z"],
    )  # fmt: skip


@compiled
def rotation(m: np.void, s: float, c: float) -> Map:
    """The turn about the rotation axis."""
    return turned(
        s, c, m["rotate_point_x"], m["rotate_point_y"], m["rotate_point_z"],
        m["rotate_axis_x"], m["rotate_axis_y"], m["rotate_axis_z"],
    )  # fmt: skip


@compiled
def hitch_from_bucket(m: np.void, tilt: float, rotate: float) -> Map:
    """As `hitch`, from the angles (rad)."""
    s, c = sincos(tilt)
    t, d = sincos(rotate)
    return hitch(m, steps(m), s, c, t, d)


@compiled
def arm_foot(m: np.void, s: float, c: float) -> tuple[float, float]:
    """(x, y) of the boom foot pin in the body, from sine and cosine of the swing boom."""
    return (
        m["swing_post_x"] + c * m["boom_foot_x"] - s * m["boom_foot_y"],
        m["swing_post_y"] + s * m["boom_foot_x"] + c * m["boom_foot_y"],
    )


@compiled
def body_from_arm(m: np.void, swing_boom: float) -> Map:
    """From the arm's plane, origin on the boom foot pin, to the body."""
    s, c = sincos(swing_boom)
    x, y = arm_foot(m, s, c)
    return c, -s, 0.0, s, c, 0.0, 0.0, 0.0, 1.0, x, y, 0.0


@compiled
def arm_pins(
    m: np.void, boom_s: float, boom_c: float, fore_s: float, fore_c: float
) -> tuple[float, float, float, float]:
    """(fore boom pin x, z, stick pin x, z) in the arm's plane; one place where there is no fore boom."""
    fx = m["boom_length"] * boom_c
    fz = m["boom_length"] * boom_s
    return fx, fz, fx + m["fore_boom_length"] * fore_c, fz + m["fore_boom_length"] * fore_s


@compiled
def frames(m: np.void, fixed: Steps, t: Turns) -> Frames:
    """(level from body, body from stick, body from bucket, sine and cosine of the swing boom) of one pose."""
    level = level_map(t[0], t[1], t[2], t[3])
    swing_s = t[4]
    swing_c = t[5]
    foot_x, foot_y = arm_foot(m, swing_s, swing_c)
    _, _, sx, sz = arm_pins(m, t[6], t[7], t[8], t[9])
    s = t[10]
    c = t[11]
    body_stick = (
        swing_c * c, -swing_s, -swing_c * s,
        swing_s * c, swing_c, -swing_s * s,
        s, 0.0, c,
        swing_c * sx + foot_x, swing_s * sx + foot_y, sz,
    )  # fmt: skip
    bx = sx + m["stick_length"] * c
    bz = sz + m["stick_length"] * s
    plane_bucket = lift(t[12], t[13], bx, bz, hitch(m, fixed, t[14], t[15], t[16], t[17]))
    return level, body_stick, swing(swing_s, swing_c, foot_x, foot_y, plane_bucket), swing_s, swing_c


@compiled
def outcomes(m: np.void, fixed: Steps, found: Frames) -> Outcomes:
    """The values of `OUTPUTS`; NaN for a point that the profile does not have.

    The cross-slope of an edge that stands plumb is NaN, see `standing`.
    """
    level, body_stick, body_bucket, swing_s, swing_c = found
    b = level_after(level, body_bucket)
    lx, ly, lz = place(b, m["left_x"], m["left_y"], m["left_z"])
    cx, cy, cz = place(b, m["centre_x"], m["centre_y"], m["centre_z"])
    rx, ry, rz = place(b, m["right_x"], m["right_y"], m["right_z"])
    t1 = place(b, m["tooth_left_x"], m["tooth_left_y"], m["tooth_left_z"])
    t2 = place(b, m["tooth_centre_x"], m["tooth_centre_y"], m["tooth_centre_z"])
    t3 = place(b, m["tooth_right_x"], m["tooth_right_y"], m["tooth_right_z"])
    h1 = place(b, m["heel_left_x"], m["heel_left_y"], m["heel_left_z"])
    h2 = place(b, m["heel_right_x"], m["heel_right_y"], m["heel_right_z"])
    eye = place(body_stick, m["receiver_x"], m["receiver_y"], m["receiver_z"])
    eye = levelled(level, eye[0], eye[1], eye[2])
    top = direction(body_stick, m["mast_x"], m["mast_y"], m["mast_z"])
    ahead, aside, up = levelled(level, top[0], top[1], top[2])
    mast = arctan2(length(ahead, aside), up)
    # From right to left along the edge; the floor line from edge to heel against the horizontal square to it.
    dx = lx - rx
    dy = ly - ry
    across = length(dx, dy)
    hx = 0.5 * (h1[0] + h2[0]) - cx
    hy = 0.5 * (h1[1] + h2[1]) - cy
    hz = 0.5 * (h1[2] + h2[2]) - cz
    slope = (rz - lz) / (across if across > 0.0 else math.nan)
    floor = arctan2(hz * across, hx * dy - hy * dx)
    left_clear = h1[2] - (cz + fixed[4] * (lz - cz) + fixed[5] * (rz - cz))
    right_clear = h2[2] - (cz + fixed[6] * (lz - cz) + fixed[7] * (rz - cz))
    clear = left_clear if left_clear < right_clear else right_clear
    ex, ey, _ = direction(
        body_bucket, m["left_x"] - m["right_x"], m["left_y"] - m["right_y"], m["left_z"] - m["right_z"]
    )
    return (
        lx, ly, lz, cx, cy, cz, rx, ry, rz,
        t1[0], t1[1], t1[2], t2[0], t2[1], t2[2], t3[0], t3[1], t3[2],
        h1[0], h1[1], h1[2], h2[0], h2[1], h2[2], eye[0], eye[1], eye[2],
        slope, floor, clear, mast, swing_c * ey - swing_s * ex,
    )  # fmt: skip


@compiled
def standing(
    limits: NDArray[np.float64],
    pitch: float, roll: float, swing_boom: float, boom: float, fore_boom: float, stick: float, bucket: float,
    tilt: float, rotate: float, dx: float, dy: float,
) -> float:  # fmt: skip
    """The status of a pose whose edge runs (dx, dy) in plan: OK, BEYOND, STEEP or EDGE_PLUMB.

    BEYOND where a joint is not a number or beyond its limits, STEEP where the body leans past
    `STEEPEST_RAD`, EDGE_PLUMB where the line from corner to corner stands plumb and has no cross-slope.
    """
    within = (
        (limits[0] <= swing_boom) & (swing_boom <= limits[1])
        & (limits[2] <= boom) & (boom <= limits[3])
        & (limits[4] <= fore_boom) & (fore_boom <= limits[5])
        & (limits[6] <= stick) & (stick <= limits[7])
        & (limits[8] <= bucket) & (bucket <= limits[9])
        & (limits[10] <= tilt) & (tilt <= limits[11])
        & (limits[12] <= rotate) & (rotate <= limits[13])
    )  # fmt: skip
    upright = (abs(pitch) <= STEEPEST_RAD) & (abs(roll) <= STEEPEST_RAD)
    status = float(OK) if dx * dx + dy * dy > PLUMB_EDGE_M * PLUMB_EDGE_M else float(EDGE_PLUMB)
    status = status if upright else float(STEEP)
    return status if within else float(BEYOND)


@compiled
def solve(
    records: np.ndarray[tuple[int], np.dtype[np.void]],
    limits: NDArray[np.float64],
    q: NDArray[np.float64],
    row: NDArray[np.float64],
) -> int:
    """Fill one row of results for q = pitch, roll, then the joints of `assembly.JOINTS` (rad); a status.

    See `standing`; what a row holds where the status is not OK means nothing.
    """
    m = records[0]
    pitch, roll, swing_boom = float(q[0]), float(q[1]), float(q[2])
    boom, fore_boom, stick = float(q[3]), float(q[4]), float(q[5])
    bucket, tilt, rotate = float(q[6]), float(q[7]), float(q[8])
    turn = turns(pitch, roll, swing_boom, boom, fore_boom, stick, bucket, tilt, rotate)
    fixed = steps(m)
    found = frames(m, fixed, turn)
    told = outcomes(m, fixed, found)
    for i in range(BODY):
        row[i] = told[i]
    _, body_stick, body_bucket, _, _ = found
    write_place(row, 0, place(body_bucket, m["left_x"], m["left_y"], m["left_z"]))
    write_place(row, 1, place(body_bucket, m["centre_x"], m["centre_y"], m["centre_z"]))
    write_place(row, 2, place(body_bucket, m["right_x"], m["right_y"], m["right_z"]))
    write_place(row, 3, place(body_bucket, m["tooth_left_x"], m["tooth_left_y"], m["tooth_left_z"]))
    write_place(row, 4, place(body_bucket, m["tooth_centre_x"], m["tooth_centre_y"], m["tooth_centre_z"]))
    write_place(row, 5, place(body_bucket, m["tooth_right_x"], m["tooth_right_y"], m["tooth_right_z"]))
    write_place(row, 6, place(body_bucket, m["heel_left_x"], m["heel_left_y"], m["heel_left_z"]))
    write_place(row, 7, place(body_bucket, m["heel_right_x"], m["heel_right_y"], m["heel_right_z"]))
    write_place(row, 8, place(body_stick, m["receiver_x"], m["receiver_y"], m["receiver_z"]))
    for i in range(12):
        row[BODY_FROM_BUCKET + i] = body_bucket[i]
    for i in range(9):
        row[LEVEL_FROM_BODY + i] = found[0][i]
    return int(
        standing(
            limits, pitch, roll, swing_boom, boom, fore_boom, stick, bucket, tilt, rotate,
            told[0] - told[6], told[1] - told[7],
        )
    )  # fmt: skip


@compiled
def write_place(row: NDArray[np.float64], index: int, at: Vector) -> None:
    """Put a body place into a row of results."""
    row[BODY + 3 * index] = at[0]
    row[BODY + 3 * index + 1] = at[1]
    row[BODY + 3 * index + 2] = at[2]
