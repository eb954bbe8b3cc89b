"""What a machine's linkages do over their whole stroke: the bucket linkage, and every cylinder across its joint.

Margins and greatest levers are exact: a link's angle in a triangle hangs on one length alone, which is extreme at the
ends of a stroke and where two links lie in one line.
Sources: transmission angle, R. L. Norton, Design of Machinery, ch. 4; velocity ratio, ch. 6.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from . import rates
from .arm_plane import Floats
from .assembly import JOINTS, Assembly, from_cylinder
from .drives import FourBarPose, four_bar_from_bucket, four_bar_from_idler
from .errors import Fault, Refused
from .linkage import closure_margin, wrapped
from .machine import BucketLinkage, Cylinder, Range

FEWEST, MOST = 2, 2001


@dataclass(frozen=True, slots=True)
class Travel:
    """How far one joint and its cylinder go.

    `turns`: the joint's range (rad), of the bucket its own, not the idler's. Of a cylinder, else None: `stroke` (m,
    pin to pin); `lever_shortest`, `lever_longest`, `lever_greatest` (m): how far the joint's pin (of the bucket, the
    idler's pivot) stands from the cylinder's line at either end and at best, which is metres of cylinder a radian: a
    lever of 0.5 m and 100 kN make 50 kNm. `dead_centre` (rad): the least angle that foot, pin and eye stay away from
    one line.
    """

    joint: str
    turns: Range
    stroke: Range | None = None
    lever_shortest: float | None = None
    lever_longest: float | None = None
    lever_greatest: float | None = None
    dead_centre: float | None = None


@dataclass(frozen=True, slots=True)
class Margin:
    """How near two links come to one line: `angle` (rad) away from it, `length` (m) that the closing distance is away
    from the one at which they lie so; at idler and bucket angles (rad)."""

    angle: float
    length: float
    idler: float
    bucket: float


@dataclass(frozen=True, slots=True, eq=False)
class LinkageCourse:
    """The bucket linkage over its stroke, in columns of one length, from the stroke's shortest (without a cylinder: the
    idler's lowest angle) on, evenly spaced in that.

    Angles in rad in the stick's frame as `FourBarPose`; `cylinder` (m), or None. `at_link_pin`: between power link
    and pin line, the transmission angle; `at_idler_pin`: between idler and power link. `by_idler`: d bucket / d idler;
    `by_cylinder`: d bucket / d cylinder (rad/m), negative where a longer cylinder curls the bucket in; None without
    one. `dead_centre`: power link and pin line in one line, where the idler no longer turns the bucket; `toggle`:
    idler and power link in one line, where the bucket no longer turns the idler. `bucket_range` (rad): how far the
    bucket turns.
    """

    cylinder: Floats | None
    idler: Floats
    power_link: Floats
    bucket: Floats
    at_link_pin: Floats
    at_idler_pin: Floats
    by_idler: Floats
    by_cylinder: Floats | None
    dead_centre: Margin
    toggle: Margin
    bucket_range: Range


def linkage_course(assembly: Assembly, *, count: int = 61) -> LinkageCourse:
    """The bucket linkage at `count` places of its stroke, its margins exactly.

    Raises `Refused`: "no-linkage" for a machine without a measured one, "out-of-range" for a count.
    """
    bar, machine = assembly.machine.bucket, assembly.machine
    if not FEWEST <= count <= MOST:
        raise Refused([
            Fault("out-of-range", "count", str(count), f"{FEWEST} to {MOST} places", "", {"count": count})
        ])  # fmt: skip
    if not isinstance(bar, BucketLinkage) or assembly.idler is None:
        raise Refused([
            Fault("no-linkage", "bucket", "a machine without a measured bucket linkage",
                  "idler and power link in the profile", "measure the linkage")
        ])  # fmt: skip
    drive = bar.drive
    lengths = by_cylinder = None
    if isinstance(drive, Cylinder):
        lengths = np.linspace(drive.stroke.low, drive.stroke.high, count)
        idlers = [from_cylinder(drive, float(length))[0] for length in lengths]
    else:
        idlers = np.linspace(drive.low, drive.high, count).tolist()
    bars = [four_bar_from_idler(assembly, idler) for idler in idlers]
    ratio = np.array([each.ratio for each in bars])
    if isinstance(drive, Cylinder):
        by_cylinder = ratio / np.array([_stretch(drive, each.idler) for each in bars])
    towards = math.atan2(-bar.pivot_z, machine.stick_length - bar.pivot_x)
    return LinkageCourse(
        lengths, np.array([each.idler for each in bars]), np.array([each.power_link for each in bars]),
        np.array([each.bucket for each in bars]), np.array([each.transmission for each in bars]),
        np.array([_at_idler_pin(each) for each in bars]), ratio, by_cylinder,
        min(_dead_centres(assembly, bar, _ends_and(assembly.idler, towards)), key=lambda margin: margin.angle),
        min(_toggles(assembly, bar, _ends_and(assembly.ranges["bucket"], towards)), key=lambda margin: margin.angle),
        assembly.ranges["bucket"],
    )  # fmt: skip


def joint_travels(assembly: Assembly) -> tuple[Travel, ...]:
    """How far each joint that the machine has and its cylinder go, in the order of `assembly.JOINTS`; end stops without
    slack."""
    return tuple(
        _travel(assembly, joint, assembly.ranges[joint]) for joint in JOINTS if joint in assembly.ranges
    )


def _travel(assembly: Assembly, joint: str, span: Range) -> Travel:
    cylinder = assembly.cylinders.get(joint)
    if cylinder is None:
        return Travel(joint, span)
    ends = [from_cylinder(cylinder, length)[0] for length in (cylinder.stroke.low, cylinder.stroke.high)]
    shortest, longest = (abs(_stretch(cylinder, angle)) for angle in ends)
    a, b = math.hypot(cylinder.foot_x, cylinder.foot_z), math.hypot(cylinder.eye_x, cylinder.eye_z)
    # The pin stands furthest from the cylinder's line where that is square to the shorter of both arms.
    square = math.sqrt(abs(a * a - b * b))
    within = cylinder.stroke.low <= square <= cylinder.stroke.high
    greatest = min(a, b) if within else max(shortest, longest)
    openings = [_opening(cylinder, angle) for angle in ends]
    margin = min(min(each, math.pi - each) for each in openings)
    return Travel(joint, span, cylinder.stroke, shortest, longest, greatest, margin)


def _stretch(cylinder: Cylinder, angle: float) -> float:
    """d cylinder / d angle (m/rad) of what it turns."""
    c = cylinder
    return rates.triangle_rates(angle, c.foot_x, c.foot_z, c.eye_x, c.eye_z)[0]


def _opening(cylinder: Cylinder, angle: float) -> float:
    c = cylinder
    return abs(wrapped(angle + math.atan2(c.eye_z, c.eye_x) - math.atan2(c.foot_z, c.foot_x), 0.0))


def _at_idler_pin(bar: FourBarPose) -> float:
    """Between idler, seen from its outer pin, and power link: pi in one line, stretched."""
    return math.pi - abs(wrapped(bar.power_link - bar.idler, 0.0))


def _ends_and(span: Range, towards: float) -> list[float]:
    """Both ends, and where the link points at or away from the other pin, if that lies between."""
    middle = 0.5 * (span.low + span.high)
    inner = [wrapped(towards, middle), wrapped(towards + math.pi, middle)]
    return [span.low, span.high, *(angle for angle in inner if span.low < angle < span.high)]


def _dead_centres(assembly: Assembly, bar: BucketLinkage, idlers: list[float]) -> Iterator[Margin]:
    for idler in idlers:
        at = four_bar_from_idler(assembly, idler)
        far = math.hypot(
            bar.pivot_x + bar.idler_length * math.cos(idler) - assembly.machine.stick_length,
            bar.pivot_z + bar.idler_length * math.sin(idler),
        )
        margin = closure_margin(bar.power_link, assembly.attachment.pin_spacing, far)
        yield Margin(min(at.transmission, math.pi - at.transmission), margin, at.idler, at.bucket)


def _toggles(assembly: Assembly, bar: BucketLinkage, buckets: list[float]) -> Iterator[Margin]:
    spacing = assembly.attachment.pin_spacing
    for bucket in buckets:
        at = four_bar_from_bucket(assembly, bucket)
        far = math.hypot(
            assembly.machine.stick_length + spacing * math.cos(bucket) - bar.pivot_x,
            spacing * math.sin(bucket) - bar.pivot_z,
        )
        angle = _at_idler_pin(at)
        yield Margin(
            min(angle, math.pi - angle),
            closure_margin(bar.idler_length, bar.power_link, far),
            at.idler,
            bucket,
        )
