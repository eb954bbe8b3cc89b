"""One variant of a machine as an object: measured anew from a record of parameters, assembled and proven."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .assembly import Assembly, assemble
from .machine import Attachment, Axis, BucketLinkage, Cylinder, Held, Machine, Offset, Point
from .parameters import CYLINDER_PINS, HEEL_POINTS, NAMES, TOOTH_POINTS

Values = dict[str, float]


def variant(assembly: Assembly, record: NDArray[np.void]) -> Assembly:
    """The machine and attachment of `assembly` with the numbers of a record of `parameters.RECORD`, shape (1,).

    Strokes, ranges, uncertainties and the boom foot's height stay; places of an edge between its named points too. With
    a boom of 4.7 m for 4.6 the bucket digs some 100 mm deeper.
    Raises `Refused`: as `assemble`, and as the parts themselves.
    """
    values = {name: float(record[name][0]) for name in NAMES}
    return assemble(_machine(assembly.machine, values), _attachment(assembly.attachment, values))


def _machine(machine: Machine, values: Values) -> Machine:
    held = {name: _held(getattr(machine, name), name, values) for name in ("boom", "fore_boom", "stick")}
    bar = machine.bucket
    if isinstance(bar, BucketLinkage):
        drive = _held(bar.drive, "bucket", values)
        assert drive is not None  # noqa: S101 - a linkage has a drive
        bar = replace(
            bar, pivot_x=values["idler_pivot_x"], pivot_z=values["idler_pivot_z"], idler_length=values["idler_length"],
            power_link=values["power_link_length"], drive=drive,
        )  # fmt: skip
    receiver = machine.receiver
    if receiver is not None:
        receiver = replace(receiver, place=_point("receiver", values), mast=_point("mast", values))
    plain = {name: values[name] for name in ("swing_post_x", "swing_post_y", "boom_foot_x", "boom_foot_y",
                                             "boom_length", "stick_length")}  # fmt: skip
    fore = None if machine.fore_boom_length is None else values["fore_boom_length"]
    return replace(machine, **plain, **held, bucket=bar, receiver=receiver, fore_boom_length=fore)  # type: ignore[arg-type]


def _held(held: Held | None, name: str, values: Values) -> Held | None:
    if not isinstance(held, Cylinder):
        return held
    pins = {pin: values[f"{name}_cylinder_{pin}"] for pin in CYLINDER_PINS[name]}
    if name == "bucket":
        pins["eye_x"] = values["idler_length"]
    return replace(held, **pins)  # type: ignore[arg-type]


def _attachment(attachment: Attachment, values: Values) -> Attachment:
    edge = list(attachment.edge)
    for at, name in ((0, "left"), (attachment.centre, "centre"), (len(edge) - 1, "right")):
        edge[at] = _point(name, values)
    one, other = (_point(name, values) for name in HEEL_POINTS)
    left, centre, right = (_point(name, values) for name in TOOTH_POINTS)
    return replace(
        attachment, pin_spacing=values["pin_spacing"], edge=tuple(edge), heel=(one, other),
        teeth=None if attachment.teeth is None else (left, centre, right),
        coupler=_offset(attachment.coupler, "coupler", values), mount=_offset(attachment.mount, "mount", values),
        tilt=_axis(attachment.tilt, "tilt", values), rotate=_axis(attachment.rotate, "rotate", values),
    )  # fmt: skip


def _point(name: str, values: Values) -> Point:
    return values[f"{name}_x"], values[f"{name}_y"], values[f"{name}_z"]


def _offset(offset: Offset | None, name: str, values: Values) -> Offset | None:
    return None if offset is None else Offset(*(values[f"{name}_{each}"] for each in ("x", "z", "angle")))


def _axis(axis: Axis | None, name: str, values: Values) -> Axis | None:
    if axis is None:
        return None
    return replace(axis, point=_point(f"{name}_point", values), direction=_point(f"{name}_axis", values))
