"""What every sensor of a set would read in a pose, compiled: `sensing.readings_of` for many poses."""

import math

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .drive_block import BUCKET, Records, length_at
from .linkage import NO_CLOSURE, bucket_from_idler, idler_from_bucket, wrapped
from .machine import Point
from .sensing_block import (
    ABSENT,
    ANGLES,
    AT_BUCKET,
    AT_ROLL,
    AT_SWING,
    AT_TILT,
    BOTH,
    ENCODER,
    GRAVITY,
    IDLER,
    POWER_LINK,
    WIRE,
    about_of,
    along_of,
    up_of,
)
from .sensing_gravity import cross, dot, on_link, plumb_of, swung, turned_by

Floats = NDArray[np.float64]


@compiled
def in_range(value: float, low: float, high: float) -> float:
    """An angle, give or take whole turns, as the sensor tells it."""
    return value if low <= value <= high else wrapped(value, 0.5 * (low + high))


@compiled
def tell(s: np.void, n: Point, said: Floats) -> None:
    """What a sensor of gravity reads of plumb (unit) in its link, into its place of `said`."""
    along, up, at = along_of(s), up_of(s), s["at"]
    if s["kind"] == BOTH:
        y, z = dot((s["aside_x"], s["aside_y"], s["aside_z"]), n), dot(up, n)
        said[at] = s["sign"] * math.atan2(dot(along, n), math.hypot(y, z))
        said[at + 1] = in_range(s["side_sign"] * math.atan2(y, z), s["side_low"], s["side_high"])
        return
    if s["kind"] == GRAVITY:
        told = math.atan2(dot(along, n), dot(up, n))
    else:
        x, y, z = cross(along, n)
        told = math.atan2(dot(along, n), math.sqrt(x * x + y * y + z * z))
    said[at] = in_range(s["sign"] * told, s["low"], s["high"])


@compiled
def linkage_at(bar: np.void, bucket: float) -> tuple[float, float]:
    """(idler, power link) angles (rad, in the stick) at a bucket angle; NaN where the links do not meet."""
    idler, status, _ = idler_from_bucket(
        bucket, bar["pivot_x"], bar["pivot_z"], bar["idler_length"], bar["power_link"], bar["bucket_pin_x"],
        bar["pin_spacing"], bar["branch"], bar["idler_side"],
    )  # fmt: skip
    if status == NO_CLOSURE:
        return math.nan, math.nan
    idler = wrapped(idler, bar["idler_middle"])
    _, link, _, _, _, _ = bucket_from_idler(
        idler, bar["pivot_x"], bar["pivot_z"], bar["idler_length"], bar["power_link"], bar["bucket_pin_x"],
        bar["pin_spacing"], bar["branch"],
    )  # fmt: skip
    return idler, link


@compiled
def sat_on(s: np.void, bar: np.void, angle: float) -> float:
    """The angle of what a sensor sits on, its joint being at `angle`: the joint's own, the idler's, the power link's."""
    if s["through"] == IDLER:
        return linkage_at(bar, angle)[0]
    if s["through"] == POWER_LINK:
        return linkage_at(bar, angle)[1]
    return angle


@compiled
def say(rows: Records, bars: Records, cylinders: Records, q: Floats, said: Floats) -> None:
    """Fill `said` (numbers of a `Program`, rad or m) with what the sensors read at angles q (9,): what `sense` undoes.

    A boom at 0.2 rad under an encoder that reads 0.02 over: 0.22. NaN where a linkage does not get there; checks are no
    part of it.
    """
    n = plumb_of(q[0], q[1])
    tell(rows[0], n, said)
    if rows[0]["kind"] != BOTH:
        tell(rows[AT_ROLL], n, said)
    n = swung(n, q[AT_SWING])
    before = 0.0
    for i in range(AT_SWING, len(ANGLES)):
        s = rows[i]
        if s["kind"] == ABSENT:
            continue
        if s["kind"] == WIRE:
            bucket = int(s["driven"] == BUCKET)
            length, _ = length_at(bars[0], cylinders[s["driven"]], bucket, q[i])
            said[s["at"]] = s["sign"] * (length + s["zero"])
        elif s["kind"] == ENCODER:
            value = s["sign"] * (sat_on(s, bars[0], q[i]) + s["zero"])
            said[s["at"]] = in_range(value, s["low"], s["high"])
        elif i == AT_TILT:  # plumb seen from the tilted part turns the other way
            tell(s, turned_by(about_of(s), -q[i], on_link(n, before + s["held"])), said)
        else:
            tell(s, on_link(n, before + s["held"] + sat_on(s, bars[0], q[i])), said)
        if AT_SWING < i <= AT_BUCKET:
            before += q[i]
