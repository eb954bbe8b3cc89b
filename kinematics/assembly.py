"""A machine with an attachment on its pins: joint ranges, and angles to cylinders and back.

`assemble` refuses a pair that does not close over its whole stroke on one branch; what it returns can be
trusted by every formula below it.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from . import linkage
from .errors import Fault, Refused, refuse
from .linkage import DEAD_CENTRE_RAD, Status, wrapped
from .machine import Attachment, BucketLinkage, Cylinder, Held, Machine, Range
from .parameters import record

JOINTS = ("swing_boom", "boom", "fore_boom", "stick", "bucket", "tilt", "rotate")
# Sensor noise and pin slop at an end stop. The angle is used as given; beyond this it is refused.
STOP_SLACK_RAD = math.radians(0.25)
STROKE_SLACK_M = 1e-6
_SAMPLES = 241


@dataclass(frozen=True, slots=True, eq=False)
class Assembly:
    """A machine and attachment that close over their whole stroke.

    `ranges`: joint name to its `Range` (rad), only joints that exist. `idler`: the idler's range (rad), and
    `idler_side` its side of the line from its pivot to the link pin, where there is a linkage.
    `parameters`: the record the formulas read. `limits`: shape (7, 2), rad, rows as `JOINTS`, 0 where absent.
    """

    machine: Machine
    attachment: Attachment
    ranges: dict[str, Range]
    parameters: NDArray[np.void]
    limits: NDArray[np.float64]
    idler: Range | None = None
    idler_side: float = 0.0
    cylinders: dict[str, Cylinder] = field(default_factory=dict)


def assemble(machine: Machine, attachment: Attachment) -> Assembly:
    """Join the two and prove that every linkage closes over its stroke, on one branch.

    Raises `Refused` with every fault: "no-closure", "dead-centre", "passes-toggle" with the numbers.
    """
    ranges, faults = machine_ranges(machine)
    idler: Range | None = None
    side = 0.0
    if isinstance(machine.bucket, BucketLinkage):
        drive, drive_faults = _range_of("bucket", machine.bucket.drive)
        faults += drive_faults
        if drive is not None:
            swept, side, sweep_faults = _sweep(machine, machine.bucket, attachment.pin_spacing, drive)
            faults += sweep_faults
            if swept is not None:
                ranges["bucket"] = swept
                idler = drive
    else:
        ranges["bucket"] = machine.bucket
    for name in ("tilt", "rotate"):
        axis = getattr(attachment, name)
        if axis is not None:
            ranges[name] = axis.range
    refuse(faults)
    limits = np.zeros((len(JOINTS), 2))
    for row, name in enumerate(JOINTS):
        if name in ranges:
            limits[row] = ranges[name].low - STOP_SLACK_RAD, ranges[name].high + STOP_SLACK_RAD
    limits.flags.writeable = False
    return Assembly(
        machine, attachment, ranges, record(machine, attachment), limits, idler, side, _cylinders(machine)
    )


def machine_ranges(machine: Machine) -> tuple[dict[str, Range], list[Fault]]:
    """(joint name to range in rad, faults) of the joints up to the stick, and of the idler's own drive."""
    ranges: dict[str, Range] = {}
    faults: list[Fault] = []
    for name in ("boom", "fore_boom", "stick"):
        held = getattr(machine, name)
        if held is None:
            continue
        found, missed = _range_of(name, held)
        faults += missed
        if found is not None:
            ranges[name] = found
    if machine.swing_boom is not None:
        ranges["swing_boom"] = machine.swing_boom
    return ranges, faults


def drive_faults(machine: Machine) -> list[Fault]:
    """What keeps the bucket cylinder from turning the idler over its stroke, with no attachment needed."""
    if isinstance(machine.bucket, BucketLinkage):
        return _range_of("bucket", machine.bucket.drive)[1]
    return []


def _cylinders(machine: Machine) -> dict[str, Cylinder]:
    held: dict[str, object] = {name: getattr(machine, name) for name in ("boom", "fore_boom", "stick")}
    if isinstance(machine.bucket, BucketLinkage):
        held["bucket"] = machine.bucket.drive
    return {name: part for name, part in held.items() if isinstance(part, Cylinder)}


def _range_of(name: str, held: Held) -> tuple[Range | None, list[Fault]]:
    if isinstance(held, Range):
        return held, []
    ends = []
    faults = []
    for length in (held.stroke.low, held.stroke.high):
        angle, status, margin = _from_cylinder(held, length)
        if status != linkage.OK:
            faults.append(_stroke_fault(f"{name}.cylinder", Status(status), margin, length))
        ends.append(angle)
    if faults:
        return None, faults
    if held.extending < 0:
        ends.reverse()
    low, high = ends
    while high < low:
        high += 2.0 * math.pi
    turns = 2.0 * math.pi * math.floor((0.5 * (low + high) + math.pi) / (2.0 * math.pi))
    return Range(low - turns, high - turns), []


def _stroke_fault(where: str, status: Status, margin: float, length: float) -> Fault:
    numbers = {"cylinder_m": length, "margin_m": margin}
    if status is Status.NO_CLOSURE:
        return Fault(
            "no-closure", where, f"at a cylinder length of {length:.4f} m the links miss by {-margin:.4f} m",
            "links that meet over the whole stroke",
            "measure the pins and the shortest and longest length again", numbers,
        )  # fmt: skip
    return Fault(
        "dead-centre", where,
        f"at a cylinder length of {length:.4f} m the links stand within {math.degrees(DEAD_CENTRE_RAD):g} deg of a line",
        "a stroke that ends before dead centre", "measure the pins and the shortest and longest length again",
        numbers,
    )  # fmt: skip


def _from_cylinder(cylinder: Cylinder, length: float) -> tuple[float, int, float]:
    c = cylinder
    return linkage.joint_from_cylinder(length, c.foot_x, c.foot_z, c.eye_x, c.eye_z, float(c.extending))


_FourBar = tuple[float, float, float, float, float, float, float]


def _four_bar(machine: Machine, bar: BucketLinkage, pin_spacing: float) -> _FourBar:
    return (
        bar.pivot_x, bar.pivot_z, bar.idler_length, bar.power_link,
        machine.stick_length, pin_spacing, float(bar.branch),
    )  # fmt: skip


def _sweep(
    machine: Machine, bar: BucketLinkage, pin_spacing: float, drive: Range
) -> tuple[Range | None, float, list[Fault]]:
    """(bucket range, idler side, faults) over the idler's whole range.

    The distance from idler pin to bucket pin is extreme only at the ends and where the idler points at or
    away from the bucket pin, so that with these angles among the samples closure and dead centre are exact.
    """
    four = _four_bar(machine, bar, pin_spacing)
    towards = math.atan2(-bar.pivot_z, machine.stick_length - bar.pivot_x)
    middle = 0.5 * (drive.low + drive.high)
    extremes = [
        angle
        for angle in (wrapped(towards, middle), wrapped(towards + math.pi, middle))
        if drive.low < angle < drive.high
    ]
    idlers = np.unique(np.concatenate([np.linspace(drive.low, drive.high, _SAMPLES), extremes]))
    buckets = []
    sides = []
    worst: tuple[float, Fault] | None = None
    for idler in idlers.tolist():
        bucket, _, transmission, _, status, margin = linkage.bucket_from_idler(idler, *four)
        if status != linkage.OK:
            fault = _sweep_fault(Status(status), idler, transmission, margin)
            if worst is None or margin < worst[0]:
                worst = margin, fault
            continue
        hx = bar.pivot_x + bar.idler_length * math.cos(idler)
        hz = bar.pivot_z + bar.idler_length * math.sin(idler)
        kx = machine.stick_length + pin_spacing * math.cos(bucket)
        kz = pin_spacing * math.sin(bucket)
        sides.append(linkage.side_of(bar.pivot_x, bar.pivot_z, kx, kz, hx, hz))
        buckets.append(bucket)
    if worst is not None:
        return None, 0.0, [worst[1]]
    turned = np.unwrap(np.array(buckets))
    if min(sides) <= 0.0 <= max(sides):
        at = float(idlers[int(np.argmin(np.abs(sides)))])
        return None, 0.0, [_toggle_fault(at)]
    low, high = float(turned.min()), float(turned.max())
    turns = 2.0 * math.pi * math.floor((0.5 * (low + high) + math.pi) / (2.0 * math.pi))
    return Range(low - turns, high - turns), math.copysign(1.0, sides[0]), []


def _sweep_fault(status: Status, idler: float, transmission: float, margin: float) -> Fault:
    numbers = {"idler_deg": math.degrees(idler), "margin_m": margin}
    if status is Status.NO_CLOSURE:
        return Fault(
            "no-closure", "bucket",
            f"with the idler at {math.degrees(idler):.2f} deg the power link misses by {-margin:.4f} m",
            "idler, power link and attachment pins that meet over the whole stroke",
            "check idler, power link and the attachment's pin spacing, and that it is the attachment on this machine",
            numbers,
        )  # fmt: skip
    return Fault(
        "dead-centre", "bucket",
        f"with the idler at {math.degrees(idler):.2f} deg the transmission angle is {math.degrees(transmission):.2f} deg",
        f"a transmission angle from {math.degrees(DEAD_CENTRE_RAD):g} to {180 - math.degrees(DEAD_CENTRE_RAD):g} deg"
        " over the whole stroke",
        "check the pins and the stroke", numbers | {"transmission_deg": math.degrees(transmission)},
    )  # fmt: skip


def _toggle_fault(idler: float) -> Fault:
    return Fault(
        "passes-toggle", "bucket",
        f"idler and power link pass through one line near {math.degrees(idler):.2f} deg",
        "one assembly branch over the whole stroke", "check the pins and the stroke",
        {"idler_deg": math.degrees(idler)},
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class FourBarPose:
    """The bucket four-bar in one position; angles in rad in the stick's frame, bucket unwrapped in its range.

    `ratio` is d bucket / d idler: a sensor on the idler has its error multiplied by it.
    """

    bucket: float
    idler: float
    power_link: float
    transmission: float
    ratio: float


def four_bar_from_idler(assembly: Assembly, idler: float) -> FourBarPose:
    """The four-bar at an idler angle (rad, stick frame, positive from x towards z).

    Raises `Refused`: "no-linkage", "beyond-joint", "dead-centre", "no-closure".
    """
    bar, span = _linkage_of(assembly)
    idler = wrapped(_finite("idler", idler), 0.5 * (span.low + span.high))
    refuse(_beyond("idler", idler, span))
    bucket, power_link, transmission, ratio, status, margin = linkage.bucket_from_idler(
        idler, *_four_bar(assembly.machine, bar, assembly.attachment.pin_spacing)
    )
    if status != linkage.OK:
        raise Refused([_sweep_fault(Status(status), idler, transmission, margin)])
    reach = assembly.ranges["bucket"]
    bucket = wrapped(bucket, 0.5 * (reach.low + reach.high))
    return FourBarPose(bucket, idler, power_link, transmission, ratio)


def four_bar_from_power_link(assembly: Assembly, power_link: float) -> FourBarPose:
    """The four-bar at a power link angle (rad, from idler pin to link pin, stick frame).

    Raises `Refused`: "ambiguous" where two positions within the stroke share this angle, "out-of-stroke",
    "other-branch", "no-closure", "dead-centre".
    """
    bar, span = _linkage_of(assembly)
    idler, status, margin = linkage.idler_from_power_link(
        _finite("power_link", power_link),
        *_four_bar(assembly.machine, bar, assembly.attachment.pin_spacing), span.low, span.high,
    )  # fmt: skip
    if not math.isfinite(idler):
        raise Refused([_power_link_fault(Status(status), power_link, margin)])
    return four_bar_from_idler(assembly, idler)


def _power_link_fault(status: Status, angle: float, margin: float) -> Fault:
    code, expected = {
        Status.AMBIGUOUS: ("ambiguous", "an angle that one position only of the stroke has"),
        Status.OUT_OF_STROKE: ("out-of-stroke", "an angle that the cylinder's stroke reaches"),
        Status.OTHER_BRANCH: ("other-branch", "an angle of the branch this linkage is assembled on"),
        Status.NO_CLOSURE: ("no-closure", "an angle at which the links meet"),
    }[status]
    return Fault(
        code, "power_link", f"{math.degrees(angle):.2f} deg", expected,
        "sense the idler or the bucket instead" if status is Status.AMBIGUOUS else "check sensor sign and mounting",
        {"power_link_deg": math.degrees(angle), "margin_m": margin},
    )  # fmt: skip


def four_bar_from_bucket(assembly: Assembly, bucket: float) -> FourBarPose:
    """The four-bar at a bucket joint angle (rad, pin line in the stick frame).

    Raises `Refused`: "no-linkage", "beyond-joint", "no-closure", "other-branch".
    """
    bar, _ = _linkage_of(assembly)
    refuse(_beyond("bucket", _finite("bucket", bucket), assembly.ranges["bucket"]))
    idler, status, margin = linkage.idler_from_bucket(
        bucket, *_four_bar(assembly.machine, bar, assembly.attachment.pin_spacing), assembly.idler_side
    )
    if status not in {linkage.OK, linkage.DEAD_CENTRE}:
        code = "no-closure" if status == linkage.NO_CLOSURE else "other-branch"
        raise Refused([
            Fault(code, "bucket", f"{math.degrees(bucket):.2f} deg", "an angle the linkage reaches", "",
                  {"bucket_deg": math.degrees(bucket), "margin_m": margin})
        ])  # fmt: skip
    return four_bar_from_idler(assembly, idler)


def joint_angle(assembly: Assembly, joint: str, cylinder_length: float) -> float:
    """Angle (rad) of `joint` ("boom", "fore_boom", "stick", "bucket") at a cylinder length (m, pin to pin).

    Raises `Refused`: "no-cylinder", "not-finite", "out-of-stroke" with the stroke in its numbers.
    The published mini excavator's boom cylinder at 0.905 m holds the boom at -0.4737 rad.
    """
    cylinder = _cylinder_of(assembly, joint)
    refuse(_out_of_stroke(joint, _finite(joint, cylinder_length), cylinder))
    angle, status, margin = _from_cylinder(cylinder, cylinder_length)
    if status != linkage.OK:
        raise Refused([_stroke_fault(f"{joint}.cylinder", Status(status), margin, cylinder_length)])
    if joint == "bucket":
        return four_bar_from_idler(assembly, angle).bucket
    reach = assembly.ranges[joint]
    return wrapped(angle, 0.5 * (reach.low + reach.high))


def cylinder_length(assembly: Assembly, joint: str, angle: float) -> float:
    """Length (m, pin to pin) of the cylinder that holds `joint` at `angle` (rad); undoes `joint_angle`.

    Raises `Refused`: "no-cylinder", "beyond-joint", "other-branch".
    """
    c = _cylinder_of(assembly, joint)
    if joint == "bucket":
        angle = four_bar_from_bucket(assembly, angle).idler
    else:
        refuse(_beyond(joint, _finite(joint, angle), assembly.ranges[joint]))
    length, status, margin = linkage.cylinder_from_joint(
        angle, c.foot_x, c.foot_z, c.eye_x, c.eye_z, float(c.extending)
    )
    if status == linkage.OTHER_BRANCH:
        raise Refused([
            Fault("other-branch", joint, f"{math.degrees(angle):.2f} deg", "an angle short of dead centre", "",
                  {"angle_deg": math.degrees(angle), "margin_m": margin})
        ])  # fmt: skip
    return length


def _linkage_of(assembly: Assembly) -> tuple[BucketLinkage, Range]:
    bar = assembly.machine.bucket
    if not isinstance(bar, BucketLinkage) or assembly.idler is None:
        raise Refused([
            Fault("no-linkage", "bucket", "a machine without a measured bucket linkage",
                  "idler and power link in the profile", "measure the linkage, or give the bucket's own angle")
        ])  # fmt: skip
    return bar, assembly.idler


def _cylinder_of(assembly: Assembly, joint: str) -> Cylinder:
    if joint not in assembly.cylinders:
        raise Refused([
            Fault("no-cylinder", joint, "a joint without a measured cylinder",
                  "one of " + (", ".join(assembly.cylinders) or "no joint: this machine has no cylinder measured"),
                  "give the joint's angle, or measure its cylinder")
        ])  # fmt: skip
    return assembly.cylinders[joint]


def _finite(where: str, value: float) -> float:
    if not math.isfinite(value):
        raise Refused([Fault("not-finite", where, str(value), "a finite number")])
    return value


def _out_of_stroke(where: str, length: float, cylinder: Cylinder) -> Iterator[Fault]:
    low, high = cylinder.stroke.low, cylinder.stroke.high
    if not low - STROKE_SLACK_M <= length <= high + STROKE_SLACK_M:
        yield Fault(
            "out-of-stroke", where, f"{length * 1e3:.1f} mm", f"{low * 1e3:.1f} to {high * 1e3:.1f} mm, pin to pin",
            "check the sensor, its zero and the unit",
            {"length_mm": length * 1e3, "shortest_mm": low * 1e3, "longest_mm": high * 1e3},
        )  # fmt: skip


def _beyond(where: str, angle: float, reach: Range) -> Iterator[Fault]:
    if not reach.low - STOP_SLACK_RAD <= angle <= reach.high + STOP_SLACK_RAD:
        yield beyond_joint(where, angle, reach)


def beyond_joint(where: str, angle: float, reach: Range) -> Fault:
    """The fault of an angle (rad) beyond a joint's range."""
    low, high, found = (math.degrees(x) for x in (reach.low, reach.high, angle))
    return Fault(
        "beyond-joint", where, f"{found:.2f} deg", f"{low:.2f} to {high:.2f} deg",
        "check the sensor's sign and mounting offset, and the profile",
        {"angle_deg": found, "low_deg": low, "high_deg": high},
    )  # fmt: skip
