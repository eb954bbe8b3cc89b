"""What a sensor of gravity says of plumb, and plumb of a turn: formulas on numbers, nothing refused here.

A reading puts plumb n, as the sensor's link has it, on a plane w . n = c. One that reads the angle s in the plane of
its axes along and z has w = cos s along - sin s z, c = 0; one that reads an inclination, w = along, c = sin s. Two
such planes and |n| = 1 give the body's plumb. A link turned by t about a known axis u, plumb known before the turn:
R(u, t) w . n = c, which is A + B cos t + C sin t = c with A = (u . w)(u . n), B = w . n - A, C = (u x w) . n (Rodrigues).
For a link square in the arm's plane this is t = s - mounting offset - f with f = atan2(n x, n z), and for an inclination
t = asin(sin(s) / M) - mounting offset - f with M = hypot(n x, n z).
"""

import math

from .compiled import compiled
from .machine import Point
from .sensor import LEFT, Axes, Measure, Sensor

Line = tuple[Point, float, Point | None]
"""(w, c, half): w . n = c, and half . n > 0 where it is known on which side, else None."""
ARM_AXIS = (0.0, -1.0, 0.0)
# Two roundings past a sine of 1, where a link stands on end; no reading is so fine.
_SINE_ROUNDING = 4e-15


@compiled
def dot(a: Point, b: Point) -> float:
    """Inner product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@compiled
def cross(a: Point, b: Point) -> Point:
    """Vector product, right-handed."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@compiled
def plumb_of(pitch: float, roll: float) -> Point:
    """Plumb (unit, up) in the body from its lean (rad): nose up 0.1 tips it 0.1 towards x."""
    c = math.cos(pitch)
    return math.sin(pitch), c * math.sin(roll), c * math.cos(roll)


@compiled
def swung(plumb: Point, swing_boom: float) -> Point:
    """Plumb of the body as the arm's plane has it, behind a swing boom turned by this (rad, anticlockwise from above)."""
    s, c = math.sin(swing_boom), math.cos(swing_boom)
    return plumb[0] * c + plumb[1] * s, plumb[1] * c - plumb[0] * s, plumb[2]


@compiled
def on_link(plumb: Point, angle: float) -> Point:
    """Plumb of the arm's plane as a link at this in-plane angle (rad) has it: raised 90 deg, it has plumb along x."""
    s, c = math.sin(angle), math.cos(angle)
    return plumb[0] * c + plumb[2] * s, plumb[1], plumb[2] * c - plumb[0] * s


@compiled
def turned_by(axis: Point, angle: float, v: Point) -> Point:
    """`v` turned by `angle` (rad) by the right hand about the unit direction `axis` (Rodrigues' formula)."""
    s, c = math.sin(angle), math.cos(angle)
    k = (1.0 - c) * dot(axis, v)
    x, y, z = cross(axis, v)
    return c * v[0] + s * x + k * axis[0], c * v[1] + s * y + k * axis[1], c * v[2] + s * z + k * axis[2]


def felt(sensor: Sensor, axes: Axes, plumb: Point) -> tuple[float, ...]:
    """What a sensor of gravity at rest says (rad, its sign not yet applied) of plumb in its link; see `Measure`.

    An inclination by its arctangent: an arcsine would lose half the digits near the vertical.
    """
    return felt_in_case(sensor, (dot(axes[0], plumb), dot(axes[1], plumb), dot(axes[2], plumb)))


def felt_in_case(sensor: Sensor, plumb: Point) -> tuple[float, ...]:
    """The same of plumb (of any length) in the sensor's case: (0.1, 0, 1) gives a gravity angle of 5.7 deg."""
    x, y, z = plumb
    if sensor.measures == Measure.PITCH_ROLL:
        return math.atan2(x, math.hypot(y, z)), math.atan2(y, z)
    along, aside = (y, x) if sensor.axis == LEFT else (x, y)
    if sensor.measures == Measure.GRAVITY_ANGLE:
        return (math.atan2(along, z),)
    return (math.atan2(along, math.hypot(aside, z)),)


@compiled
def whole(axes: Axes, pitch: float, roll: float) -> Point:
    """Plumb in a sensor's link from what it says in two numbers (rad)."""
    x, y, z = plumb_of(pitch, roll)
    a, b, c = axes
    return (
        a[0] * x + b[0] * y + c[0] * z,
        a[1] * x + b[1] * y + c[1] * z,
        a[2] * x + b[2] * y + c[2] * z,
    )


def line_of(sensor: Sensor, axes: Axes, said: float) -> Line:
    """The plane that one number (rad, sign applied) puts plumb on."""
    along = axes[1 if sensor.axis == LEFT else 0]
    if sensor.measures == Measure.INCLINATION:
        return along, math.sin(said), None
    w, half = angle_plane(along, axes[2], said)
    return w, 0.0, half


@compiled
def angle_plane(along: Point, up: Point, said: float) -> tuple[Point, Point]:
    """(w, half) of the plane through the origin on which a gravity angle (rad) puts plumb, as in `Line`."""
    s = math.sin(said)
    c = math.cos(said)
    return (
        (c * along[0] - s * up[0], c * along[1] - s * up[1], c * along[2] - s * up[2]),
        (s * along[0] + c * up[0], s * along[1] + c * up[1], s * along[2] + c * up[2]),
    )


def meeting(one: Line, other: Line) -> Point | None:
    """Plumb (unit) on two planes, the one of two that points up; None where the planes miss the unit sphere."""
    met, n = meeting_of(one[0], one[1], other[0], other[1])
    return n if met else None


@compiled
def meeting_of(u: Point, c: float, v: Point, d: float) -> tuple[bool, Point]:
    """(whether they meet, plumb or NaN) as `meeting`, of the planes u . n = c and v . n = d."""
    k = dot(u, v)
    apart = 1.0 - k * k
    if apart <= 0.0:
        return False, (math.nan, math.nan, math.nan)
    a = (c - k * d) / apart
    b = (d - k * c) / apart
    square = (1.0 - a * c - b * d) / apart
    if square < 0.0:
        return False, (math.nan, math.nan, math.nan)
    normal = cross(u, v)
    g = math.copysign(math.sqrt(square), normal[2])
    return True, (
        a * u[0] + b * v[0] + g * normal[0],
        a * u[1] + b * v[1] + g * normal[1],
        a * u[2] + b * v[2] + g * normal[2],
    )


def turns_onto(axis: Point, plumb: Point, line: Line) -> tuple[float, tuple[float, ...]]:
    """(sine, turns in rad): the turns about `axis` that put plumb on a plane; none where the sine is past 1 either way.

    The sine is of the angle between what the sensor looks along and the level, in the plane of the turn: near 1 the two
    turns are near each other. At the first of two w . n rises with the turn, at the second it falls. Where the line
    says on which side plumb lies, only turns with it there.
    """
    w, c, half = line
    sine, rising, falling = two_turns(axis, plumb, w, c)
    if math.isnan(rising):
        return sine, ()
    if half is None:
        return sine, (rising, falling)
    return sine, tuple([t for t in (rising, falling) if along_after(axis, plumb, half, t) > 0.0])


@compiled
def two_turns(axis: Point, plumb: Point, w: Point, c: float) -> tuple[float, float, float]:
    """(sine, rising turn, falling turn) as `turns_onto`, of the plane w . n = c; NaN for both where there is none."""
    a = dot(axis, w) * dot(axis, plumb)
    b = dot(w, plumb) - a
    s = dot(w, cross(plumb, axis))
    reach = math.hypot(b, s)
    if reach == 0.0:
        return math.inf, math.nan, math.nan
    sine = (c - a) / reach
    if not abs(sine) <= 1.0 + _SINE_ROUNDING:
        return sine, math.nan, math.nan
    up = math.asin(max(-1.0, min(1.0, sine)))
    ahead = math.atan2(b, s)
    return sine, up - ahead, math.pi - up - ahead


@compiled
def along_after(axis: Point, plumb: Point, half: Point, turn: float) -> float:
    """half . n once the link has turned about `axis` by this (rad)."""
    a = dot(axis, half) * dot(axis, plumb)
    return a + (dot(half, plumb) - a) * math.cos(turn) + dot(half, cross(plumb, axis)) * math.sin(turn)


@compiled
def turn_between(axis: Point, v: Point, plumb: Point) -> float:
    """The turn (rad) about `axis` that brings `v` over `plumb`, both seen along the axis."""
    return math.atan2(dot(axis, cross(v, plumb)), dot(v, plumb) - dot(axis, v) * dot(axis, plumb))


@compiled
def across(axis: Point, plumb: Point) -> float:
    """Sine of the angle (0 to 1) between an axis and plumb: near 0, gravity cannot see a turn about it."""
    x, y, z = cross(axis, plumb)
    return math.sqrt(x * x + y * y + z * z)
