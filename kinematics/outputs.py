"""How each output of a pose hangs on places in the level frame: the forces that `gradient` carries inwards.

One formula an output kind, scalars in and out. A place is its own force: 1 along its axis.
"""

import math

import numpy as np

from .chain import POINTS, over_heel
from .compiled import compiled
from .gradient import ARM_COLUMNS, BUCKET_COLUMNS
from .maps import Vector, length

# Of a mast that leans less than this (rad) the direction of its lean is rounding.
PLUMB_MAST = 1e-8


@compiled
def cross_slope_forces(dx: float, dy: float, dz: float) -> Vector:
    """d cross-slope / d (right corner), per m; the left corner has the opposite. From right to left: dx, dy, dz.

    slope = -dz / across. Lifting the right corner of a 1.8 m edge by 1 mm adds 0.056 %.
    """
    across = length(dx, dy)
    across = across if across > 0.0 else math.nan
    slope = -dz / across
    return slope * dx / (across * across), slope * dy / (across * across), 1.0 / across


@compiled
def floor_forces(
    dx: float, dy: float, hx: float, hy: float, hz: float
) -> tuple[float, float, float, float, float]:
    """d floor angle / d (dx, dy, hx, hy, hz), rad/m: edge from right to left in plan, floor line from edge to heel.

    floor = atan2(hz across, hx dy - hy dx). Lifting the heel 10 mm behind a floor 1 m long adds 0.57 deg.
    """
    across = length(dx, dy)
    rise = hz * across
    run = hx * dy - hy * dx
    square = rise * rise + run * run
    over = 1.0 / (square if square > 0.0 else math.nan)
    by_across = run * hz / across
    return (
        (by_across * dx + rise * hy) * over,
        (by_across * dy - rise * hx) * over,
        -rise * dy * over,
        rise * dx * over,
        run * across * over,
    )


@compiled
def mast_forces(ahead: float, aside: float, up: float) -> Vector:
    """d mast angle / d (level-frame mast), rad; NaN within `PLUMB_MAST` of plumb, where the angle has a kink.

    mast = atan2(hypot(ahead, aside), up).
    """
    level = length(ahead, aside)
    level = level if level > PLUMB_MAST else math.nan
    over = 1.0 / (level * level + up * up)
    return up * ahead / level * over, up * aside / level * over, -level * over


@compiled
def over_heel_rates(m: np.void, y: float) -> tuple[float, float, float, float]:
    """d (share of the corner) / d (heel's y, left y, centre y, right y) of `chain.over_heel`, 1/m; the corner is the one
    on the heel end's side. Zero at the corner and beyond it, where the share is held at 1."""
    left, right = over_heel(m, y)
    to_left = 1.0 / (m["left_y"] - m["centre_y"]) if 0.0 < left < 1.0 else 0.0
    to_right = 1.0 / (m["centre_y"] - m["right_y"]) if 0.0 < right < 1.0 else 0.0
    return (
        to_left - to_right,
        -left * to_left,
        (left - 1.0) * to_left + (1.0 - right) * to_right,
        right * to_right,
    )


# The points each shape is taken of, and below which joint of the chain they hang.
_ON = {
    "cross_slope": ("left", "right"),
    "floor_angle": ("left", "centre", "right", "heel_left", "heel_right"),
    "heel_clearance": ("left", "centre", "right", "heel_left", "heel_right"),
    "mast_angle": ("mast",),
}
_BELOW_STICK = ("bucket", "tilt", "rotate", "stick_length", *BUCKET_COLUMNS)


def acts_on(output: str, name: str) -> bool:
    """Whether an output of `chain.OUTPUTS` can hang on a joint or parameter at all; False means zero in every pose."""
    points = _ON.get(output) or (output.rpartition("_")[0],)
    owner = name.rpartition("_")[0]
    if owner in (*POINTS, "mast"):
        return owner in points
    if points[0] in ("receiver", "mast") and name in _BELOW_STICK:
        return False
    return not (points[0] == "mast" and name in ARM_COLUMNS)
