"""Derivatives beside the chain they differentiate: forces on points, carried inwards.

A change of a linear output is a force times a way (virtual work). An output puts level-frame forces w_i on points x_i
of the bucket or stick; their sum f and their dyad G = sum w_i x_i^T are all that the frames further in need to know.
Carried over a turn about an axis, f and G give the joint's derivative (the moment about its pin: axis x lever . force),
an origin's (f itself in that frame), and an axis direction's, which needs the whole dyad and not the moment alone.
"""

import numpy as np

from .chain import Frames, Steps, Turns, arm_foot, arm_pins, leaning, rotation
from .compiled import compiled
from .maps import Map, Vector, after, direction, seen, stepped

Dyad = tuple[float, float, float, float, float, float, float, float, float]
Pull = tuple[float, ...]

JOINT_COLUMNS = ("pitch", "roll", "swing_boom", "boom", "fore_boom", "stick", "bucket", "tilt", "rotate")
ARM_COLUMNS = (
    "swing_post_x", "swing_post_y", "boom_foot_x", "boom_foot_y", "boom_length", "fore_boom_length", "stick_length",
)  # fmt: skip
BUCKET_COLUMNS = (
    "coupler_x", "coupler_z", "coupler_angle",
    "tilt_point_x", "tilt_point_y", "tilt_point_z", "tilt_axis_x", "tilt_axis_y", "tilt_axis_z",
    "rotate_point_x", "rotate_point_y", "rotate_point_z", "rotate_axis_x", "rotate_axis_y", "rotate_axis_z",
    "mount_x", "mount_z", "mount_angle",
)  # fmt: skip
PULL_COLUMNS = (*JOINT_COLUMNS, *ARM_COLUMNS, *BUCKET_COLUMNS)
"""What `pull_bucket` returns, in order; `pull_stick` returns those of joints and arm."""


@compiled
def dyad_outside(m: Map, g: Dyad) -> Dyad:
    """The dyad with its forces turned into the inner frame: R^T G."""
    a = seen(m, g[0], g[3], g[6])
    b = seen(m, g[1], g[4], g[7])
    c = seen(m, g[2], g[5], g[8])
    return a[0], b[0], c[0], a[1], b[1], c[1], a[2], b[2], c[2]


@compiled
def dyad_inside(g: Dyad, f: Vector, m: Map) -> Dyad:
    """The dyad with its places carried out of the inner frame: G R^T + f t^T."""
    a = direction(m, g[0], g[1], g[2])
    b = direction(m, g[3], g[4], g[5])
    c = direction(m, g[6], g[7], g[8])
    return (
        a[0] + f[0] * m[9], a[1] + f[0] * m[10], a[2] + f[0] * m[11],
        b[0] + f[1] * m[9], b[1] + f[1] * m[10], b[2] + f[1] * m[11],
        c[0] + f[2] * m[9], c[1] + f[2] * m[10], c[2] + f[2] * m[11],
    )  # fmt: skip


@compiled
def pull_turn(
    s: float, c: float, px: float, py: float, pz: float, ux: float, uy: float, uz: float, g: Dyad, f: Vector
) -> Pull:
    """d/d (angle, axis point x y z, axis direction x y z) of `maps.turned`, from its dyad and force.

    R = c + (1 - c) u u^T + s [u], t = p - R p; the direction's three numbers are taken raw, not as a unit.
    """
    g0 = g[0] - f[0] * px
    g1 = g[1] - f[0] * py
    g2 = g[2] - f[0] * pz
    g3 = g[3] - f[1] * px
    g4 = g[4] - f[1] * py
    g5 = g[5] - f[1] * pz
    g6 = g[6] - f[2] * px
    g7 = g[7] - f[2] * py
    g8 = g[8] - f[2] * pz
    around_x = g7 - g5
    around_y = g2 - g6
    around_z = g3 - g1
    gux = g0 * ux + g1 * uy + g2 * uz
    guy = g3 * ux + g4 * uy + g5 * uz
    guz = g6 * ux + g7 * uy + g8 * uz
    ugx = g0 * ux + g3 * uy + g6 * uz
    ugy = g1 * ux + g4 * uy + g7 * uz
    ugz = g2 * ux + g5 * uy + g8 * uz
    angle = s * (gux * ux + guy * uy + guz * uz - (g0 + g4 + g8)) + c * (
        around_x * ux + around_y * uy + around_z * uz
    )
    k = 1.0 - c
    fu = k * (f[0] * ux + f[1] * uy + f[2] * uz)
    # f - R^T f, written without the near-equal terms: R^T f = c f + (1 - c) (u . f) u - s u x f.
    return (
        angle,
        k * f[0] - fu * ux + s * (uy * f[2] - uz * f[1]),
        k * f[1] - fu * uy + s * (uz * f[0] - ux * f[2]),
        k * f[2] - fu * uz + s * (ux * f[1] - uy * f[0]),
        k * (gux + ugx) + s * around_x,
        k * (guy + ugy) + s * around_y,
        k * (guz + ugz) + s * around_z,
    )


@compiled
def pull_level(t: Turns, level: Map, k: Dyad) -> tuple[float, float]:
    """d/d (pitch, roll) from the dyad of level forces on body places; differentiates `chain.level_map`."""
    sp, cp, sr, cr = t[0], t[1], t[2], t[3]
    ax, az, run, ny = level[0], level[2], level[4], level[7]
    along = k[0] - k[5] * ny
    down = k[2] + k[3] * ny
    side = k[3] * az - k[5] * ax + k[7]
    # Pitch: dn = (cp, -sp sr, -sp cr). Roll: dn = (0, cp cr, -cp sr).
    nx_by_pitch, ny_by_pitch, nz_by_pitch = cp, -sp * sr, -sp * cr
    run_by_pitch = ax * nz_by_pitch - az * nx_by_pitch
    by_pitch = (
        along * (nz_by_pitch - ax * run_by_pitch) / run
        + down * (-nx_by_pitch - az * run_by_pitch) / run
        + k[4] * run_by_pitch + side * ny_by_pitch + k[6] * nx_by_pitch + k[8] * nz_by_pitch
    )  # fmt: skip
    ny_by_roll, nz_by_roll = cp * cr, -cp * sr
    run_by_roll = ax * nz_by_roll
    by_roll = (
        along * (nz_by_roll - ax * run_by_roll) / run
        - down * az * run_by_roll / run
        + k[4] * run_by_roll + side * ny_by_roll + k[8] * nz_by_roll
    )  # fmt: skip
    return by_pitch, by_roll


@compiled
def pull_arm(m: np.void, t: Turns, level: Map, outer: Map, g: Dyad, f: Vector) -> tuple[Dyad, Vector, Pull]:
    """What both branches of the chain share, from dyad and force in the level frame on places of the frame `outer`.

    Returns dyad and force in the arm's plane, and d/d (pitch, roll, swing boom, boom, fore boom, stick, bucket, then
    `ARM_COLUMNS`): of the four in the plane each the moment about its pin.
    """
    by_pitch, by_roll = pull_level(t, level, dyad_inside(g, f, outer))
    swing_s, swing_c = t[4], t[5]
    g = dyad_outside(level, g)
    f = seen(level, f[0], f[1], f[2])
    # In the body: the swing turns everything about z through the post.
    foot_x, foot_y = arm_foot(m, swing_s, swing_c)
    whole = dyad_inside(g, f, outer)
    swing_boom = (whole[3] - f[1] * m["swing_post_x"]) - (whole[1] - f[0] * m["swing_post_y"])
    post_x, post_y = f[0], f[1]
    foot_by_x = swing_c * f[0] + swing_s * f[1]
    foot_by_y = swing_c * f[1] - swing_s * f[0]
    # In the arm's plane: places seen from the boom foot pin.
    turning = (
        swing_c * whole[6] + swing_s * whole[7] - f[2] * (swing_c * foot_x + swing_s * foot_y)
        - swing_c * whole[2] - swing_s * whole[5]
    )  # fmt: skip
    plane = swing_c, -swing_s, 0.0, swing_s, swing_c, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0
    g = dyad_outside(plane, g)
    f = foot_by_x, foot_by_y, f[2]
    fx, fz, sx, sz = arm_pins(m, t[6], t[7], t[8], t[9])
    by_fore = turning - f[2] * fx + f[0] * fz
    by_stick = turning - f[2] * sx + f[0] * sz
    boom_length = f[0] * t[7] + f[2] * t[6]
    fore_length = f[0] * t[9] + f[2] * t[8]
    stick_length = f[0] * t[11] + f[2] * t[10]
    by_bucket = by_stick - m["stick_length"] * (f[2] * t[11] - f[0] * t[10])
    return g, f, (
        by_pitch, by_roll, swing_boom, turning, by_fore, by_stick, by_bucket,
        post_x, post_y, foot_by_x, foot_by_y, boom_length, fore_length, stick_length,
    )  # fmt: skip


@compiled
def pull_stick(m: np.void, t: Turns, found: Frames, g: Dyad, f: Vector) -> Pull:
    """d/d `JOINT_COLUMNS`, then d/d `ARM_COLUMNS`, from level forces on places of the stick."""
    _, _, p = pull_arm(m, t, found[0], found[1], g, f)
    return (
        p[0], p[1], p[2], p[3], p[4], p[5], 0.0, 0.0, 0.0,
        p[7], p[8], p[9], p[10], p[11], p[12], 0.0,
    )  # fmt: skip


@compiled
def pull_bucket(m: np.void, fixed: Steps, t: Turns, found: Frames, g: Dyad, f: Vector) -> Pull:
    """d/d `PULL_COLUMNS` from level forces on places of the bucket."""
    g, f, p = pull_arm(m, t, found[0], found[2], g, f)
    # In the hitch's frame.
    s, c = t[12], t[13]
    up = c, 0.0, -s, 0.0, 1.0, 0.0, s, 0.0, c, 0.0, 0.0, 0.0
    g = dyad_outside(up, g)
    f = seen(up, f[0], f[1], f[2])
    coupler_x, coupler_z = f[0], f[2]
    tilt_s, tilt_c, rotate_s, rotate_c = t[14], t[15], t[16], t[17]
    mount: Map = (
        fixed[3],
        0.0,
        -fixed[2],
        0.0,
        1.0,
        0.0,
        fixed[2],
        0.0,
        fixed[3],
        m["mount_x"],
        0.0,
        m["mount_z"],
    )
    held = rotation(m, rotate_s, rotate_c)
    leaned = leaning(m, tilt_s, tilt_c)
    below = stepped(held, fixed[2], fixed[3], m["mount_x"], m["mount_z"])
    # In the coupler's.
    step: Map = fixed[1], 0.0, -fixed[0], 0.0, 1.0, 0.0, fixed[0], 0.0, fixed[1], 0.0, 0.0, 0.0
    g = dyad_outside(step, g)
    f = seen(step, f[0], f[1], f[2])
    whole = dyad_inside(g, f, after(leaned, below))
    coupler_angle = whole[6] - whole[2]
    a = pull_turn(
        tilt_s, tilt_c, m["tilt_point_x"], m["tilt_point_y"], m["tilt_point_z"],
        m["tilt_axis_x"], m["tilt_axis_y"], m["tilt_axis_z"], dyad_inside(g, f, below), f,
    )  # fmt: skip
    # Below the tilt axis, then below the rotation.
    g = dyad_outside(leaned, g)
    f = seen(leaned, f[0], f[1], f[2])
    b = pull_turn(
        rotate_s, rotate_c, m["rotate_point_x"], m["rotate_point_y"], m["rotate_point_z"],
        m["rotate_axis_x"], m["rotate_axis_y"], m["rotate_axis_z"], dyad_inside(g, f, mount), f,
    )  # fmt: skip
    g = dyad_outside(held, g)
    f = seen(held, f[0], f[1], f[2])
    ahead = direction(mount, g[6], g[7], g[8])
    over = direction(mount, g[0], g[1], g[2])
    return (
        p[0], p[1], p[2], p[3], p[4], p[5], p[6], a[0], b[0],
        p[7], p[8], p[9], p[10], p[11], p[12], p[13],
        coupler_x, coupler_z, coupler_angle,
        a[1], a[2], a[3], a[4], a[5], a[6],
        b[1], b[2], b[3], b[4], b[5], b[6],
        f[0], f[2], ahead[0] - over[2],
    )  # fmt: skip
