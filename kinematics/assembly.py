"""A machine with an attachment on its pins: the ranges of its joints.

`assemble` refuses a pair that does not close over its whole stroke on one branch; what it returns can be
trusted by every formula below it.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from . import linkage
from .errors import Fault, refuse
from .linkage import DEAD_CENTRE_RAD, Status, wrapped
from .machine import Attachment, BucketLinkage, Cylinder, Held, Machine, Range
from .parameters import lacking, misnamed, record

JOINTS = ("swing_boom", "boom", "fore_boom", "stick", "bucket", "tilt", "rotate")
# Sensor noise and pin slop at an end stop. The angle is used as given; beyond this it is refused.
STOP_SLACK_RAD = math.radians(0.25)
# An angle that went through the linkage and back comes home to this; a thousand times the bucket's own rounding,
# since a bucket that turns less than its idler magnifies on the way back.
ROUNDING_RAD = 1e-9
_SAMPLES = 241
FourBar = tuple[float, float, float, float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Assembly:
    """A machine and attachment that close over their whole stroke.

    `ranges`: joint name to its `Range` (rad), only joints that exist. `idler`: the idler's range (rad), and
    `idler_side` its side of the line from its pivot to the link pin, where there is a linkage.
    `links`: what the four-bar formulas take. `parameters`: the record the formulas read. `stops`: the ranges with the
    slack of an end stop, which a linkage hands on from idler (`idler_limits`) to bucket; `limits` the same as an array,
    shape (14,), rad, low then high of each of `JOINTS`, 0 where absent. `lacks`: parameters of parts it does not have.
    """

    machine: Machine
    attachment: Attachment
    ranges: dict[str, Range]
    parameters: NDArray[np.void]
    limits: NDArray[np.float64]
    stops: dict[str, Range]
    links: FourBar | None = None
    idler: Range | None = None
    idler_limits: Range | None = None
    idler_side: float = 0.0
    cylinders: dict[str, Cylinder] = field(default_factory=dict)
    lacks: frozenset[str] = frozenset()


def assemble(machine: Machine, attachment: Attachment) -> Assembly:
    """Join the two and prove that every linkage closes over its stroke, on one branch.

    Raises `Refused` with every fault: "no-closure", "dead-centre", "passes-toggle" with the numbers; "unknown-parameter"
    for a name in either's `uncertainty.of`, at "machine.uncertainty.of.boom_lenght".
    """
    ranges, faults = machine_ranges(machine)
    faults += [fault.at("machine") for fault in misnamed(machine)]
    faults += [fault.at("attachment") for fault in misnamed(attachment)]
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
    stops = {
        name: Range(span.low - STOP_SLACK_RAD, span.high + STOP_SLACK_RAD) for name, span in ranges.items()
    }
    links = idler_limits = None
    if idler is not None and isinstance(machine.bucket, BucketLinkage):
        links = _four_bar(machine, machine.bucket, attachment.pin_spacing)
        idler_limits, stops["bucket"] = _with_slack(links, idler, ranges["bucket"])
    return Assembly(
        machine, attachment, ranges, record(machine, attachment), _as_array(stops), stops, links, idler,
        idler_limits, side, _cylinders(machine), lacking(machine, attachment),
    )  # fmt: skip


def _as_array(stops: dict[str, Range]) -> NDArray[np.float64]:
    limits = np.zeros(2 * len(JOINTS))
    for i, name in enumerate(JOINTS):
        if name in stops:
            limits[2 * i : 2 * i + 2] = stops[name].low, stops[name].high
    limits.flags.writeable = False
    return limits


def _with_slack(four: FourBar, idler: Range, bucket: Range) -> tuple[Range, Range]:
    """Idler and bucket with the slack of an end stop: the idler's, and what the linkage makes of it."""
    middle = 0.5 * (bucket.low + bucket.high)
    ends = [idler.low, idler.high]
    reached = [bucket.low, bucket.high]
    for i, slack in ((0, -STOP_SLACK_RAD), (1, STOP_SLACK_RAD)):
        angle, _, _, _, status, _ = linkage.bucket_from_idler(ends[i] + slack, *four)
        if status == linkage.OK:  # else the stop is too near dead centre for any slack
            ends[i] += slack
            reached.append(wrapped(angle, middle))
    return Range(*ends), Range(min(reached) - 1e-12, max(reached) + 1e-12)  # its own rounding


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
        angle, status, margin = from_cylinder(held, length)
        if status != linkage.OK:
            faults.append(stroke_fault(f"{name}.cylinder", Status(status), margin, length))
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


def stroke_fault(where: str, status: Status, margin: float, length: float) -> Fault:
    """A cylinder length (m) at which a joint's triangle does not close, or stands at dead centre."""
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


def from_cylinder(cylinder: Cylinder, length: float) -> tuple[float, int, float]:
    """`linkage.joint_from_cylinder` for a cylinder of the profile."""
    c = cylinder
    return linkage.joint_from_cylinder(length, c.foot_x, c.foot_z, c.eye_x, c.eye_z, float(c.extending))


def _four_bar(machine: Machine, bar: BucketLinkage, pin_spacing: float) -> FourBar:
    """What the four-bar formulas of `linkage` take, in order."""
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
    found = np.empty((5, idlers.size))
    linkage.bucket_sweep(idlers, *four, found)
    buckets, transmissions, statuses, margins, sides = found
    bad = np.flatnonzero(statuses != linkage.OK)
    if bad.size:
        worst = int(bad[np.argmin(margins[bad])])
        return None, 0.0, [
            sweep_fault(Status(int(statuses[worst])), *(float(each[worst]) for each in (idlers, transmissions, margins)))
        ]  # fmt: skip
    turned = np.unwrap(buckets)
    if sides.min() <= 0.0 <= sides.max():
        at = float(idlers[int(np.argmin(np.abs(sides)))])
        return None, 0.0, [_toggle_fault(at)]
    low, high = float(turned.min()), float(turned.max())
    turns = 2.0 * math.pi * math.floor((0.5 * (low + high) + math.pi) / (2.0 * math.pi))
    return Range(low - turns, high - turns), math.copysign(1.0, float(sides[0])), []


def sweep_fault(status: Status, idler: float, transmission: float, margin: float) -> Fault:
    """An idler angle (rad) at which the four-bar does not close, or stands at dead centre."""
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
