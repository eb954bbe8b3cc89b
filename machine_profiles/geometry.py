"""From a validated document to `kinematics.machine` geometry; every fault at its place in the file.

A cast stands where `choices` has made sure of the one key or the other.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar, cast

from kinematics.assembly import drive_faults, machine_ranges
from kinematics.errors import Fault, Refused, refuse
from kinematics.machine import (
    Attachment,
    Axis,
    BucketLinkage,
    Cylinder,
    Held,
    Machine,
    Offset,
    Point,
    Range,
    Receiver,
)
from kinematics.parameters import ATTACHMENT_NAMES, MACHINE_NAMES, parameters_of

from . import schema
from .measures import Measures
from .table import Span, Table
from .uncertainty import attachment_uncertainty, machine_uncertainty, uncertainty_faults

_EXTENDING = {"raises": 1, "lowers": -1}
_BRANCH = {"open": 1, "crossed": -1}

# A place in kinematics and its place in the file, the longer before the shorter.
_JOINTS = ("fore_boom", "boom", "stick")
_MACHINE_PLACES = (
    ("boom_foot_x", "boom.foot.forward"),
    ("boom_foot_y", "boom.foot.left"),
    ("boom_foot_height", "boom.foot_above_ground"),
    *((f"{joint}_length", f"{joint}.length") for joint in _JOINTS),
    *((f"{joint}.{pin}", f"{joint}.cylinder.{pin}") for joint in _JOINTS for pin in ("foot", "eye")),
    *((f"{joint}.stroke", f"{joint}.cylinder.shortest") for joint in _JOINTS),
    *((joint, f"{joint}.range") for joint in (*_JOINTS, "swing_boom")),
    ("bucket.drive.eye", "bucket.linkage.idler"),
    ("bucket.drive.foot", "bucket.cylinder.foot"),
    ("bucket.drive.stroke", "bucket.cylinder.shortest"),
    ("bucket.drive", "bucket.linkage.idler_range"),
    ("bucket.idler", "bucket.linkage.idler"),
    ("bucket.power_link", "bucket.linkage.power_link"),
    ("bucket", "bucket.range"),
)


_Part = TypeVar("_Part")
_Table = TypeVar("_Table", bound=Table)


def machine_from(document: schema.MachineDocument) -> Machine:
    """The machine a document describes. Raises `Refused`, each fault's `where` a dotted path in the file."""
    m = Measures(document.units)
    boom, fore_boom, swing = document.boom, document.fore_boom, document.swing_boom
    boom_length = m.metres("boom.length", boom.length)
    fore_length = _if_given(fore_boom, lambda link: m.metres("fore_boom.length", link.length))
    stick_length = m.metres("stick.length", document.stick.length)
    outermost = boom_length if fore_length is None else fore_length
    ground = boom.foot_above_ground

    def build() -> Machine:
        return Machine(
            boom_foot_x=m.metres("boom.foot.forward", boom.foot.forward),
            boom_foot_y=m.metres("boom.foot.left", boom.foot.left),
            boom_length=boom_length,
            stick_length=stick_length,
            boom=_held(m, "boom", boom, 0.0, boom_length),
            stick=_held(m, "stick", document.stick, outermost, stick_length),
            bucket=_bucket(m, document.bucket, stick_length),
            fore_boom_length=fore_length,
            fore_boom=_if_given(fore_boom, lambda link: _held(m, "fore_boom", link, boom_length, outermost)),
            swing_post_x=m.metres("swing_boom.post.forward", swing.post.forward) if swing else 0.0,
            swing_post_y=m.metres("swing_boom.post.left", swing.post.left) if swing else 0.0,
            swing_boom=_if_given(swing, lambda table: m.angles("swing_boom.range", table.range)),
            receiver=_if_given(document.receiver, lambda table: _receiver(m, table)),
            boom_foot_height=None if ground is None else m.metres("boom.foot_above_ground", ground),
        )

    known = machine_uncertainty(m, document.uncertainty)
    try:
        machine = _built(build, m, _machine_place)
    except Refused as refused:
        raise Refused([*refused.faults, *uncertainty_faults(known, MACHINE_NAMES)]) from None
    unknown = uncertainty_faults(known, parameters_of(machine))
    refuse([*unknown, *machine_ranges(machine)[1], *drive_faults(machine)])
    return replace(machine, uncertainty=known)


def attachment_from(document: schema.AttachmentDocument) -> Attachment:
    """The attachment a document describes. Raises `Refused`, each fault's `where` a dotted path in the file."""
    m = Measures(document.units)
    spacing = m.metres("pins.spacing", document.pins.spacing)
    bucket = document.bucket
    play = None if document.coupler is None else document.coupler.play

    def build() -> Attachment:
        edge, centre, width = _edge(m, bucket, spacing)
        if bucket.heel_width is not None:
            width = m.metres("bucket.heel_width", bucket.heel_width)
        heel_left, _, heel_right = _across(*m.planar("bucket.heel", bucket.heel, spacing), width)
        return Attachment(
            pin_spacing=spacing,
            edge=edge,
            centre=centre,
            heel=(heel_left, heel_right),
            teeth=_if_given(document.teeth, lambda teeth: _teeth(m, teeth, spacing)),
            coupler=_if_given(document.coupler, lambda step: _step(m, "coupler", step)),
            tilt=_if_given(document.tilt, lambda axis: _axis(m, "tilt", axis)),
            rotate=_if_given(document.rotate, lambda axis: _axis(m, "rotate", axis)),
            mount=_if_given(document.mount, lambda step: _step(m, "mount", step)),
            coupler_play=None if play is None else m.radians("coupler.play", play),
        )

    known = attachment_uncertainty(m, document.uncertainty)
    try:
        attachment = _built(build, m, lambda fault: _attachment_place(bucket, fault))
    except Refused as refused:
        raise Refused([*refused.faults, *uncertainty_faults(known, ATTACHMENT_NAMES)]) from None
    refuse(uncertainty_faults(known, parameters_of(attachment)))
    return replace(attachment, uncertainty=known)


def _if_given(table: _Table | None, build: Callable[[_Table], _Part]) -> _Part | None:
    return None if table is None else build(table)


def _built(build: Callable[[], _Part], m: Measures, placed: Callable[[Fault], str]) -> _Part:
    """Build, and raise the file's own faults together with those of the geometry."""
    try:
        part = build()
    except Refused as refused:
        # What could not be read is NaN, and already named.
        unread = bool(m.faults)
        m.faults.extend(
            Fault(fault.code, placed(fault), fault.found, fault.expected, fault.advice, fault.numbers)
            for fault in refused.faults
            if not (unread and fault.code == "not-finite")
        )
        raise Refused(_unlike(m.faults)) from None
    if m.faults:
        raise Refused(m.faults)
    return part


def _unlike(faults: list[Fault]) -> list[Fault]:
    """One width that is wrong for edge and heel alike is one fault of the file."""
    return [fault for i, fault in enumerate(faults) if fault not in faults[:i]]


def _machine_place(fault: Fault) -> str:
    for inside, place in _MACHINE_PLACES:
        if fault.where == inside or fault.where.startswith(f"{inside}."):
            return place
    return fault.where


def _attachment_place(bucket: schema.Bucket, fault: Fault) -> str:
    if fault.where == "pin_spacing":
        return "pins.spacing"
    if fault.where == "coupler_play":
        return "coupler.play"
    if fault.code == "edge-unnamed":
        return "bucket.edge.centre"
    if fault.code == "corners-swapped":
        if fault.where == "teeth":
            return "teeth.width"
        if fault.where == "heel" and bucket.heel_width is not None:
            return "bucket.heel_width"
        return "bucket.edge.points" if isinstance(bucket.edge, schema.ByPoints) else "bucket.width"
    return "bucket.heel" if fault.where == "heel" else fault.where


def _held(m: Measures, path: str, link: schema.Boom | schema.Link, pin_x: float, length: float) -> Held:
    """`pin_x`: this joint's pin in the frame of the link before, whose length it also is (0 on the body)."""
    if link.cylinder is None:
        return m.angles(f"{path}.range", cast(Span, link.range))
    cylinder = link.cylinder
    foot_x, foot_z = m.planar(f"{path}.cylinder.foot", cylinder.foot, pin_x)
    eye_x, eye_z = m.planar(f"{path}.cylinder.eye", cylinder.eye, length)
    stroke = _stroke(m, f"{path}.cylinder", cylinder)
    return Cylinder(foot_x - pin_x, foot_z, eye_x, eye_z, stroke, _EXTENDING[cylinder.extending])


def _stroke(m: Measures, path: str, cylinder: schema.Cylinder | schema.BucketCylinder) -> Range:
    return Range(
        m.metres(f"{path}.shortest", cylinder.shortest), m.metres(f"{path}.longest", cylinder.longest)
    )


def _bucket(m: Measures, drive: schema.BucketDrive, stick_length: float) -> BucketLinkage | Range:
    if drive.linkage is None:
        return m.angles("bucket.range", cast(Span, drive.range))
    bar = drive.linkage
    pivot_x, pivot_z = m.planar("bucket.linkage.idler_pivot", bar.idler_pivot, stick_length)
    idler = m.metres("bucket.linkage.idler", bar.idler)
    held: Held
    if drive.cylinder is None:
        held = m.angles("bucket.linkage.idler_range", cast(Span, bar.idler_range))
    else:
        foot_x, foot_z = m.planar("bucket.cylinder.foot", drive.cylinder.foot, stick_length)
        stroke = _stroke(m, "bucket.cylinder", drive.cylinder)
        extending = _EXTENDING[drive.cylinder.extending]
        held = Cylinder(foot_x - pivot_x, foot_z - pivot_z, idler, 0.0, stroke, extending)
    power_link = m.metres("bucket.linkage.power_link", bar.power_link)
    return BucketLinkage(pivot_x, pivot_z, idler, power_link, _BRANCH[bar.branch], held)


def _receiver(m: Measures, receiver: schema.Receiver) -> Receiver:
    angle = m.radians("receiver.mast_angle", receiver.mast_angle)
    return Receiver(m.space("receiver.place", receiver.place), (math.cos(angle), 0.0, math.sin(angle)))


def _across(x: float, z: float, width: float) -> tuple[Point, Point, Point]:
    """Left, centre, right of a line square to the bucket's plane."""
    return (x, width / 2, z), (x, 0.0, z), (x, -width / 2, z)


def _edge(m: Measures, bucket: schema.Bucket, spacing: float) -> tuple[tuple[Point, ...], int, float]:
    """(vertices, index of the centre, width) of the cutting edge."""
    if isinstance(bucket.edge, schema.ByPoints):
        points = []
        for i, (x, y, z) in enumerate(bucket.edge.points):
            path = f"bucket.edge.points.{i}"
            points.append((m.metres(path, x), m.metres(path, y), m.metres(path, z)))
        return tuple(points), bucket.edge.centre, points[0][1] - points[-1][1]
    width = m.metres("bucket.width", cast(float, bucket.width))
    return _across(*m.planar("bucket.edge", bucket.edge, spacing), width), 1, width


def _teeth(m: Measures, teeth: schema.Teeth, spacing: float) -> tuple[Point, Point, Point]:
    return _across(*m.planar("teeth.tip", teeth.tip, spacing), m.metres("teeth.width", teeth.width))


def _step(m: Measures, path: str, step: schema.Step) -> Offset:
    return Offset(
        m.metres(f"{path}.x", step.x), m.metres(f"{path}.z", step.z), m.radians(f"{path}.angle", step.angle)
    )


def _axis(m: Measures, path: str, axis: schema.Tilt | schema.Rotate) -> Axis:
    d = axis.direction
    length = math.hypot(d.x, d.y, d.z)
    direction = (math.nan,) * 3
    if 0.0 < length < math.inf:
        direction = (d.x / length, d.y / length, d.z / length)
    else:
        m.faults.append(
            Fault("not-a-direction", f"{path}.direction", f"length {length:g}", "a direction of some length")
        )
    return Axis(m.space(f"{path}.point", axis.point), direction, m.angles(f"{path}.range", axis.range))
