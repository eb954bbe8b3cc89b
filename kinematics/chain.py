"""One superset chain from the body to the bucket, as scalar formulas that never raise.

Frames are right-handed, x forward, y left, z up. Turning a link by a positive angle lifts what points
forward (about -y); swing, tilt and rotation turn by the right hand. A map `a_from_b` is twelve numbers,
rows of a rotation then an origin: p_a = R p_b + t.
"""

import math

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .linkage import OK
from .parameters import BUCKET_POINTS

POINTS = (*BUCKET_POINTS, "receiver")
_N = len(POINTS)
# One row of results: level places, body places, then these.
LEVEL, BODY = 0, 3 * _N
CROSS_SLOPE, FLOOR_ANGLE, HEEL_CLEARANCE, MAST_ANGLE, SQUARE = range(6 * _N, 6 * _N + 5)
BODY_FROM_BUCKET = 6 * _N + 5
LEVEL_FROM_BODY = BODY_FROM_BUCKET + 12
WIDTH = LEVEL_FROM_BODY + 9

PINS = (
    "boom_foot_pin", "fore_boom_pin", "stick_pin", "bucket_pin", "link_pin", "idler_pivot", "idler_pin",
    "boom_cylinder_foot", "boom_cylinder_eye", "fore_boom_cylinder_foot", "fore_boom_cylinder_eye",
    "stick_cylinder_foot", "stick_cylinder_eye", "bucket_cylinder_foot",
)  # fmt: skip

BEYOND, STEEP, EDGE_PLUMB = 11, 12, 13
# No machine works at this lean; a larger reading is a fault of sensor or sign.
STEEPEST_RAD = math.radians(45.0)

Map = tuple[float, float, float, float, float, float, float, float, float, float, float, float]


@compiled
def plumb(pitch: float, roll: float) -> tuple[float, float, float]:
    """Plumb (up) in body coordinates from body pitch and roll (rad): nose up and left side up positive.

    n = (sin p, cos p sin r, cos p cos r). Nose up 1 deg lifts a point 10 m ahead by 0.175 m.
    """
    return math.sin(pitch), math.cos(pitch) * math.sin(roll), math.cos(pitch) * math.cos(roll)


@compiled
def after(a: Map, b: Map) -> Map:
    """The map that applies `b` first, then `a`: a_from_c = after(a_from_b, b_from_c)."""
    return (
        a[0] * b[0] + a[1] * b[3] + a[2] * b[6],
        a[0] * b[1] + a[1] * b[4] + a[2] * b[7],
        a[0] * b[2] + a[1] * b[5] + a[2] * b[8],
        a[3] * b[0] + a[4] * b[3] + a[5] * b[6],
        a[3] * b[1] + a[4] * b[4] + a[5] * b[7],
        a[3] * b[2] + a[4] * b[5] + a[5] * b[8],
        a[6] * b[0] + a[7] * b[3] + a[8] * b[6],
        a[6] * b[1] + a[7] * b[4] + a[8] * b[7],
        a[6] * b[2] + a[7] * b[5] + a[8] * b[8],
        a[0] * b[9] + a[1] * b[10] + a[2] * b[11] + a[9],
        a[3] * b[9] + a[4] * b[10] + a[5] * b[11] + a[10],
        a[6] * b[9] + a[7] * b[10] + a[8] * b[11] + a[11],
    )


@compiled
def place(m: Map, x: float, y: float, z: float) -> tuple[float, float, float]:
    """The point (x, y, z) carried over by a map."""
    return (
        m[0] * x + m[1] * y + m[2] * z + m[9],
        m[3] * x + m[4] * y + m[5] * z + m[10],
        m[6] * x + m[7] * y + m[8] * z + m[11],
    )


@compiled
def lifted(angle: float, x: float, y: float, z: float) -> Map:
    """A frame at (x, y, z) turned by `angle` about -y, the sense of boom, stick and bucket."""
    c = math.cos(angle)
    s = math.sin(angle)
    return c, 0.0, -s, 0.0, 1.0, 0.0, s, 0.0, c, x, y, z


@compiled
def about(angle: float, px: float, py: float, pz: float, ux: float, uy: float, uz: float) -> Map:
    """A turn by `angle` by the right hand about the line through p along the unit direction u (Rodrigues)."""
    c = math.cos(angle)
    s = math.sin(angle)
    k = 1.0 - c
    r = (
        c + k * ux * ux, k * ux * uy - s * uz, k * ux * uz + s * uy,
        k * uy * ux + s * uz, c + k * uy * uy, k * uy * uz - s * ux,
        k * uz * ux - s * uy, k * uz * uy + s * ux, c + k * uz * uz,
    )  # fmt: skip
    return (
        r[0], r[1], r[2], r[3], r[4], r[5], r[6], r[7], r[8],
        px - (r[0] * px + r[1] * py + r[2] * pz),
        py - (r[3] * px + r[4] * py + r[5] * pz),
        pz - (r[6] * px + r[7] * py + r[8] * pz),
    )  # fmt: skip


@compiled
def hitch_from_bucket(m: np.void, tilt: float, rotate: float) -> Map:
    """From the bucket's own frame to the frame of the two pins on stick and power link."""
    held = about(
        rotate, m["rotate_point_x"], m["rotate_point_y"], m["rotate_point_z"],
        m["rotate_axis_x"], m["rotate_axis_y"], m["rotate_axis_z"],
    )  # fmt: skip
    held = after(held, lifted(m["mount_angle"], m["mount_x"], 0.0, m["mount_z"]))
    leaned = about(
        tilt, m["tilt_point_x"], m["tilt_point_y"], m["tilt_point_z"],
        m["tilt_axis_x"], m["tilt_axis_y"], m["tilt_axis_z"],
    )  # fmt: skip
    return after(lifted(m["coupler_angle"], m["coupler_x"], 0.0, m["coupler_z"]), after(leaned, held))


@compiled
def body_from_arm(m: np.void, swing_boom: float) -> Map:
    """From the arm's plane, origin on the boom foot pin, to the body."""
    c = math.cos(swing_boom)
    s = math.sin(swing_boom)
    x = m["swing_post_x"] + c * m["boom_foot_x"] - s * m["boom_foot_y"]
    y = m["swing_post_y"] + s * m["boom_foot_x"] + c * m["boom_foot_y"]
    return c, -s, 0.0, s, c, 0.0, 0.0, 0.0, 1.0, x, y, 0.0


@compiled
def arm_pins(m: np.void, boom: float, fore_boom: float) -> tuple[float, float, float, float]:
    """(fore boom pin x, z, stick pin x, z) in the arm's plane; one place where there is no fore boom."""
    fx = m["boom_length"] * math.cos(boom)
    fz = m["boom_length"] * math.sin(boom)
    angle = boom + fore_boom
    return (
        fx,
        fz,
        fx + m["fore_boom_length"] * math.cos(angle),
        fz + m["fore_boom_length"] * math.sin(angle),
    )


@compiled
def write_point(
    m: Map, level: Map, x: float, y: float, z: float, row: NDArray[np.float64], index: int
) -> None:
    """Put a point's level and body place into a row of results."""
    bx, by, bz = place(m, x, y, z)
    lx, ly, lz = place(level, bx, by, bz)
    row[LEVEL + 3 * index] = lx
    row[LEVEL + 3 * index + 1] = ly
    row[LEVEL + 3 * index + 2] = lz
    row[BODY + 3 * index] = bx
    row[BODY + 3 * index + 1] = by
    row[BODY + 3 * index + 2] = bz


@compiled
def level_from_body(pitch: float, roll: float) -> Map:
    """z is plumb, x the horizontal trace of the body's x-z plane, y to the left (domain: the level frame)."""
    nx, ny, nz = plumb(pitch, roll)
    run = math.hypot(nx, nz)
    return (
        nz / run, 0.0, -nx / run,
        -nx * ny / run, run, -ny * nz / run,
        nx, ny, nz,
        0.0, 0.0, 0.0,
    )  # fmt: skip


@compiled
def solve(
    records: np.ndarray[tuple[int], np.dtype[np.void]],
    limits: NDArray[np.float64],
    q: NDArray[np.float64],
    row: NDArray[np.float64],
) -> int:
    """Fill one row of results for q = pitch, roll, then the joints of `assembly.JOINTS` (rad); a status.

    BEYOND where a joint is not a number or beyond its limits, STEEP where the body leans past
    `STEEPEST_RAD`, EDGE_PLUMB where the line from corner to corner stands plumb and has no cross-slope.
    """
    for joint in range(7):
        if not (limits[joint, 0] <= q[2 + joint] <= limits[joint, 1]):
            return BEYOND
    pitch = q[0]
    roll = q[1]
    if not (abs(pitch) <= STEEPEST_RAD and abs(roll) <= STEEPEST_RAD):
        return STEEP
    m = records[0]
    level = level_from_body(pitch, roll)
    body_arm = body_from_arm(m, q[2])
    _, _, sx, sz = arm_pins(m, q[3], q[4])
    stick = q[3] + q[4] + q[5]
    body_stick = after(body_arm, lifted(stick, sx, 0.0, sz))
    bx = sx + m["stick_length"] * math.cos(stick)
    bz = sz + m["stick_length"] * math.sin(stick)
    body_hitch = after(body_arm, lifted(stick + q[6], bx, 0.0, bz))
    bucket = after(body_hitch, hitch_from_bucket(m, q[7], q[8]))
    write_point(bucket, level, m["left_x"], m["left_y"], m["left_z"], row, 0)
    write_point(bucket, level, m["centre_x"], m["centre_y"], m["centre_z"], row, 1)
    write_point(bucket, level, m["right_x"], m["right_y"], m["right_z"], row, 2)
    write_point(bucket, level, m["tooth_left_x"], m["tooth_left_y"], m["tooth_left_z"], row, 3)
    write_point(bucket, level, m["tooth_centre_x"], m["tooth_centre_y"], m["tooth_centre_z"], row, 4)
    write_point(bucket, level, m["tooth_right_x"], m["tooth_right_y"], m["tooth_right_z"], row, 5)
    write_point(bucket, level, m["heel_left_x"], m["heel_left_y"], m["heel_left_z"], row, 6)
    write_point(bucket, level, m["heel_right_x"], m["heel_right_y"], m["heel_right_z"], row, 7)
    write_point(body_stick, level, m["receiver_x"], m["receiver_y"], m["receiver_z"], row, 8)
    for i in range(12):
        row[BODY_FROM_BUCKET + i] = bucket[i]
    for i in range(9):
        row[LEVEL_FROM_BODY + i] = level[i]
    mast_x, mast_y, mast_z = place(body_stick, m["mast_x"], m["mast_y"], m["mast_z"])
    mast_x -= body_stick[9]
    mast_y -= body_stick[10]
    mast_z -= body_stick[11]
    ahead = level[0] * mast_x + level[2] * mast_z
    aside = level[3] * mast_x + level[4] * mast_y + level[5] * mast_z
    up = level[6] * mast_x + level[7] * mast_y + level[8] * mast_z
    row[MAST_ANGLE] = math.atan2(math.hypot(ahead, aside), up)
    # From right to left along the edge, in the level frame.
    dx = row[0] - row[6]
    dy = row[1] - row[7]
    dz = row[2] - row[8]
    across = math.hypot(dx, dy)
    if not across > 1e-6:
        return EDGE_PLUMB
    row[CROSS_SLOPE] = -dz / across
    # Floor line from the edge to the heel, against the horizontal square to the edge.
    hx = 0.5 * (row[18] + row[21]) - row[3]
    hy = 0.5 * (row[19] + row[22]) - row[4]
    hz = 0.5 * (row[20] + row[23]) - row[5]
    row[FLOOR_ANGLE] = math.atan2(hz, (hx * dy - hy * dx) / across)
    row[HEEL_CLEARANCE] = min(row[20] - row[2], row[23] - row[8])
    # The bucket's own left against the arm plane's left: below zero once the rotator is past square.
    left_x, left_y = body_arm[1], body_arm[4]
    bl = row[BODY] - row[BODY + 6]
    bm = row[BODY + 1] - row[BODY + 7]
    row[SQUARE] = bl * left_x + bm * left_y
    return OK


@compiled
def write_pin(m: Map, x: float, z: float, places: NDArray[np.float64], index: int) -> None:
    """Put the place of a pin in a link's plane into row `index`."""
    bx, by, bz = place(m, x, 0.0, z)
    places[index, 0] = bx
    places[index, 1] = by
    places[index, 2] = bz


@compiled
def write_pins(
    records: np.ndarray[tuple[int], np.dtype[np.void]],
    q: NDArray[np.float64],
    idler: float,
    places: NDArray[np.float64],
) -> None:
    """Fill body places of `PINS`, shape (len, 3), NaN where the machine has none; `idler` its angle (rad) or NaN."""
    m = records[0]
    arm = body_from_arm(m, q[2])
    fx, fz, sx, sz = arm_pins(m, q[3], q[4])
    boom = after(arm, lifted(q[3], 0.0, 0.0, 0.0))
    fore = after(arm, lifted(q[3] + q[4], fx, 0.0, fz))
    stick = after(arm, lifted(q[3] + q[4] + q[5], sx, 0.0, sz))
    hitch = after(stick, lifted(q[6], m["stick_length"], 0.0, 0.0))
    write_pin(arm, 0.0, 0.0, places, 0)
    write_pin(arm, fx, fz, places, 1)
    write_pin(arm, sx, sz, places, 2)
    write_pin(stick, m["stick_length"], 0.0, places, 3)
    write_pin(hitch, m["pin_spacing"], 0.0, places, 4)
    px = m["idler_pivot_x"]
    pz = m["idler_pivot_z"]
    write_pin(stick, px, pz, places, 5)
    reach = m["idler_length"]
    write_pin(stick, px + reach * math.cos(idler), pz + reach * math.sin(idler), places, 6)
    # A cylinder's foot is seen from the pin it turns, in the link before; its eye in the link it turns.
    write_pin(arm, m["boom_cylinder_foot_x"], m["boom_cylinder_foot_z"], places, 7)
    write_pin(boom, m["boom_cylinder_eye_x"], m["boom_cylinder_eye_z"], places, 8)
    at_fore = m["boom_length"] + m["fore_boom_cylinder_foot_x"]
    write_pin(boom, at_fore, m["fore_boom_cylinder_foot_z"], places, 9)
    write_pin(fore, m["fore_boom_cylinder_eye_x"], m["fore_boom_cylinder_eye_z"], places, 10)
    # Without a fore boom, `fore` lies on the stick pin, turned as the boom.
    at_stick = m["fore_boom_length"] + m["stick_cylinder_foot_x"]
    write_pin(fore, at_stick, m["stick_cylinder_foot_z"], places, 11)
    write_pin(stick, m["stick_cylinder_eye_x"], m["stick_cylinder_eye_z"], places, 12)
    write_pin(stick, px + m["bucket_cylinder_foot_x"], pz + m["bucket_cylinder_foot_z"], places, 13)
