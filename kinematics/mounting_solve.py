"""Which zero makes a sensor say what it said, plumb in what it sits on being known.

A case stands turned by nose_up, then skewed, then canted (`Mounting`). Turning its link by nose_up before the rest is the
turn of a link that `sensing_gravity.turns_onto` finds: the zero comes by the formulas that give the angles.
"""

import dataclasses
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import root

from .errors import Fault, Refused
from .linkage import wrapped
from .machine import Point
from .sensing_gravity import ARM_AXIS, felt, line_of, plumb_of, turn_between, turns_onto
from .sensing_solve import NEAR_VERTICAL_RAD
from .sensor import LEFT, Axes, Measure, Mounting, Sensor

Numbers = tuple[float, ...]
# Of two zeros that an inclination allows the one near the profile's is taken where the other is this much further off.
_CLEARER_RAD = math.radians(20.0)
_CLOSE_RAD = 1e-12


def signed(sensor: Sensor, said: Numbers) -> Numbers:
    """What a reading counts as."""
    if sensor.side_sign is None:
        return (sensor.sign * said[0],)
    return sensor.sign * said[0], sensor.side_sign * said[1]


def nose_up_of(name: str, sensor: Sensor, old: Mounting, said: Numbers, plumb: Point) -> tuple[float, float]:
    """(nose_up, change of it for the reading's) of a sensor whose link has this plumb."""
    axes = dataclasses.replace(old, nose_up=0.0).axes()
    counted = signed(sensor, said)
    if sensor.measures == Measure.PITCH_ROLL:
        return turn_between(ARM_AXIS, _seen(axes, plumb_of(*counted)), plumb), 1.0
    sine, found = turns_onto(ARM_AXIS, plumb, line_of(sensor, axes, counted[0]))
    if sensor.measures == Measure.INCLINATION:
        _check_sine(name, sine)
        slope = math.cos(counted[0]) / max(math.sqrt(1.0 - sine * sine), 1e-9)
        if sensor.branch is not None:
            return (found[0] if sensor.branch > 0 else found[1]), slope
        return _nearer(name, found, old.nose_up), slope
    if not found:
        raise Refused([_impossible(name, sine)])
    return found[0], 1.0


def left_up_of(name: str, sensor: Sensor, old: Mounting, said: float, plumb: Point) -> tuple[float, float]:
    """(left_up, change of it for the reading's) of one that looks left, its link with this plumb."""
    _, y, z = dataclasses.replace(old, left_up=0.0).axes()
    side, up = _dot(y, plumb), _dot(z, plumb)
    lean, reach = math.atan2(side, up), math.hypot(side, up)
    counted = sensor.sign * said
    if sensor.measures == Measure.GRAVITY_ANGLE:
        return counted - lean, 1.0
    sine = math.sin(counted) / reach
    _check_sine(name, sine)
    angle = math.asin(sine)
    slope = math.cos(counted) / max(math.sqrt(1.0 - sine * sine), 1e-9)
    return _nearer(name, (angle - lean, math.pi - angle - lean), old.left_up), slope


def pair_of(name: str, sensor: Sensor, old: Mounting, said: Numbers, plumb: Point) -> tuple[float, float]:
    """(nose_up, left_up) of a pair on what has this plumb, its skew as it is."""
    x, y, z = plumb_of(*signed(sensor, said))
    skew = math.sin(old.to_left), math.cos(old.to_left)
    # Across the arm's plane only the cant helps: y cos c - z sin c.
    cosine = (plumb[1] - skew[0] * x) / skew[1] / math.hypot(y, z)
    if not abs(cosine) <= 1.0:
        raise Refused([_impossible(name, cosine)])
    ahead = math.atan2(z, y)
    left = min(
        (side * math.acos(cosine) - ahead for side in (1.0, -1.0)),
        key=lambda angle: abs(wrapped(angle - old.left_up, 0.0)),
    )
    axes = Mounting(0.0, left, old.to_left).axes()
    return turn_between(ARM_AXIS, _seen(axes, (x, y, z)), plumb), left


def swing_axis(name: str, sensor: Sensor, before: Numbers, after: Numbers) -> Numbers:
    """What a pair would say, sign and all, if the swing axis stood plumb: of plumb before and after half a turn what lies
    across the axis cancels in the sum."""
    one, two = plumb_of(*signed(sensor, before)), plumb_of(*signed(sensor, after))
    x, y, z = (a + b for a, b in zip(one, two, strict=True))
    if math.hypot(x, y, z) < 1.0:  # over 120 deg apart: no body leans so
        raise Refused([
            Fault("impossible-reading", name, "two readings that no lean has", "a lean before and after half a turn",
                  "check the body sensor's signs and unit")
        ])  # fmt: skip
    side = sensor.side_sign or 1
    return sensor.sign * math.atan2(x, math.hypot(y, z)), side * math.atan2(y, z)


def zeros_of_two(parts: Sequence[tuple[str, Sensor, Mounting, float, float]]) -> list[float]:
    """Zeros of two sensors of one axis each on the body, by (name, sensor, mounting, before, after) half a turn: the two
    zeros and the lean from four readings, by Newton's method from the profile's zeros."""

    def off(unknown: NDArray[np.float64]) -> list[float]:
        pitch, roll, *zeros = unknown.tolist()
        n = plumb_of(pitch, roll)
        found = []
        for (_, sensor, old, *said), zero in zip(parts, zeros, strict=True):
            changed = {"left_up" if sensor.axis == LEFT else "nose_up": zero}
            axes = dataclasses.replace(old, **changed).axes()
            for sees, reading in zip((n, (-n[0], -n[1], n[2])), said, strict=True):
                found.append(wrapped(felt(sensor, axes, sees)[0] - sensor.sign * reading, 0.0))
        return found

    start = [0.0, 0.0, *(old.left_up if s.axis == LEFT else old.nose_up for _, s, old, *_ in parts)]
    solved = root(off, start, tol=1e-14)
    if not (np.all(np.isfinite(solved.x)) and max(abs(v) for v in off(solved.x)) <= _CLOSE_RAD):
        raise Refused([
            Fault("impossible-reading", name, "readings that no lean has", "a lean before and after half a turn",
                  "check the body sensors' kind, axes and unit")
            for name, *_ in parts
        ])  # fmt: skip
    return [float(v) for v in solved.x[2:]]


def _seen(axes: Axes, v: Point) -> Point:
    """A direction of the case in its link's axes."""
    a, b, c = axes
    return (
        a[0] * v[0] + b[0] * v[1] + c[0] * v[2],
        a[1] * v[0] + b[1] * v[1] + c[1] * v[2],
        a[2] * v[0] + b[2] * v[1] + c[2] * v[2],
    )


def _dot(a: Point, b: Point) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _check_sine(name: str, sine: float) -> None:
    if not abs(sine) <= 1.0:
        raise Refused([_impossible(name, sine)])
    if abs(sine) > math.cos(NEAR_VERTICAL_RAD):
        off = math.degrees(math.acos(abs(sine)))
        raise Refused([
            Fault("near-vertical", name, f"{off:.1f} deg from vertical",
                  f"an inclination at least {math.degrees(NEAR_VERTICAL_RAD):g} deg from it",
                  "move the link and check there",
                  {"from_vertical_deg": off})
        ])  # fmt: skip


def _nearer(name: str, found: Sequence[float], old: float) -> float:
    near, far = sorted(found, key=lambda angle: abs(wrapped(angle - old, 0.0)))
    if abs(wrapped(far - old, 0.0)) - abs(wrapped(near - old, 0.0)) < _CLEARER_RAD:
        raise Refused([
            Fault("ambiguous", name, " or ".join(f"{math.degrees(wrapped(a, 0.0)):.2f} deg" for a in (near, far)),
                  "one mounting near the profile's", "state the sensor's branch, or its mounting to within some degrees")
        ])  # fmt: skip
    return near


def _impossible(name: str, sine: float) -> Fault:
    return Fault(
        "impossible-reading", name, f"a sine of {sine:.5f}", "at most 1, as on this lean",
        "check its kind, sign and unit, and the lean", {"sine": sine},
    )  # fmt: skip
