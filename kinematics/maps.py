"""Rigid maps between frames as twelve numbers: rows of a rotation, then an origin. p_a = R p_b + t.

Scalars, branch-free: the same source serves one pose and a block of them. A turn is given by its sine
and cosine, which are dear and often shared.
"""

import math

from .compiled import compiled
from .trig import sincos

Map = tuple[float, float, float, float, float, float, float, float, float, float, float, float]
Vector = tuple[float, float, float]


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
def place(m: Map, x: float, y: float, z: float) -> Vector:
    """The point (x, y, z) carried over by a map."""
    return (
        m[0] * x + m[1] * y + m[2] * z + m[9],
        m[3] * x + m[4] * y + m[5] * z + m[10],
        m[6] * x + m[7] * y + m[8] * z + m[11],
    )


@compiled
def direction(m: Map, x: float, y: float, z: float) -> Vector:
    """The direction (x, y, z) turned by a map."""
    return (
        m[0] * x + m[1] * y + m[2] * z,
        m[3] * x + m[4] * y + m[5] * z,
        m[6] * x + m[7] * y + m[8] * z,
    )


@compiled
def seen(m: Map, x: float, y: float, z: float) -> Vector:
    """A direction of the outer frame as the inner frame sees it: the rotation the other way."""
    return (
        m[0] * x + m[3] * y + m[6] * z,
        m[1] * x + m[4] * y + m[7] * z,
        m[2] * x + m[5] * y + m[8] * z,
    )


@compiled
def lift(s: float, c: float, x: float, z: float, b: Map) -> Map:
    """`b` seen from a frame in whose plane it stands at (x, z), turned about -y, the sense of boom, stick, bucket."""
    return (
        c * b[0] - s * b[6], c * b[1] - s * b[7], c * b[2] - s * b[8],
        b[3], b[4], b[5],
        s * b[0] + c * b[6], s * b[1] + c * b[7], s * b[2] + c * b[8],
        c * b[9] - s * b[11] + x, b[10], s * b[9] + c * b[11] + z,
    )  # fmt: skip


@compiled
def swing(s: float, c: float, x: float, y: float, b: Map) -> Map:
    """`b` seen from a frame in which it stands at (x, y), turned anticlockwise from above."""
    return (
        c * b[0] - s * b[3], c * b[1] - s * b[4], c * b[2] - s * b[5],
        s * b[0] + c * b[3], s * b[1] + c * b[4], s * b[2] + c * b[5],
        b[6], b[7], b[8],
        c * b[9] - s * b[10] + x, s * b[9] + c * b[10] + y, b[11],
    )  # fmt: skip


@compiled
def stepped(a: Map, s: float, c: float, x: float, z: float) -> Map:
    """`a` of a frame that stands in its plane at (x, z), turned about -y: after(a, that frame's map)."""
    return (
        a[0] * c + a[2] * s, a[1], a[2] * c - a[0] * s,
        a[3] * c + a[5] * s, a[4], a[5] * c - a[3] * s,
        a[6] * c + a[8] * s, a[7], a[8] * c - a[6] * s,
        a[0] * x + a[2] * z + a[9], a[3] * x + a[5] * z + a[10], a[6] * x + a[8] * z + a[11],
    )  # fmt: skip


@compiled
def turned(s: float, c: float, px: float, py: float, pz: float, ux: float, uy: float, uz: float) -> Map:
    """A turn by the right hand about the line through p along the unit direction u (Rodrigues' formula)."""
    k = 1.0 - c
    kx = k * ux
    ky = k * uy
    kz = k * uz
    r0 = c + kx * ux
    r1 = kx * uy - s * uz
    r2 = kx * uz + s * uy
    r3 = ky * ux + s * uz
    r4 = c + ky * uy
    r5 = ky * uz - s * ux
    r6 = kz * ux - s * uy
    r7 = kz * uy + s * ux
    r8 = c + kz * uz
    return (
        r0, r1, r2, r3, r4, r5, r6, r7, r8,
        px - (r0 * px + r1 * py + r2 * pz),
        py - (r3 * px + r4 * py + r5 * pz),
        pz - (r6 * px + r7 * py + r8 * pz),
    )  # fmt: skip


@compiled
def lifted(angle: float, x: float, y: float, z: float) -> Map:
    """A frame at (x, y, z) turned by `angle` (rad) about -y, the sense of boom, stick and bucket."""
    s, c = sincos(angle)
    return c, 0.0, -s, 0.0, 1.0, 0.0, s, 0.0, c, x, y, z


@compiled
def length(x: float, y: float) -> float:
    """Length of the plane vector (x, y); no guard against overflow, which no dimension here comes near."""
    return math.sqrt(x * x + y * y)
