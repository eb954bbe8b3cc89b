"""What drives the joints of one machine, as compiled scalars: the rules of `drives` at the end stops with a status.

The formulas are those of `linkage`. Nothing is refused here: where the status is not OK, ask `drives`, which tells why.
"""

import math

import numpy as np
from numpy.typing import NDArray

from .assembly import ROUNDING_RAD, Assembly
from .chain import BEYOND
from .compiled import compiled
from .linkage import (
    DEAD_CENTRE,
    NO_CLOSURE,
    OK,
    OTHER_BRANCH,
    OUT_OF_STROKE,
    bucket_from_idler,
    cylinder_from_joint,
    idler_from_bucket,
    idler_from_power_link,
    joint_from_cylinder,
    wrapped,
)

DRIVEN = ("boom", "fore_boom", "stick", "bucket")
"""The joints that a cylinder may drive, in the order of the rows of `cylinder_rows`."""
BUCKET = DRIVEN.index("bucket")
_LINKS = ("pivot_x", "pivot_z", "idler_length", "power_link", "bucket_pin_x", "pin_spacing", "branch")
_BAR = (
    *_LINKS,
    "idler_side",
    "idler_middle",
    "idler_least",
    "idler_most",
    "bucket_middle",
    "bucket_least",
    "bucket_most",
)
_CYLINDER = (
    "foot_x",
    "foot_z",
    "eye_x",
    "eye_z",
    "extending",
    "shortest",
    "longest",
    "middle",
    "least",
    "most",
)
BAR = np.dtype([(name, np.float64) for name in _BAR])
"""The bucket four-bar (m, rad); "least" and "most" with the slack of the end stops."""
CYLINDER = np.dtype([(name, np.float64) for name in _CYLINDER])
"""A cylinder (m) and what it turns (rad): for the bucket's the idler."""
Records = np.ndarray[tuple[int], np.dtype[np.void]]


def bar_row(assembly: Assembly) -> NDArray[np.void]:
    """The bucket linkage as one record of `BAR`, shape (1,), read-only; NaN throughout where none was measured."""
    row = np.full(len(_BAR), math.nan).view(BAR)
    links, span, limits = assembly.links, assembly.idler, assembly.idler_limits
    if links is not None and span is not None and limits is not None:
        reach, stops = assembly.ranges["bucket"], assembly.stops["bucket"]
        row[0] = (
            *links, assembly.idler_side, 0.5 * (span.low + span.high), limits.low, limits.high,
            0.5 * (reach.low + reach.high), stops.low, stops.high,
        )  # fmt: skip
    row.flags.writeable = False
    return row


def cylinder_rows(assembly: Assembly) -> NDArray[np.void]:
    """The cylinders of `DRIVEN` as records of `CYLINDER`, shape (4,), read-only; NaN where none was measured."""
    rows = np.full(len(DRIVEN) * len(_CYLINDER), math.nan).view(CYLINDER)
    for i, joint in enumerate(DRIVEN):
        if joint not in assembly.cylinders:
            continue
        c, reach, stops = assembly.cylinders[joint], assembly.ranges[joint], assembly.stops[joint]
        if joint == "bucket" and assembly.idler is not None and assembly.idler_limits is not None:
            reach, stops = assembly.idler, assembly.idler_limits
        rows[i] = (
            c.foot_x, c.foot_z, c.eye_x, c.eye_z, c.extending, c.stroke.low, c.stroke.high,
            0.5 * (reach.low + reach.high), stops.low, stops.high,
        )  # fmt: skip
    rows.flags.writeable = False
    return rows


@compiled
def idler_position(bar: np.void, idler: float) -> tuple[float, float, int]:
    """(bucket, idler in its range, status) at an idler angle (rad), as `drives.four_bar_from_idler`."""
    if not math.isfinite(idler):
        return math.nan, math.nan, NO_CLOSURE
    idler = wrapped(idler, bar["idler_middle"])
    if not bar["idler_least"] - ROUNDING_RAD <= idler <= bar["idler_most"] + ROUNDING_RAD:
        return math.nan, math.nan, BEYOND
    bucket, _, _, _, status, _ = bucket_from_idler(
        idler, bar["pivot_x"], bar["pivot_z"], bar["idler_length"], bar["power_link"], bar["bucket_pin_x"],
        bar["pin_spacing"], bar["branch"],
    )  # fmt: skip
    if status != OK:
        return math.nan, math.nan, status
    return wrapped(bucket, bar["bucket_middle"]), idler, OK


@compiled
def power_link_position(bar: np.void, angle: float) -> tuple[float, int]:
    """(bucket, status) at a power link angle (rad), as `drives.four_bar_from_power_link`."""
    idler, status, _ = idler_from_power_link(
        angle, bar["pivot_x"], bar["pivot_z"], bar["idler_length"], bar["power_link"], bar["bucket_pin_x"],
        bar["pin_spacing"], bar["branch"], bar["idler_least"], bar["idler_most"],
    )  # fmt: skip
    if status != OK:
        return math.nan, status
    bucket, _, status = idler_position(bar, idler)
    return bucket, status


@compiled
def drawn_position(bar: np.void, c: np.void, through_bar: int, length: float) -> tuple[float, int]:
    """(joint angle, status) at a cylinder length (m), as `drives.joint_angle`; `through_bar`: the bucket's."""
    angle, status, _ = joint_from_cylinder(
        length, c["foot_x"], c["foot_z"], c["eye_x"], c["eye_z"], c["extending"]
    )
    if status != OK:
        return math.nan, status
    angle = wrapped(angle, c["middle"])
    within = c["shortest"] <= length <= c["longest"]
    if not within and not c["least"] - ROUNDING_RAD <= angle <= c["most"] + ROUNDING_RAD:
        return math.nan, OUT_OF_STROKE
    if not through_bar:
        return angle, OK
    bucket, _, status = idler_position(bar, angle)
    return bucket, status


@compiled
def length_at(bar: np.void, c: np.void, through_bar: int, angle: float) -> tuple[float, int]:
    """(length m, status) of the cylinder that holds a joint at `angle` (rad), as `drives.cylinder_length`."""
    least = bar["bucket_least"] if through_bar else c["least"]
    most = bar["bucket_most"] if through_bar else c["most"]
    if not least - ROUNDING_RAD <= angle <= most + ROUNDING_RAD:
        return math.nan, BEYOND
    if through_bar:
        idler, status, _ = idler_from_bucket(
            angle, bar["pivot_x"], bar["pivot_z"], bar["idler_length"], bar["power_link"], bar["bucket_pin_x"],
            bar["pin_spacing"], bar["branch"], bar["idler_side"],
        )  # fmt: skip
        if status != OK and status != DEAD_CENTRE:  # noqa: PLR1714 - the compiler takes no set
            return math.nan, status
        _, angle, status = idler_position(bar, idler)
        if status != OK:
            return math.nan, status
    length, status, _ = cylinder_from_joint(
        angle, c["foot_x"], c["foot_z"], c["eye_x"], c["eye_z"], c["extending"]
    )
    return length, OTHER_BRANCH if status == OTHER_BRANCH else OK
