"""How angles move with what sensors say and with the dimensions in between: `sensing_block` differentiated.

Each link's turn t closes g = R(axis, t) w . n - c = 0 (`sensing_gravity`), n plumb before the turn. So
dt = -(g_s ds + R w . dn) / g_t, with g_t = (axis x R w) . n; what n and the links before owe to other readings is
carried on.
"""

import math

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .drive_block import Records
from .machine import Point
from .sensing_block import (
    ABSENT,
    ANGLES,
    AT_BUCKET,
    AT_PITCH,
    AT_ROLL,
    AT_SWING,
    AT_TILT,
    BOTH,
    ENCODER,
    INCLINATION,
    ITSELF,
    WIRE,
    about_of,
    along_of,
    carried,
    plane_told,
    plumb_told,
    up_of,
    values_told,
)
from .sensing_gravity import cross, dot, on_link, plumb_of, swung
from .through_rates import BETWEEN, through_drive

_COUPLER, _MOUNT, _ABOUT = (BETWEEN.index(name) for name in ("coupler_angle", "mount_angle", "tilt_axis_x"))
_SAME_RAD = 1e-9  # one angle, found twice by the same formulas
Floats = NDArray[np.float64]


@compiled
def turned_whole(s: np.void, v: Point) -> Point:
    """A direction of a sensor's case as its link has it."""
    a, b, c = along_of(s), (s["aside_x"], s["aside_y"], s["aside_z"]), up_of(s)
    return (
        a[0] * v[0] + b[0] * v[1] + c[0] * v[2],
        a[1] * v[0] + b[1] * v[1] + c[1] * v[2],
        a[2] * v[0] + b[2] * v[1] + c[2] * v[2],
    )


@compiled
def plumb_moves(s: np.void, said: Floats) -> tuple[Point, Point]:
    """d plumb in its link / d each number that a sensor of two says."""
    pitch = s["sign"] * said[s["at"]]
    roll = s["side_sign"] * said[s["at"] + 1]
    x, y, z = plumb_of(pitch, roll)
    sp, cp = x, math.cos(pitch)
    sr, cr = math.sin(roll), math.cos(roll)
    f, g = s["sign"], s["side_sign"]
    first = turned_whole(s, (f * cp, -f * sp * sr, -f * sp * cr))
    second = turned_whole(s, (0.0, g * z, -g * y))
    return first, second


@compiled
def skewed(s: np.void, n: Point) -> tuple[float, float]:
    """d each number said / d skew of the case (its nose to the left), plumb in its link being n; 0 for a second that it
    does not say. Level it is nothing; 5 deg left side up a case at 0 deg says 0.087 deg more for each of skew."""
    along, up = along_of(s), up_of(s)
    aside = cross(up, along)
    a, b, c = dot(along, n), dot(aside, n), dot(up, n)
    if s["kind"] == BOTH:
        square = b * b + c * c
        return s["sign"] * b / math.sqrt(square), -s["side_sign"] * a * c / square
    if s["kind"] == INCLINATION:
        return s["sign"] * b / math.sqrt(b * b + c * c), 0.0
    return s["sign"] * c * b / (a * a + c * c), 0.0


@compiled
def write_skew(s: np.void, n: Point, skew: Floats) -> None:
    """`skewed` at the sensor's own numbers."""
    first, second = skewed(s, n)
    skew[s["at"]] = first
    if s["kind"] == BOTH:
        skew[s["at"] + 1] = second


@compiled
def add_plumb(dn: Floats, column: int, v: Point) -> None:
    """What plumb owes to one column."""
    width = dn.shape[0] // 3
    dn[column] += v[0]
    dn[width + column] += v[1]
    dn[2 * width + column] += v[2]


@compiled
def body_rates(rows: Records, said: Floats, dn: Floats, skew: Floats) -> Point:
    """Plumb in the body; its derivatives into `dn`."""
    nose = rows[AT_PITCH]
    if nose["kind"] == BOTH:
        n = plumb_told(nose, said)
        first, second = plumb_moves(nose, said)
        add_plumb(dn, nose["at"], first)
        add_plumb(dn, nose["at"] + 1, second)
        write_skew(nose, n, skew)
        return n
    side = rows[AT_ROLL]
    u, c, u_half = plane_told(nose, said)
    v, d, v_half = plane_told(side, said)
    # The unit vector on both planes, upwards (`meeting`).
    k = dot(u, v)
    apart = 1.0 - k * k
    a, b = (c - k * d) / apart, (d - k * c) / apart
    normal = cross(u, v)
    g = math.copysign(math.sqrt(max(1.0 - a * c - b * d, 0.0) / apart), normal[2])
    n = (
        a * u[0] + b * v[0] + g * normal[0],
        a * u[1] + b * v[1] + g * normal[1],
        a * u[2] + b * v[2] + g * normal[2],
    )
    whole = dot(u, cross(v, n))
    x, y, z = cross(v, n)
    r = by_reading(nose, said, u_half, n) / whole
    add_plumb(dn, nose["at"], (r * x, r * y, r * z))
    x, y, z = cross(n, u)
    r = by_reading(side, said, v_half, n) / whole
    add_plumb(dn, side["at"], (r * x, r * y, r * z))
    write_skew(nose, n, skew)
    write_skew(side, n, skew)
    return n


@compiled
def by_reading(s: np.void, said: Floats, half: Point, n: Point) -> float:
    """How far a sensor's plane moves towards its normal at n with its reading."""
    if s["kind"] == INCLINATION:
        return float(s["sign"] * math.cos(said[s["at"]]))
    return float(s["sign"] * dot(half, n))


@compiled
def turned_so(axis: Point, s: float, c: float, v: Point) -> Point:
    """As `sensing_gravity.turned_by`, from sine and cosine of the angle."""
    k = (1.0 - c) * dot(axis, v)
    x, y, z = cross(axis, v)
    return c * v[0] + s * x + k * axis[0], c * v[1] + s * y + k * axis[1], c * v[2] + s * z + k * axis[2]


@compiled
def turn_rates(
    s: np.void, said: Floats, n: Point, sine: float, cosine: float, dn: Floats, out: Floats
) -> None:
    """d turn / d every column into `out`, of a link so turned under a sensor of gravity; n, dn before the turn."""
    axis = about_of(s)
    at = s["at"]
    if s["kind"] == BOTH:
        v = plumb_told(s, said)
        first, second = plumb_moves(s, said)
        square = dot(v, v) - dot(axis, v) ** 2
        out[at] -= dot(axis, cross(v, first)) / square
        out[at + 1] -= dot(axis, cross(v, second)) / square
        x, y, z = cross(axis, n)
        over = 1.0 / (dot(n, n) - dot(axis, n) ** 2)
        x, y, z = x * over, y * over, z * over
    else:
        w, _, half = plane_told(s, said)
        w = turned_so(axis, sine, cosine, w)
        over = dot(cross(axis, w), n)
        if s["kind"] == INCLINATION:
            out[at] += s["sign"] * math.cos(said[at]) / over
        else:
            out[at] += s["sign"] * dot(turned_so(axis, sine, cosine, half), n) / over
        x, y, z = -w[0] / over, -w[1] / over, -w[2] / over
    width = out.shape[0]
    for k in range(width):
        out[k] += x * dn[k] + y * dn[width + k] + z * dn[2 * width + k]


@compiled
def axis_rates(s: np.void, said: Floats, n: Point, sine: float, cosine: float, at: int, out: Floats) -> None:
    """d turn / d the direction of the axis into `out` from `at`; n before the turn, as `turn_rates` has it."""
    axis = about_of(s)
    v = plumb_told(s, said) if s["kind"] == BOTH else plane_told(s, said)[0]
    across = cross(v, n)
    along, down = dot(axis, v), dot(axis, n)
    if s["kind"] == BOTH:
        p, r = dot(axis, across), dot(v, n) - along * down
        square = p * p + r * r
        by_cross, by_along = r / square, p / square
    else:
        over = -1.0 / dot(cross(axis, turned_so(axis, sine, cosine, v)), n)
        by_cross, by_along = sine * over, (1.0 - cosine) * over
    for k in range(3):
        out[at + k] += by_cross * across[k] + by_along * (v[k] * down + along * n[k])


@compiled
def value_that_fits(
    s: np.void, bar: np.void, cylinders: Records, said: Floats, n: Point, taken: float, angle: float
) -> float:
    """Of the values that a sensor tells the one that gave the joint this angle."""
    count, first, second = values_told(s, said, n, taken)
    if count < 2:
        return first
    fits, found = carried(s, bar, cylinders, first)
    return first if fits and abs(found - angle) <= _SAME_RAD else second


@compiled
def link_rates(
    s: np.void, bar: np.void, cylinders: Records, said: Floats, n: Point, taken: float, angle: float, dn: Floats,
    skew: Floats, out: Floats,
) -> float:  # fmt: skip
    """d what the sensor sits on / d every column into `out`, its value (rad or m) besides.

    `taken` (rad): how far its place stands turned with the links before it.
    """
    if s["kind"] == ENCODER or s["kind"] == WIRE:
        out[s["at"]] = s["sign"]
        return float(s["sign"] * said[s["at"]] - s["zero"])
    value = angle if s["through"] == ITSELF else value_that_fits(s, bar, cylinders, said, n, taken, angle)
    sine, cosine = math.sin(value + taken), math.cos(value + taken)
    turn_rates(s, said, n, sine, cosine, dn, out)
    write_skew(s, turned_so(about_of(s), -sine, cosine, n), skew)
    return value


@compiled
def take_off(s: np.void, before_by: Floats, first: int, out: Floats) -> None:
    """Of a link's turn, what the links before it and the fixed steps in between are due for."""
    for k in range(out.shape[0]):
        out[k] -= before_by[k]
    if s["steps"] > 0:
        out[first + _COUPLER] -= 1.0
    if s["steps"] > 1:
        out[first + _MOUNT] -= 1.0


@compiled
def finite(row: Floats) -> bool:
    """Whether every number of a row is."""
    bad = 0
    for k in range(row.shape[0]):
        bad |= not abs(row[k]) < math.inf
    return bad == 0


@compiled
def sensed_rates(
    rows: Records, bars: Records, cylinders: Records, said: Floats, q: Floats, dq: Floats, dn: Floats, before_by: Floats,
    skew: Floats,
) -> bool:  # fmt: skip
    """Fill `dq`, nine rows of n + `BETWEEN`, with d q / d each number said, then each dimension between; False where one
    is not finite: a linkage at dead centre.

    `q` (9,) as `sense` found them from `said` (n,). `skew` (n,): d what is said / d the skew of its sensor's case.
    `dn`, three such rows, and `before_by`, one, are worked on. A boom by gravity 0.001 rad up: boom 0.001, stick -0.001.
    """
    first, width = said.shape[0], before_by.shape[0]
    dq[:] = 0.0
    dn[:] = 0.0
    before_by[:] = 0.0
    skew[:] = 0.0
    n = body_rates(rows, said, dn, skew)
    level = math.hypot(n[1], n[2])
    for k in range(width):
        dq[AT_PITCH * width + k] = dn[k] / level
        dq[AT_ROLL * width + k] = (n[2] * dn[width + k] - n[1] * dn[2 * width + k]) / (level * level)
    before = 0.0
    for i in range(AT_SWING, len(ANGLES)):
        s = rows[i]
        if s["kind"] == ABSENT:
            continue
        out = dq[i * width : (i + 1) * width]
        taken = before + s["held"]
        if i == AT_TILT:  # seen from what holds its axis
            before_by[first + _COUPLER] += 1.0
            n = carry_plumb(n, taken, dn, before_by)
            taken = 0.0
        value = link_rates(s, bars[0], cylinders, said, n, taken, q[i], dn, skew, out)
        if s["kind"] != ENCODER and s["kind"] != WIRE:
            if i == AT_TILT:
                axis_rates(s, said, n, math.sin(q[i]), math.cos(q[i]), first + _ABOUT, out)
            else:
                take_off(s, before_by, first, out)
        through_drive(s, bars[0], cylinders, value, q[i], first, out)
        if not finite(out):
            return False
        if i == AT_SWING:
            n = swung(n, q[i])
            swing_plumb(n, q[i], dn, out)
        elif i <= AT_BUCKET:
            before += q[i]
            for k in range(out.shape[0]):
                before_by[k] += out[k]
    return finite(dq[: 2 * width])


@compiled
def carry_plumb(n: Point, angle: float, dn: Floats, by: Floats) -> Point:
    """Plumb and its derivatives as a link at this in-plane angle has them; the angle moves by `by`."""
    x, y, z = on_link(n, angle)
    s, c = math.sin(angle), math.cos(angle)
    width = by.shape[0]
    for k in range(width):
        a, b = dn[k], dn[2 * width + k]
        dn[k] = a * c + b * s + z * by[k]
        dn[2 * width + k] = b * c - a * s - x * by[k]
    return x, y, z


@compiled
def swing_plumb(n: Point, angle: float, dn: Floats, by: Floats) -> None:
    """Derivatives of plumb as the arm's plane has it, n itself already so; the swing boom moves by `by`."""
    s, c = math.sin(angle), math.cos(angle)
    width = by.shape[0]
    for k in range(width):
        a, b = dn[k], dn[width + k]
        dn[k] = a * c + b * s + n[1] * by[k]
        dn[width + k] = b * c - a * s - n[0] * by[k]
