"""From what a sensor on a cylinder or on the bucket's linkage says to the joint's angle: `drive_block` differentiated."""

import math

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .drive_block import BUCKET, DRIVEN, Records
from .linkage import joint_from_cylinder, wrapped
from .parameters import CYLINDER_PINS
from .rates import follows, four_bar_rates, power_link_rates, triangle_rates
from .sensing_block import IDLER, ON_CYLINDER, POWER_LINK

_LINKS = (
    "idler_pivot_x", "idler_pivot_z", "idler_length", "power_link_length", "stick_length", "pin_spacing",
)  # fmt: skip
_PINS = tuple(f"{joint}_cylinder_{pin}" for joint in DRIVEN for pin in CYLINDER_PINS[joint])
_AXIS = ("tilt_axis_x", "tilt_axis_y", "tilt_axis_z")
BETWEEN = (*_LINKS, "coupler_angle", "mount_angle", *_AXIS, *_PINS)
"""Dimensions that may stand between a sensor and its joint, as in `parameters.NAMES`."""
OFF_CYLINDERS = len(BETWEEN) - len(_PINS)
"""How many of them, the first, where no sensor sits on a cylinder."""
LINKS = len(_LINKS)
"""How many of them, the first, are of the four-bar."""
_IDLER_LENGTH = _LINKS.index("idler_length")
_EACH_CYLINDER = 4
Floats = NDArray[np.float64]


@compiled
def through_bar(bar: np.void, idler: float, bucket: float, first: int, out: Floats) -> None:
    """From d idler to d bucket in `out`, the dimensions of the four-bar besides."""
    st = four_bar_rates(
        idler, bucket, bar["pivot_x"], bar["pivot_z"], bar["idler_length"], bar["power_link"], bar["bucket_pin_x"],
        bar["pin_spacing"],
    )  # fmt: skip
    scale(out, follows(st[1], st[0]))
    for j in range(LINKS):
        out[first + j] += follows(st[2 + j], st[0])


@compiled
def through_drive(
    s: np.void, bar: np.void, cylinders: Records, value: float, angle: float, first: int, out: Floats
) -> None:
    """From d what is sensed to d joint angle in `out`: through cylinder or four-bar, where the sensor sits on them."""
    idler, through = math.nan, s["through"] == IDLER
    if s["through"] == ON_CYLINDER:
        driven = s["driven"]
        c = cylinders[driven]
        through = driven == BUCKET
        turn = angle
        if through:
            turn, _, _ = joint_from_cylinder(
                value, c["foot_x"], c["foot_z"], c["eye_x"], c["eye_z"], c["extending"]
            )
        r = triangle_rates(turn, c["foot_x"], c["foot_z"], c["eye_x"], c["eye_z"])
        scale(out, follows(-1.0, r[0]))
        base = first + OFF_CYLINDERS + _EACH_CYLINDER * driven
        out[base] += follows(r[1], r[0])
        out[base + 1] += follows(r[2], r[0])
        if through:  # the rod eye is the idler's outer pin
            out[first + _IDLER_LENGTH] += follows(r[3], r[0])
            idler = wrapped(turn, bar["idler_middle"])
        else:
            out[base + 2] += follows(r[3], r[0])
            out[base + 3] += follows(r[4], r[0])
    elif through:
        idler = wrapped(value, bar["idler_middle"])
    elif s["through"] == POWER_LINK:
        through, idler = True, idler_of(bar, value, angle)
        p = power_link_rates(
            idler, angle, bar["pivot_x"], bar["pivot_z"], bar["idler_length"], bar["power_link"],
            bar["bucket_pin_x"], bar["pin_spacing"],
        )  # fmt: skip
        over = follows(-1.0, p[0])
        scale(out, over)
        for j in range(LINKS):
            out[first + j] -= over * p[1 + j]
    if through:
        through_bar(bar, idler, angle, first, out)


@compiled
def scale(row: Floats, factor: float) -> None:
    """A row times a factor."""
    for k in range(row.shape[0]):
        row[k] *= factor


@compiled
def idler_of(bar: np.void, power_link: float, bucket: float) -> float:
    """The idler's angle (rad) at these angles of power link (from idler pin to link pin) and bucket."""
    x = bar["bucket_pin_x"] + bar["pin_spacing"] * math.cos(bucket) - bar["power_link"] * math.cos(power_link)
    z = bar["pin_spacing"] * math.sin(bucket) - bar["power_link"] * math.sin(power_link)
    return wrapped(math.atan2(z - bar["pivot_z"], x - bar["pivot_x"]), bar["idler_middle"])
