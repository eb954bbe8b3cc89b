"""Readings to angles in one compiled call, for sets read again and again, by `sensing_gravity` and `drive_block`.

It raises nothing: on any reading that `sensing.angles_from` would refuse it gives a status, and that is the one to ask,
which tells the faults. The order of the steps is that of `sensing_solve`.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .assembly import JOINTS
from .chain import STEEPEST_RAD
from .compiled import compiled
from .drive_block import (
    BUCKET,
    DRIVEN,
    Records,
    bar_row,
    cylinder_rows,
    drawn_position,
    idler_position,
    power_link_position,
)
from .linkage import OK
from .machine import Point
from .sensing_gravity import (
    ARM_AXIS,
    across,
    along_after,
    angle_plane,
    dot,
    meeting_of,
    on_link,
    swung,
    turn_between,
    two_turns,
    whole,
)
from .sensing_solve import MOST_TWIST_RAD, NEAR_VERTICAL_RAD, held_angle, one_place
from .sensor import LEFT, Measure, Sensor
from .sensor_set import LEAN, SensorSet

ANGLES = (*LEAN, *JOINTS)
"""What a set gives, in the order of the angles: one row of a `Program` each."""
AT_PITCH, AT_ROLL = range(2)
AT_SWING, AT_BUCKET, AT_TILT = (ANGLES.index(name) for name in ("swing_boom", "bucket", "tilt"))
_KINDS = (None, *Measure)
ABSENT, GRAVITY, INCLINATION, BOTH, ENCODER, WIRE = range(len(_KINDS))
_PLACES = ("", "cylinder", "idler", "power_link")
ITSELF, ON_CYLINDER, IDLER, POWER_LINK = range(len(_PLACES))
_TURN = 2.0 * math.pi
_VERTICAL = math.cos(NEAR_VERTICAL_RAD)
_PLUMB = math.sin(NEAR_VERTICAL_RAD)

SENSED = np.dtype([
    *((name, np.int64) for name in ("kind", "through", "driven", "at", "branch", "one_place", "steps")),
    *(
        (name, np.float64)
        for name in (
            "sign", "side_sign", "low", "high", "side_low", "side_high", "zero", "held", "least_across",
            "least", "most", "stop_least", "stop_most",
            *(f"{part}_{axis}" for part in ("along", "aside", "up", "about") for axis in "xyz"),
        )
    ),
])  # fmt: skip
"""One sensor and the joint it gives: what it measures, which number is its first, how it is read, what may come out.

`steps`: how many of the attachment's fixed steps (coupler, mount) stand between the link it moves with and its place.
"""


@dataclass(frozen=True, slots=True, eq=False)
class Program:
    """What `sense` needs of a sensor set, made once. `numbers`: the sensor's name of each number it takes, in order.

    Checks are no part of it: they change no angle.
    """

    numbers: tuple[str, ...]
    rows: NDArray[np.void]
    bar: NDArray[np.void]
    cylinders: NDArray[np.void]


def program(sensors: SensorSet) -> Program:
    """The program of a set: every set that `SensorSet` takes has one.

    Numbers in the order of `sensors.sensors`, of a PITCH_ROLL two.
    """
    numbers: list[str] = []
    first: dict[str, int] = {}
    for name, sensor in sensors.sensors.items():
        first[name] = len(numbers)
        numbers += [name] * (2 if sensor.measures == Measure.PITCH_ROLL else 1)
    rows = np.zeros(len(ANGLES), dtype=SENSED)
    for i, joint in enumerate(ANGLES):
        if joint in sensors.by_joint:
            name, sensor = sensors.by_joint[joint]
            _write(rows[i], sensors, joint, name, sensor)
            rows[i]["at"] = first[name]
    rows.flags.writeable = False
    return Program(tuple(numbers), rows, bar_row(sensors.assembly), cylinder_rows(sensors.assembly))


def _write(row: np.void, sensors: SensorSet, joint: str, name: str, sensor: Sensor) -> None:
    assembly = sensors.assembly
    row["kind"] = _KINDS.index(sensor.measures)
    through = "cylinder" if sensor.measures == Measure.LENGTH else sensor.place
    row["through"] = _PLACES.index(through) if through in _PLACES else ITSELF
    row["driven"] = DRIVEN.index(joint) if joint in DRIVEN else 0
    row["branch"] = sensor.branch or 0
    row["sign"], row["side_sign"] = sensor.sign, sensor.side_sign or 0
    low, high = sensor.range.low, sensor.range.high
    row["side_low"], row["side_high"] = low, high
    if sensor.measures == Measure.PITCH_ROLL:  # an arcsine goes no further
        low, high = max(low, -0.5 * math.pi), min(high, 0.5 * math.pi)
    row["low"], row["high"] = low, high
    if sensor.by_gravity:
        axes = sensors.axes[name]
        _vector(row, "along", axes[1 if sensor.axis == LEFT else 0])
        _vector(row, "aside", axes[1])
        _vector(row, "up", axes[2])
        tilt = assembly.attachment.tilt
        _vector(row, "about", tilt.direction if joint == "tilt" and tilt is not None else ARM_AXIS)
    else:
        row["zero"] = sensors.zeros[name]
    if joint in JOINTS:
        # What stands turned before the tilt axis is the hitch's, of the others what the sensor sits on.
        beyond = "tilt" if joint == "tilt" else sensor.place
        row["held"] = held_angle(assembly, beyond)
        row["steps"] = {"tilt": 1, "bucket": 2}.get(beyond, 0)
        reach, stops = assembly.ranges[joint], assembly.stops[joint]
        row["least"], row["most"] = reach.low, reach.high
        row["stop_least"], row["stop_most"] = stops.low, stops.high
        row["one_place"] = one_place(reach)
        row["least_across"] = _PLUMB if joint == "tilt" else 0.0


def _vector(row: np.void, name: str, v: Point) -> None:
    for axis, value in zip("xyz", v, strict=True):
        row[f"{name}_{axis}"] = value


@compiled
def read_well(s: np.void, said: NDArray[np.float64]) -> bool:
    """Whether what a sensor says is finite and within its range."""
    at = s["at"]
    well = s["low"] <= said[at] <= s["high"]  # never so of what is not a number
    if s["kind"] == BOTH:
        well = well and s["side_low"] <= said[at + 1] <= s["side_high"]
    return bool(well)


@compiled
def along_of(s: np.void) -> Point:
    """What a sensor of one number looks along, in its link."""
    return s["along_x"], s["along_y"], s["along_z"]


@compiled
def up_of(s: np.void) -> Point:
    """Its case's z, in its link."""
    return s["up_x"], s["up_y"], s["up_z"]


@compiled
def about_of(s: np.void) -> Point:
    """The axis that its link turns about, in the link."""
    return s["about_x"], s["about_y"], s["about_z"]


@compiled
def plumb_told(s: np.void, said: NDArray[np.float64]) -> Point:
    """Plumb in its link from a sensor of two numbers."""
    axes = along_of(s), (s["aside_x"], s["aside_y"], s["aside_z"]), up_of(s)
    return whole(axes, s["sign"] * said[s["at"]], s["side_sign"] * said[s["at"] + 1])


@compiled
def plane_told(s: np.void, said: NDArray[np.float64]) -> tuple[Point, float, Point]:
    """(w, c, half) as `sensing_gravity.Line`; half means nothing of an inclination."""
    told = s["sign"] * said[s["at"]]
    along = along_of(s)
    if s["kind"] == INCLINATION:
        return along, math.sin(told), along
    w, half = angle_plane(along, up_of(s), told)
    return w, 0.0, half


@compiled
def body_plumb(rows: Records, said: NDArray[np.float64]) -> tuple[bool, Point]:
    """(whether it is upright, plumb in the body)."""
    nose = rows[AT_PITCH]
    if nose["kind"] == BOTH:
        return True, plumb_told(nose, said)
    side = rows[AT_ROLL]
    u, c, nose_half = plane_told(nose, said)
    v, d, side_half = plane_told(side, said)
    met, n = meeting_of(u, c, v, d)
    upright = (nose["kind"] == INCLINATION or dot(nose_half, n) > 0.0) and (
        side["kind"] == INCLINATION or dot(side_half, n) > 0.0
    )
    return met and upright, n


@compiled
def turns_told(s: np.void, said: NDArray[np.float64], plumb: Point) -> tuple[int, float, float]:
    """(how many, first, second) turns about the link's axis that a sensor of gravity allows, plumb known before the turn;
    none where `sensing_solve` has a fault."""
    axis = about_of(s)
    if across(axis, plumb) < s["least_across"]:
        return 0, math.nan, math.nan
    if s["kind"] == BOTH:
        v = plumb_told(s, said)
        twist = abs(
            math.asin(max(-1.0, min(1.0, dot(axis, v)))) - math.asin(max(-1.0, min(1.0, dot(axis, plumb))))
        )
        return int(twist <= MOST_TWIST_RAD), turn_between(axis, v, plumb), math.nan
    w, c, half = plane_told(s, said)
    sine, rising, falling = two_turns(axis, plumb, w, c)
    if math.isnan(rising):
        return 0, rising, falling
    if s["kind"] == INCLINATION:
        if s["branch"] != 0:
            return 1, rising if s["branch"] > 0 else falling, math.nan
        return 2 if abs(sine) <= _VERTICAL else 0, rising, falling
    first = along_after(axis, plumb, half, rising) > 0.0
    second = along_after(axis, plumb, half, falling) > 0.0
    return int(first) + int(second), rising if first else falling, falling


@compiled
def settled(s: np.void, value: float) -> tuple[int, float]:
    """(how many, one of them) angles within the joint's range that an angle is, give or take whole turns."""
    first = math.ceil((s["least"] - value) / _TURN)
    last = math.floor((s["most"] - value) / _TURN)
    if last < first:
        first = math.ceil((s["stop_least"] - value) / _TURN)
        last = math.floor((s["stop_most"] - value) / _TURN)
    if last < first:
        return 0, value
    nearest = first if first > 0 else last if last < 0 else 0
    return 1 if s["one_place"] else int(last - first) + 1, value + _TURN * nearest


@compiled
def carried(s: np.void, bar: np.void, cylinders: Records, value: float) -> tuple[int, float]:
    """As `settled`, through the cylinder or the four-bar where the sensor sits on them."""
    if s["through"] == ITSELF:
        return settled(s, value)
    if s["through"] == ON_CYLINDER:
        angle, status = drawn_position(bar, cylinders[s["driven"]], int(s["driven"] == BUCKET), value)
    elif s["through"] == IDLER:
        angle, _, status = idler_position(bar, value)
    else:
        angle, status = power_link_position(bar, value)
    return int(status == OK), angle


@compiled
def values_told(
    s: np.void, said: NDArray[np.float64], plumb: Point, taken: float
) -> tuple[int, float, float]:
    """(how many, first, second) values of a joint's angle, or of what drives it, that a sensor tells.

    `taken` (rad): how much of its link's turn is due to the links before and to how its place stands on the link.
    """
    if s["kind"] == ENCODER or s["kind"] == WIRE:
        return 1, s["sign"] * said[s["at"]] - s["zero"], math.nan
    count, first, second = turns_told(s, said, plumb)
    return count, first - taken, second - taken


@compiled
def only_fit(
    s: np.void, bar: np.void, cylinders: Records, count: int, first: float, second: float
) -> tuple[bool, float]:
    """(whether there is one and no other, the joint's angle) of so many values."""
    fits = 0
    angle = math.nan
    for k in range(count):
        more, found = carried(s, bar, cylinders, second if k else first)
        fits += more
        angle = found if more else angle
    return fits == 1, angle


@compiled
def sense(
    rows: Records, bars: Records, cylinders: Records, said: NDArray[np.float64], q: NDArray[np.float64]
) -> int:
    """Fill `q` (rad, shape (9,), order of `ANGLES`, 0 of a joint that is not there) from readings (rad or m); a status.

    0 where `sensing.angles_from` gives angles, the same to a rounding; else 1 + the place in `ANGLES` of the first that
    it has a fault of, and q means nothing.
    """
    for i in range(len(ANGLES)):
        if rows[i]["kind"] != ABSENT and not read_well(rows[i], said):
            return 1 + i
    upright, n = body_plumb(rows, said)
    if not upright:
        return 1
    q[AT_PITCH] = math.atan2(n[0], math.hypot(n[1], n[2]))
    q[AT_ROLL] = math.atan2(n[1], n[2])
    for i in range(AT_SWING):
        if not abs(q[i]) <= STEEPEST_RAD:
            return 1 + i
    before = 0.0
    for i in range(AT_SWING, len(ANGLES)):
        s = rows[i]
        q[i] = 0.0
        if s["kind"] == ABSENT:
            continue
        taken = before + s["held"]
        if i == AT_TILT:  # seen from what holds its axis
            n = on_link(n, taken)
            taken = 0.0
        count, first, second = values_told(s, said, n, taken)
        only, angle = only_fit(s, bars[0], cylinders, count, first, second)
        if not only:
            return 1 + i
        q[i] = angle
        if i == AT_SWING:
            n = swung(n, angle)
        elif i <= AT_BUCKET:
            before += angle
    return 0
