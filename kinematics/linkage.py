"""Cylinder triangles and the bucket four-bar, as scalar formulas that never raise.

Each returns its answer with a status and a margin in metres: how far the links are from the length at
which they could not meet (negative: by how much they miss). Planar, x along the link, z up, angles in
radians from x towards z: positive raises a link that points forward, so curling a bucket in is negative.

Sources: law of cosines in its half-angle form (no subtraction of near-equal cosines); circle
intersection; velocity of a two-force link (R. L. Norton, Design of Machinery, ch. 4 and 6).
"""

import math
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .rates import along_link, follows

OK = 0
NO_CLOSURE = 1
DEAD_CENTRE = 2
OUT_OF_STROKE = 3
OTHER_BRANCH = 4
AMBIGUOUS = 5

# Within a degree of alignment a sensor error of 0.1 deg already turns the driven link by more than 5 deg.
DEAD_CENTRE_RAD = math.radians(1.0)


class Status(IntEnum):
    """Why a linkage gave no angle, or OK."""

    OK = OK
    NO_CLOSURE = NO_CLOSURE
    DEAD_CENTRE = DEAD_CENTRE
    OUT_OF_STROKE = OUT_OF_STROKE
    OTHER_BRANCH = OTHER_BRANCH
    AMBIGUOUS = AMBIGUOUS


@compiled
def wrapped(angle: float, middle: float) -> float:
    """`angle` (rad) plus whole turns, so that it lies within half a turn of `middle`."""
    return angle - 2.0 * math.pi * math.floor((angle - middle + math.pi) / (2.0 * math.pi))


@compiled
def closure_margin(a: float, b: float, c: float) -> float:
    """How far (m) sides a, b, c are from not closing; negative when no triangle has these sides."""
    return min(a + b - c, c - abs(a - b))


@compiled
def opening(a: float, b: float, c: float) -> float:
    """Angle (rad, 0 to pi) between sides a and b of a triangle, opposite c. Sides must close.

    Half-angle form of the law of cosines: tan(A/2) = sqrt((s-a)(s-b) / (s (s-c))). 3-4-5: pi/2.
    """
    s = 0.5 * (a + b + c)
    return 2.0 * math.atan2(
        math.sqrt(max(s - a, 0.0) * max(s - b, 0.0)), math.sqrt(max(s * (s - c), 0.0))
    )  # the maxima only catch a rounding of the closed triangle's last bit


@compiled
def near_dead_centre(angle: float) -> bool:
    """True within `DEAD_CENTRE_RAD` of aligned (0 or pi)."""
    return angle < DEAD_CENTRE_RAD or math.pi - angle < DEAD_CENTRE_RAD


@compiled
def joint_from_cylinder(
    length: float, foot_x: float, foot_z: float, eye_x: float, eye_z: float, extending: float
) -> tuple[float, int, float]:
    """(joint angle rad, status, margin m) of a joint that a cylinder of this length (m) holds.

    `foot` is the cylinder's fixed pin seen from the joint's pin in the inner link's frame, `eye` its rod pin
    in the outer link's frame, `extending` +1 where a longer cylinder raises the link, -1 where it lowers it.
    """
    a = math.hypot(foot_x, foot_z)
    b = math.hypot(eye_x, eye_z)
    margin = closure_margin(a, b, length)
    if not margin >= 0.0:
        return math.nan, NO_CLOSURE, margin
    between = opening(a, b, length)
    angle = math.atan2(foot_z, foot_x) - math.atan2(eye_z, eye_x) + extending * between
    status = DEAD_CENTRE if near_dead_centre(between) else OK
    return wrapped(angle, 0.0), status, margin


@compiled
def cylinder_from_joint(
    angle: float, foot_x: float, foot_z: float, eye_x: float, eye_z: float, extending: float
) -> tuple[float, int, float]:
    """(cylinder length m, status, margin m) at a joint angle (rad); the inverse of `joint_from_cylinder`.

    OTHER_BRANCH where the angle lies past the line of foot, joint pin and eye: no stroke of this
    cylinder gets there without passing dead centre.
    """
    a = math.hypot(foot_x, foot_z)
    b = math.hypot(eye_x, eye_z)
    between = wrapped(extending * (angle + math.atan2(eye_z, eye_x) - math.atan2(foot_z, foot_x)), 0.0)
    length = math.sqrt((a - b) ** 2 + 4.0 * a * b * math.sin(0.5 * between) ** 2)
    margin = closure_margin(a, b, length)
    if not between > 0.0:
        return length, OTHER_BRANCH, margin
    status = DEAD_CENTRE if near_dead_centre(between) else OK
    return length, status, margin


@compiled
def meet(
    px: float, pz: float, p_reach: float, qx: float, qz: float, q_reach: float, side: float
) -> tuple[float, float, float, int, float]:
    """(x, z, angle between the two links at their meeting, status, margin) of two pinned links.

    The meeting point lies `p_reach` from P and `q_reach` from Q, to the left of the way from P to Q
    where `side` is +1, to the right where it is -1.
    """
    d = math.hypot(qx - px, qz - pz)
    margin = closure_margin(p_reach, q_reach, d)
    if not (margin >= 0.0 and d > 0.0):
        return math.nan, math.nan, math.nan, NO_CLOSURE, margin
    direction = math.atan2(qz - pz, qx - px) + side * opening(d, p_reach, q_reach)
    at_meeting = opening(p_reach, q_reach, d)
    status = DEAD_CENTRE if near_dead_centre(at_meeting) else OK
    x = px + p_reach * math.cos(direction)
    z = pz + p_reach * math.sin(direction)
    return x, z, at_meeting, status, margin


@compiled
def side_of(px: float, pz: float, qx: float, qz: float, x: float, z: float) -> float:
    """Positive where (x, z) lies to the left of the way from P to Q, negative to the right (m^2)."""
    return (qx - px) * (z - pz) - (qz - pz) * (x - px)


@compiled
def bucket_from_idler(
    idler: float,
    pivot_x: float,
    pivot_z: float,
    idler_length: float,
    power_link: float,
    bucket_pin_x: float,
    pin_spacing: float,
    branch: float,
) -> tuple[float, float, float, float, int, float]:
    """(bucket angle, power link angle, transmission angle, d bucket / d idler, status, margin).

    All angles in radians in the stick frame; the bucket's is that of the line from bucket pin to link pin.
    `branch` +1 ("open"): the link pin lies left of the way from idler pin to bucket pin; -1 ("crossed").
    Transmission angle: between power link and the bucket's pin line, 90 deg is best.
    Norton, Example 4-1: idler 40, power link 120, spacing 80, pins 100 apart, idler at 40 deg:
    power link 20.298 deg, bucket 57.325 deg on the open branch.
    """
    rx = idler_length * math.cos(idler)
    rz = idler_length * math.sin(idler)
    hx = pivot_x + rx
    hz = pivot_z + rz
    kx, kz, transmission, status, margin = meet(hx, hz, power_link, bucket_pin_x, 0.0, pin_spacing, branch)
    if status == NO_CLOSURE:
        return math.nan, math.nan, math.nan, math.nan, status, margin
    ex = kx - hx
    ez = kz - hz
    lx = kx - bucket_pin_x
    by_bucket, by_idler = along_link(ex, ez, rx, rz, lx, kz)
    return math.atan2(kz, lx), math.atan2(ez, ex), transmission, follows(by_idler, by_bucket), status, margin


@compiled
def bucket_sweep(
    idlers: NDArray[np.float64], pivot_x: float, pivot_z: float, idler_length: float, power_link: float,
    bucket_pin_x: float, pin_spacing: float, branch: float, out: NDArray[np.float64],
) -> None:  # fmt: skip
    """`bucket_from_idler` at many idler angles (rad, shape (n,)) into `out`, shape (5, n): bucket angle, transmission
    angle, status, margin, and the side (m^2) of the idler pin from the way idler pivot to link pin; NaN where the four do
    not close."""
    for i in range(idlers.size):
        idler = idlers[i]
        bucket, _, transmission, _, status, margin = bucket_from_idler(
            idler, pivot_x, pivot_z, idler_length, power_link, bucket_pin_x, pin_spacing, branch
        )
        hx = pivot_x + idler_length * math.cos(idler)
        hz = pivot_z + idler_length * math.sin(idler)
        kx = bucket_pin_x + pin_spacing * math.cos(bucket)
        kz = pin_spacing * math.sin(bucket)
        out[0, i], out[1, i], out[2, i], out[3, i] = bucket, transmission, status, margin
        out[4, i] = side_of(pivot_x, pivot_z, kx, kz, hx, hz)


@compiled
def idler_from_bucket(
    bucket: float,
    pivot_x: float,
    pivot_z: float,
    idler_length: float,
    power_link: float,
    bucket_pin_x: float,
    pin_spacing: float,
    branch: float,
    idler_side: float,
) -> tuple[float, int, float]:
    """(idler angle rad, status, margin m) that holds the bucket's pin line at `bucket` (rad).

    `idler_side` +1: the idler pin lies left of the way from idler pivot to link pin. OTHER_BRANCH where
    that idler position belongs to the other assembly of the four-bar.
    """
    kx = bucket_pin_x + pin_spacing * math.cos(bucket)
    kz = pin_spacing * math.sin(bucket)
    hx, hz, _, status, margin = meet(pivot_x, pivot_z, idler_length, kx, kz, power_link, idler_side)
    if status == NO_CLOSURE:
        return math.nan, status, margin
    if branch * side_of(hx, hz, bucket_pin_x, 0.0, kx, kz) <= 0.0:
        status = OTHER_BRANCH
    return math.atan2(hz - pivot_z, hx - pivot_x), status, margin


@compiled
def idler_from_power_link(
    power_link_angle: float,
    pivot_x: float,
    pivot_z: float,
    idler_length: float,
    power_link: float,
    bucket_pin_x: float,
    pin_spacing: float,
    branch: float,
    idler_low: float,
    idler_high: float,
) -> tuple[float, int, float]:
    """(idler angle rad, status, margin m) at a power link angle (rad, idler pin to link pin, stick frame).

    Two positions share one power link angle. Only those on `branch` and within the idler's range count;
    AMBIGUOUS where both do: the sensor cannot tell them apart there.
    """
    middle = 0.5 * (idler_low + idler_high)
    cx = bucket_pin_x - power_link * math.cos(power_link_angle)
    cz = -power_link * math.sin(power_link_angle)
    found = 0
    closed = False
    answer = math.nan
    answer_status = OK
    margin = 0.0
    for turn in range(2):
        side = 1.0 - 2.0 * turn
        hx, hz, _, status, margin = meet(pivot_x, pivot_z, idler_length, cx, cz, pin_spacing, side)
        if status == NO_CLOSURE:
            return math.nan, status, margin
        idler = wrapped(math.atan2(hz - pivot_z, hx - pivot_x), middle)
        kx = hx + bucket_pin_x - cx
        kz = hz - cz
        if branch * side_of(hx, hz, bucket_pin_x, 0.0, kx, kz) <= 0.0:
            continue
        closed = True
        if idler_low - 1e-9 <= idler <= idler_high + 1e-9:
            found += 1
            answer = idler
            answer_status = status
    if found == 2:
        return math.nan, AMBIGUOUS, margin
    if found == 0:
        return math.nan, OUT_OF_STROKE if closed else OTHER_BRANCH, margin
    return answer, answer_status, margin
