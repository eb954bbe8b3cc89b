"""Columns of cylinder lengths, idler or power link angles to columns of joint angles: `drives`, row after row.

The formulas of `linkage` and the rules of `drives` at the end stops; a row that has no angle is NaN with its status.
"""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from . import linkage
from .assembly import ROUNDING_RAD, Assembly
from .chain import BEYOND
from .compiled import compiled
from .errors import Fault
from .fleet import Fleet
from .linkage import bucket_from_idler, idler_from_power_link, joint_from_cylinder, wrapped
from .parameters import CYLINDER_PINS, NAMES

STAND_INS = ("idler", "power_link")
_LINKS = np.array([
    NAMES.index(name)
    for name in (
        "idler_pivot_x", "idler_pivot_z", "idler_length", "power_link_length", "stick_length", "pin_spacing",
    )
])  # fmt: skip
# Foot x, foot z, eye x, eye z; of the bucket cylinder the idler's outer pin, whose z is 0 and stands nowhere.
_NOWHERE = -1
_ENDS = {
    name: np.array([NAMES.index(f"{name}_cylinder_{pin}") for pin in pins])
    for name, pins in CYLINDER_PINS.items()
} | {
    "bucket": np.array([
        NAMES.index("bucket_cylinder_foot_x"), NAMES.index("bucket_cylinder_foot_z"), NAMES.index("idler_length"),
        _NOWHERE,
    ])
}  # fmt: skip

Column = NDArray[np.float64]


def joint_rows(
    fleet: Fleet, name: str, values: Column, unit: float, machine_of: NDArray[np.int64], rows: int
) -> tuple[str, Column, NDArray[np.uint8]]:
    """(joint, angles rad, status), shape (rows,), from what stands in for it: "boom_cylinder" (m), "idler" (rad), ...

    `values`: shape (poses,) or (1,), times `unit`; row r takes pose r % poses and the machine of `machine_of`. Every
    machine has it (`unmeasured`).
    """
    out = np.empty(rows)
    status = np.empty(rows, dtype=np.uint8)
    joint = name.removesuffix("_cylinder")
    bar = _constants(fleet, _bar) if joint in {"bucket", *STAND_INS} else np.zeros((1, 5))
    if joint in STAND_INS:
        follow_rows(fleet.flat, bar, machine_of, values, unit, int(joint == "power_link"), out, status)
        return "bucket", out, status
    drawn = _constants(fleet, lambda each: _drawn(each, joint))
    draw_rows(fleet.flat, _ENDS[joint], drawn, machine_of, values, unit, out, status)
    if joint == "bucket":
        turned, ok = np.empty(rows), np.empty(rows, dtype=np.uint8)
        follow_rows(fleet.flat, bar, machine_of, out, 1.0, 0, turned, ok)
        return joint, turned, np.where(status != linkage.OK, status, ok)
    return joint, out, status


def unmeasured(fleet: Fleet, name: str) -> list[Fault]:
    """ "no-cylinder" or "no-linkage" where a machine of the fleet has not measured what `name` stands for."""
    return [fault for each in fleet.assemblies for fault in _unmeasured(each, name)][:1]


def _unmeasured(assembly: Assembly, name: str) -> list[Fault]:
    if name in STAND_INS:
        missing = assembly.links is None
        return [Fault("no-linkage", name, "a machine without a measured bucket linkage", "idler and power link in the "
                      "profile", "measure the linkage, or give the bucket's own angle")] if missing else []  # fmt: skip
    if name.removesuffix("_cylinder") in assembly.cylinders:
        return []
    return [Fault("no-cylinder", name, "a joint without a measured cylinder",
                  "one of " + (", ".join(assembly.cylinders) or "no joint: this machine has no cylinder measured"),
                  "give the joint's angle, or measure its cylinder")]  # fmt: skip


def _constants(fleet: Fleet, of: Callable[[Assembly], tuple[float, ...]]) -> NDArray[np.float64]:
    table = np.array([of(each) for each in fleet.assemblies])
    return table if len(table) == len(fleet) else np.repeat(table, len(fleet), axis=0)


def _drawn(assembly: Assembly, joint: str) -> tuple[float, ...]:
    cylinder = assembly.cylinders[joint]
    reach, limits = assembly.ranges[joint], assembly.stops[joint]
    if joint == "bucket" and assembly.idler is not None and assembly.idler_limits is not None:
        reach, limits = assembly.idler, assembly.idler_limits
    middle = 0.5 * (reach.low + reach.high)
    return (
        float(cylinder.extending),
        cylinder.stroke.low,
        cylinder.stroke.high,
        middle,
        limits.low,
        limits.high,
    )


def _bar(assembly: Assembly) -> tuple[float, ...]:
    links, span, limits = assembly.links, assembly.idler, assembly.idler_limits
    if links is None or span is None or limits is None:
        return (math.nan,) * 5
    bucket = assembly.ranges["bucket"]
    return links[6], 0.5 * (span.low + span.high), limits.low, limits.high, 0.5 * (bucket.low + bucket.high)


@compiled
def draw_rows(
    flat: NDArray[np.float64], ends: NDArray[np.int64], constants: NDArray[np.float64],
    machine_of: NDArray[np.int64], values: Column, unit: float, out: Column, status: NDArray[np.uint8],
) -> None:  # fmt: skip
    """Angle (rad) of what a cylinder turns, as `drives.joint_angle`; of the bucket's the idler."""
    for row in range(out.shape[0]):
        machine = machine_of[row] if machine_of.shape[0] > 1 else machine_of[0]
        length = values[row % values.shape[0]] * unit
        m = flat[machine]
        eye_z = m[ends[3]] if ends[3] != _NOWHERE else 0.0
        extending, shortest, longest, middle, low, high = (
            constants[machine, 0], constants[machine, 1], constants[machine, 2], constants[machine, 3],
            constants[machine, 4], constants[machine, 5],
        )  # fmt: skip
        angle, found, _ = joint_from_cylinder(length, m[ends[0]], m[ends[1]], m[ends[2]], eye_z, extending)
        within = shortest <= length <= longest
        if found != linkage.NO_CLOSURE:
            angle = wrapped(angle, middle)
        if not within and (
            found == linkage.NO_CLOSURE or not low - ROUNDING_RAD <= angle <= high + ROUNDING_RAD
        ):
            found = linkage.OUT_OF_STROKE
        out[row] = angle if found == linkage.OK else math.nan
        status[row] = found


@compiled
def follow_rows(
    flat: NDArray[np.float64], constants: NDArray[np.float64], machine_of: NDArray[np.int64],
    values: Column, unit: float, by_power_link: int, out: Column, status: NDArray[np.uint8],
) -> None:  # fmt: skip
    """Bucket angle (rad) from idler or power link angle, as `drives.four_bar_from_idler` and `..._from_power_link`."""
    for row in range(out.shape[0]):
        machine = machine_of[row] if machine_of.shape[0] > 1 else machine_of[0]
        angle = values[row % values.shape[0]] * unit
        m = flat[machine]
        px, pz, idler_length, power_link, pin_x, spacing = (
            m[_LINKS[0]], m[_LINKS[1]], m[_LINKS[2]], m[_LINKS[3]], m[_LINKS[4]], m[_LINKS[5]],
        )  # fmt: skip
        branch, middle, low, high, bucket_middle = (
            constants[machine, 0], constants[machine, 1], constants[machine, 2], constants[machine, 3],
            constants[machine, 4],
        )  # fmt: skip
        found = linkage.OK
        idler = angle
        if by_power_link:
            idler, found, _ = idler_from_power_link(
                angle, px, pz, idler_length, power_link, pin_x, spacing, branch, low, high
            )
        bucket = math.nan
        if found == linkage.OK and math.isfinite(idler):
            idler = wrapped(idler, middle)
            if low - ROUNDING_RAD <= idler <= high + ROUNDING_RAD:
                bucket, _, _, _, found, _ = bucket_from_idler(
                    idler, px, pz, idler_length, power_link, pin_x, spacing, branch
                )
            else:
                found = BEYOND
        out[row] = (
            wrapped(bucket, bucket_middle) if found == linkage.OK and math.isfinite(bucket) else math.nan
        )
        status[row] = found
