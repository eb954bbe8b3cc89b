"""The named vector of parameters that describes one machine with one attachment.

The dataclasses of `machine` are the face; this record is what the formulas read, and what sensitivities,
calibration and studies vary. Metres and radians; NaN where a machine has no such part.
"""

import difflib
import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from .errors import Fault
from .machine import Attachment, Axis, BucketLinkage, Cylinder, Machine, Offset, Point, is_turn

_SHOWN = 60
EDGE_POINTS = ("left", "centre", "right")
TOOTH_POINTS = ("tooth_left", "tooth_centre", "tooth_right")
HEEL_POINTS = ("heel_left", "heel_right")
BUCKET_POINTS = EDGE_POINTS + TOOTH_POINTS + HEEL_POINTS


def _xyz(name: str) -> tuple[str, str, str]:
    return f"{name}_x", f"{name}_y", f"{name}_z"


_BOTH_PINS = ("foot_x", "foot_z", "eye_x", "eye_z")
CYLINDER_PINS = {
    "boom": _BOTH_PINS, "fore_boom": _BOTH_PINS, "stick": _BOTH_PINS, "bucket": ("foot_x", "foot_z"),
}  # fmt: skip
"""What is measured of each cylinder; the bucket cylinder's rod eye is the idler's outer pin, at `idler_length`."""

MACHINE_NAMES: tuple[str, ...] = (
    "swing_post_x", "swing_post_y", "boom_foot_x", "boom_foot_y",
    "boom_length", "fore_boom_length", "stick_length",
    *_xyz("receiver"), *_xyz("mast"),
    *(f"{name}_cylinder_{pin}" for name, pins in CYLINDER_PINS.items() for pin in pins),
    "idler_pivot_x", "idler_pivot_z", "idler_length", "power_link_length",
)  # fmt: skip
ATTACHMENT_NAMES: tuple[str, ...] = (
    "pin_spacing",
    "coupler_x", "coupler_z", "coupler_angle",
    *_xyz("tilt_point"), *_xyz("tilt_axis"),
    *_xyz("rotate_point"), *_xyz("rotate_axis"),
    "mount_x", "mount_z", "mount_angle",
    *(name for point in BUCKET_POINTS for name in _xyz(point)),
)  # fmt: skip
NAMES: tuple[str, ...] = MACHINE_NAMES + ATTACHMENT_NAMES
NAMES_OF: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "machine": MACHINE_NAMES, "attachment": ATTACHMENT_NAMES,
})  # fmt: skip
TURNS = frozenset(name for name in NAMES if is_turn(name))
"""Angles and numbers of directions (rad); every other parameter is a length (m)."""
RECORD = np.dtype([(name, np.float64) for name in NAMES])


def record(machine: Machine, attachment: Attachment) -> NDArray[np.void]:
    """One record of `RECORD`, shape (1,), read-only; `.view(np.float64)` is the flat vector.

    A missing fore boom has length 0, a missing coupler or mount is no step, a missing axis stands still
    (its angle is held at 0): one chain serves every machine.
    """
    values = _of_machine(machine) | _of_attachment(attachment)
    row = np.full(1, math.nan, dtype=np.float64).repeat(len(NAMES)).view(RECORD)
    for name, value in values.items():
        row[name] = value
    row.flags.writeable = False
    return row


def lacking(machine: Machine, attachment: Attachment) -> frozenset[str]:
    """Parameters of parts that are not there, whose place in the record only keeps the chain whole.

    A machine without a fore boom has 0 for its length; nothing can be said of a change of it.
    """
    return _not_on(machine) | _not_below(attachment)


def _not_on(machine: Machine) -> frozenset[str]:
    missing: set[str] = set()
    if machine.swing_boom is None:
        missing |= {"swing_post_x", "swing_post_y"}
    if machine.fore_boom is None:
        missing.add("fore_boom_length")
    return frozenset(missing)


def _not_below(attachment: Attachment) -> frozenset[str]:
    missing: set[str] = set()
    for name in ("coupler", "mount"):
        if getattr(attachment, name) is None:
            missing |= {f"{name}_x", f"{name}_z", f"{name}_angle"}
    for name in ("tilt", "rotate"):
        if getattr(attachment, name) is None:
            missing |= {*_xyz(f"{name}_point"), *_xyz(f"{name}_axis")}
    return frozenset(missing)


def parameters_of(part: Machine | Attachment) -> tuple[str, ...]:
    """The parameters that a machine or an attachment has, in the order of `NAMES`: a bucket without teeth has no
    "tooth_left_x"."""
    return tuple(values_of(part))


def values_of(part: Machine | Attachment) -> dict[str, float]:
    """The same with their values (m, rad): {"boom_length": 4.6, ...}."""
    if isinstance(part, Machine):
        values, missing = _of_machine(part), _not_on(part)
    else:
        values, missing = _of_attachment(part), _not_below(part)
    return {
        name: values[name]
        for name in NAMES
        if name in values and name not in missing and not math.isnan(values[name])
    }


def misnamed(part: Machine | Attachment) -> Iterator[Fault]:
    """Names in `uncertainty.of` that are no parameter of this part, as `unknown_names` has them, at their place in it."""
    if part.uncertainty is not None and part.uncertainty.of:
        kind = "machine" if isinstance(part, Machine) else "attachment"
        for fault in unknown_names(part.uncertainty.of, kind, parameters_of(part)):
            yield fault.at("uncertainty.of")


def unknown_names(names: Iterable[str], kind: str, there: Collection[str]) -> Iterator[Fault]:
    """A fault "unknown-parameter" for each name that is not among `there`: no parameter at all, one of the other kind, or
    of a part that is missing. `kind`: "machine" or "attachment", whose names (`NAMES_OF`) are meant."""
    other = "attachment" if kind == "machine" else "machine"
    for name in names:
        if name in there:
            continue
        if name in NAMES_OF[other]:
            found, advice = f"{name}, of the {other}", f"say it of the {other}"
        elif name in NAMES_OF[kind]:
            found, advice = f"{name}, of a part that is not there", "describe the part, or take it out"
        else:
            near = difflib.get_close_matches(name, there, n=1)
            found, advice = repr(name[:_SHOWN]), f"did you mean {near[0]}?" if near else "take it out"
        yield Fault("unknown-parameter", name, found, "one of " + ", ".join(there), advice)


def _of_machine(machine: Machine) -> dict[str, float]:
    values = {
        "swing_post_x": machine.swing_post_x,
        "swing_post_y": machine.swing_post_y,
        "boom_foot_x": machine.boom_foot_x,
        "boom_foot_y": machine.boom_foot_y,
        "boom_length": machine.boom_length,
        "fore_boom_length": machine.fore_boom_length or 0.0,
        "stick_length": machine.stick_length,
    }
    if machine.receiver is not None:
        values |= _point("receiver", machine.receiver.place) | _point("mast", machine.receiver.mast)
    for name in ("boom", "fore_boom", "stick"):
        held = getattr(machine, name)
        if isinstance(held, Cylinder):
            values |= _cylinder(name, held)
    linkage = machine.bucket
    if isinstance(linkage, BucketLinkage):
        values |= {
            "idler_pivot_x": linkage.pivot_x,
            "idler_pivot_z": linkage.pivot_z,
            "idler_length": linkage.idler_length,
            "power_link_length": linkage.power_link,
        }
        if isinstance(linkage.drive, Cylinder):
            values |= _cylinder("bucket", linkage.drive)
    return values


def _of_attachment(attachment: Attachment) -> dict[str, float]:
    edge = (attachment.edge[0], attachment.edge[attachment.centre], attachment.edge[-1])
    values = {"pin_spacing": attachment.pin_spacing}
    values |= _offset("coupler", attachment.coupler) | _offset("mount", attachment.mount)
    values |= _axis("tilt", attachment.tilt) | _axis("rotate", attachment.rotate)
    for name, place in zip(
        BUCKET_POINTS, (*edge, *(attachment.teeth or ((math.nan,) * 3,) * 3), *attachment.heel), strict=True
    ):
        values |= _point(name, place)
    return values


def _point(name: str, place: Point) -> dict[str, float]:
    return dict(zip(_xyz(name), place, strict=True))


def _cylinder(name: str, cylinder: Cylinder) -> dict[str, float]:
    return {f"{name}_cylinder_{pin}": getattr(cylinder, pin) for pin in CYLINDER_PINS[name]}


def _offset(name: str, offset: Offset | None) -> dict[str, float]:
    step = offset or Offset(0.0, 0.0, 0.0)
    return {f"{name}_x": step.x, f"{name}_z": step.z, f"{name}_angle": step.angle}


def _axis(name: str, axis: Axis | None) -> dict[str, float]:
    place, direction = (axis.point, axis.direction) if axis else ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0))
    return _point(f"{name}_point", place) | _point(f"{name}_axis", direction)
